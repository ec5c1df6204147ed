"""Where each sensor is worn, remembered by its serial number in the user's settings."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping
from pathlib import Path

from platformdirs import user_config_path

from imujump.errors import RecordingError
from imujump.model import Placement


class PlacementMemory:
    """Remembers placements in a small JSON file: serial number to placement.

    Parameters
    ----------
    path : Path, optional
        The file; in the user's settings folder by default. It need not exist.
    """

    def __init__(self, path: Path | None = None) -> None:
        self.path = path or user_config_path("imujump") / "placements.json"

    def placements(self) -> dict[str, Placement]:
        """Return what is remembered; entries that mean nothing are left out.

        Raises
        ------
        RecordingError
            If there is a file that cannot be read.
        """
        try:
            told = json.loads(self.path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return {}
        except (OSError, ValueError) as error:
            raise RecordingError(
                self.path,
                f"the remembered placements cannot be read ({error})",
                "delete the file; placements will be asked for again",
            ) from error
        found = {}
        for serial, name in told.items() if isinstance(told, dict) else ():
            with contextlib.suppress(ValueError):
                found[str(serial)] = Placement(name)
        return found

    def remember(self, placements: Mapping[str, Placement]) -> None:
        """Remember where sensors are worn, besides what is remembered of others.

        Raises
        ------
        RecordingError
            If the file cannot be read or written.
        """
        try:
            known = self.placements()
        except RecordingError:
            known = {}
        merged = {**known, **placements}
        if merged == known:
            return
        text = json.dumps({s: p.value for s, p in sorted(merged.items())}, indent=2)
        draft = self.path.with_name(self.path.name + ".new")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            draft.write_text(text + "\n", encoding="utf-8")
            os.replace(draft, self.path)
        except OSError as error:
            raise RecordingError(
                self.path,
                f"placements cannot be remembered ({error.strerror or error})",
                "check the folder and its rights",
            ) from error
