"""Where the demo club lives: a folder of its own, never that of the user's store."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

from platformdirs import user_cache_path

from imujump.errors import StoreError
from imujump.sessions.opening import default_place
from imujump.sessions.store import open_store

STORE_NAME = "club.sqlite"
TRUTH_NAME = "club_truth.json"
LOG_NAME = "pages.log"
RECORDINGS, COURTSIDE = "recordings", "courtside"


def default_folder() -> Path:
    """Return the folder to use when none is named; it may be thrown away at any time."""
    return user_cache_path("imujump") / "demo_club"


def prepared(folder: Path) -> Path:
    """Return the folder, made if it was not there.

    Raises
    ------
    StoreError
        If the user's own store lies in it, or it holds anything but an earlier demo club.
    """
    folder = folder.expanduser().resolve()
    remedy = "name an empty folder, or none for the usual one"
    if folder.exists() and not folder.is_dir():
        raise StoreError(str(folder), "this is no folder", remedy)
    own = default_place()
    marked = (folder / TRUTH_NAME).is_file()
    if "://" not in own:
        store = Path(own).expanduser().resolve()
        of_demo = marked and store == folder / STORE_NAME
        if store.is_relative_to(folder) and not of_demo:
            raise StoreError(str(folder), "your own sessions are kept in it", remedy)
    if folder.is_dir() and not marked and any(folder.iterdir()):
        raise StoreError(str(folder), "it holds something else than a demo club", remedy)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(str(folder), (error.strerror or str(error)).lower(), remedy) from error
    return folder


def told_truth(folder: Path) -> dict[str, Any] | None:
    """Read the truth beside the store; ``None`` when there is none.

    Raises
    ------
    StoreError
        If it is not what this program writes.
    """
    path = folder / TRUTH_NAME
    if not path.is_file():
        return None
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return {**told, "ends_on": str(told["ends_on"]), "complete": bool(told["complete"])}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise StoreError(
            str(path), "this is not the truth of a demo club", "use another folder"
        ) from error


def strangers(folder: Path) -> list[str]:
    """List athletes in the store that the truth beside it does not know."""
    place = folder / STORE_NAME
    known = {str(athlete.get("name")) for athlete in (told_truth(folder) or {}).get("athletes", ())}
    if not place.is_file():
        return []
    with open_store(place) as store:
        return [athlete.name for athlete in store.athletes() if athlete.name not in known]


def clear(folder: Path) -> None:
    """Remove an earlier demo club; whatever else lies in the folder stays.

    ``folder`` is one that :func:`prepared` returned.
    """
    for ending in ("", "-wal", "-shm", "-journal"):
        (folder / f"{STORE_NAME}{ending}").unlink(missing_ok=True)
    if (folder / RECORDINGS).is_dir():
        shutil.rmtree(folder / RECORDINGS)
    (folder / LOG_NAME).unlink(missing_ok=True)
    (folder / TRUTH_NAME).unlink(missing_ok=True)
