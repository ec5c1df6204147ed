"""The athletes to choose from, in a small file for now; pages use :class:`AthleteBook` only."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

LONGEST_NAME = 60


@dataclass(frozen=True, slots=True)
class Athlete:
    """A name, and the athlete's own typical error of jump height, if it has been measured."""

    name: str
    typical_error_m: float | None = None


class AthleteBook:
    """Remembers athletes.

    Parameters
    ----------
    path : Path
        The file; it need not exist.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            told = json.loads(path.read_text(encoding="utf-8"))
            self._athletes = [Athlete(str(a["name"]), a.get("typical_error_m")) for a in told]
        except (OSError, ValueError, KeyError, TypeError):
            self._athletes = []

    def all(self) -> list[Athlete]:
        """List all by name."""
        return sorted(self._athletes, key=lambda athlete: athlete.name.casefold())

    def find(self, name: str) -> Athlete | None:
        """Return the athlete of that name."""
        return next((a for a in self._athletes if a.name == name), None)

    def add(self, athlete: Athlete) -> None:
        """Add one, or replace the one of the same name.

        Raises
        ------
        ValueError
            If the name is empty or too long, or the error is not above 0.
        """
        name = " ".join(athlete.name.split())
        if not 0 < len(name) <= LONGEST_NAME:
            raise ValueError(f"Give a name of 1 to {LONGEST_NAME} characters.")
        error_m = athlete.typical_error_m
        if error_m is not None and not 0.0 < error_m < 0.5:
            raise ValueError("The typical error must lie between 0 and 50 cm.")
        self._athletes = [a for a in self._athletes if a.name != name]
        self._athletes.append(Athlete(name, error_m))
        draft = self._path.with_name(self._path.name + ".new")
        draft.write_text(json.dumps([asdict(a) for a in self._athletes], indent=1))
        os.replace(draft, self._path)
