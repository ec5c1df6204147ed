"""Remembers which session is under way, so that a restarted server goes on with it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from imujump.capture.one_capture import running_capture
from imujump.courtside import CourtsideWish


@dataclass(frozen=True, slots=True)
class Running:
    """The session's wish and log."""

    wish: CourtsideWish
    log: Path


def remember(path: Path, running: Running) -> None:
    """Keep which session is under way."""
    told = {"wish": asdict(running.wish), "log": str(running.log)}
    path.write_text(json.dumps(told), encoding="utf-8")


def recall(path: Path) -> Running | None:
    """Return the session that was under way last."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return Running(CourtsideWish(**told["wish"]), Path(told["log"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def is_alive(running: Running) -> bool:
    """Whether its capture still runs."""
    folder = running.wish.lock_folder
    adapter = running.wish.wish.adapter
    return running_capture(adapter, None if folder is None else Path(folder)) is not None


def free_name(folder: Path, stamp: str) -> Path:
    """Return a name that no recording or log has yet."""
    name, count = folder / stamp, 1
    while name.with_suffix(".imujump").exists() or name.with_suffix(".log.jsonl").exists():
        count += 1
        name = folder / f"{stamp}_{count}"
    return name
