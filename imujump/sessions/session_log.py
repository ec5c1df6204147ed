"""What the coach notes beside the court, in a file to which lines are only added.

It lies beside the recording. Taking something back adds a line as well. When the recording goes
into the store, what stands in the log goes with it.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any


class EntryKind(StrEnum):
    """What a line of the log is about."""

    BEGIN = "begin"
    ATTEMPT = "attempt"
    CUE = "cue"
    SEEN = "seen"
    INVALID = "invalid"
    NEW_SET = "new_set"
    PAIN = "pain"
    CHOICE = "choice"
    UNDO = "undo"


UNDOABLE = {EntryKind.CUE, EntryKind.SEEN, EntryKind.INVALID, EntryKind.NEW_SET, EntryKind.PAIN}
"""What the coach enters by a tap and may take back."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line; ``number`` counts from 1. ``data`` is what only its kind has."""

    number: int
    kind: EntryKind
    noted_utc: str
    attempt: int | None = None
    text: str = ""
    data: dict[str, Any] = field(default_factory=dict)


class SessionLog:
    """The log of one session.

    Parameters
    ----------
    path : Path
        The file; made with the first entry. What is in it already is read: a restarted page
        goes on where it stood.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._entries: list[Entry] = []
        try:
            lines = path.read_bytes().split(b"\n")
        except FileNotFoundError:
            lines = []
        for line in lines:
            entry = _entry(line)
            if entry is not None:
                self._entries.append(entry)
        # A line that a crash cut short must not swallow the next one.
        self._open_line = bool(lines and lines[-1])

    def add(
        self,
        kind: EntryKind,
        attempt: int | None = None,
        text: str = "",
        data: dict[str, Any] | None = None,
    ) -> Entry:
        """Add an entry; it is on disk when this returns.

        Raises
        ------
        OSError
            If it cannot be written.
        """
        number = self._entries[-1].number + 1 if self._entries else 1
        now = datetime.now(UTC).isoformat(timespec="milliseconds")
        entry = Entry(number, kind, now, attempt, text, data or {})
        line = json.dumps(asdict(entry), allow_nan=False) + "\n"
        with self.path.open("ab") as out:
            out.write((("\n" if self._open_line else "") + line).encode())
            out.flush()
            os.fsync(out.fileno())
        self._open_line = False
        self._entries.append(entry)
        return entry

    def undo(self) -> Entry | None:
        """Take back the newest entry that can be; return it."""
        standing = [entry for entry in self.entries() if entry.kind in UNDOABLE]
        if not standing:
            return None
        self.add(EntryKind.UNDO, standing[-1].attempt, data={"number": standing[-1].number})
        return standing[-1]

    def entries(self) -> list[Entry]:
        """List what stands, oldest first; what was taken back is left out."""
        undone = {e.data.get("number") for e in self._entries if e.kind is EntryKind.UNDO}
        return [e for e in self._entries if e.kind is not EntryKind.UNDO and e.number not in undone]

    def lines(self) -> int:
        """Count all lines, those that took something back included."""
        return len(self._entries)


def _entry(line: bytes) -> Entry | None:
    try:
        told = json.loads(line)
        entry = Entry(**{**told, "kind": EntryKind(told["kind"])})
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    attempt = entry.attempt
    fits = isinstance(attempt, int | None) and isinstance(entry.number, int)
    texts = isinstance(entry.text, str) and isinstance(entry.noted_utc, str)
    return entry if fits and texts and isinstance(entry.data, dict) else None
