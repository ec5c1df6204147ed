"""What a courtside log says of a recording, in the store's terms. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

from imujump.model import Attempt
from imujump.sessions.records import NoteKind, Task
from imujump.sessions.results_kept import same_jumps
from imujump.sessions.session_log import Entry, EntryKind

_NOTES = {
    EntryKind.CUE: NoteKind.CUE,
    EntryKind.SEEN: NoteKind.SEEN,
    EntryKind.PAIN: NoteKind.PAIN,
    EntryKind.NEW_SET: NoteKind.NEW_SET,
}


@dataclass(frozen=True, slots=True)
class LogLine:
    """A note; ``attempt`` is the attempt's number in the analysis."""

    kind: NoteKind
    text: str
    noted_utc: datetime
    attempt: int | None = None


@dataclass(frozen=True, slots=True)
class CourtLog:
    """What was chosen before the session and noted during it.

    ``invalid`` maps attempts' numbers to why they do not count.
    """

    athlete: str = ""
    task: Task | None = None
    surface: str = ""
    shoe: str = ""
    lines: tuple[LogLine, ...] = ()
    invalid: Mapping[int, str] = field(default_factory=dict)


def read_court_log(entries: Sequence[Entry], attempts: Sequence[Attempt]) -> CourtLog:
    """Read what stands in a log.

    Parameters
    ----------
    entries : sequence of Entry
        As :meth:`SessionLog.entries` gives them.
    attempts : sequence of Attempt
        The recording's attempts. The log's are paired with them by their toe-offs, those whose
        toe-off it does not tell by their number.
    """
    number_of = _numbers(entries, attempts)
    begun: dict[str, object] = {}
    lines: list[LogLine] = []
    invalid: dict[int, str] = {}
    for entry in entries:
        number = None if entry.attempt is None else number_of.get(entry.attempt)
        if entry.kind is EntryKind.BEGIN:
            begun |= entry.data
        elif entry.kind is EntryKind.INVALID and number is not None:
            invalid[number] = entry.text
        elif entry.kind in _NOTES:
            lines.append(LogLine(_NOTES[entry.kind], entry.text, _instant(entry), number))
    task = str(begun.get("task", ""))
    return CourtLog(
        athlete=str(begun.get("athlete", "")),
        task=next((each for each in Task if each.value == task), None),
        surface=str(begun.get("surface", "")),
        shoe=str(begun.get("shoe", "")),
        lines=tuple(lines),
        invalid=invalid,
    )


def _numbers(entries: Sequence[Entry], attempts: Sequence[Attempt]) -> dict[int, int]:
    known: dict[int, float] = {}
    plain: dict[int, int] = {}
    there = {attempt.number for attempt in attempts}
    for entry in entries:
        if entry.attempt is None:
            continue
        toe_off_s = entry.data.get("toe_off_s") if entry.kind is EntryKind.ATTEMPT else None
        if isinstance(toe_off_s, int | float):
            known[entry.attempt] = float(toe_off_s)
        elif entry.attempt in there:
            plain[entry.attempt] = entry.attempt
    paired = {told: attempt.number for told, attempt in same_jumps(known, attempts).items()}
    return {told: number for told, number in plain.items() if told not in known} | paired


def _instant(entry: Entry) -> datetime:
    try:
        told = datetime.fromisoformat(entry.noted_utc)
    except (TypeError, ValueError):
        return datetime.fromtimestamp(0, UTC)
    return told if told.tzinfo is not None else told.replace(tzinfo=UTC)
