"""From attempts and log to what the courtside page shows. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from dashboard import wording
from dashboard.set_control import IN_A_ROW, Height, falls, margin
from imujump.sessions.session_log import UNDOABLE, Entry, EntryKind
from imujump.wording import sentence

Document = Mapping[str, Any]
"""An attempt as in the JSON contract, with ``toe_off_s`` and ``landing_s``."""

LOG_SHOWN = 8


@dataclass(slots=True)
class _Notes:
    """What the log says, attempt by attempt."""

    set_of: dict[int, int] = field(default_factory=dict)
    invalid: dict[int, str] = field(default_factory=dict)
    cues: dict[int, list[str]] = field(default_factory=dict)
    seen: dict[int, list[str]] = field(default_factory=dict)
    sets: int = 1
    pain: bool = False
    begin: dict[str, Any] = field(default_factory=dict)


def court_view(
    attempts: Mapping[int, Document],
    entries: Sequence[Entry],
    typical_error_m: float | None,
    picked: int | None,
    choice: tuple[str, Sequence[str]],
    preview: Document | None = None,
) -> dict[str, Any]:
    """Return everything about the session's attempts that viewers are shown.

    Parameters
    ----------
    attempts : mapping of int to document
        All attempts by number.
    entries : sequence of Entry
        What stands in the log.
    typical_error_m : float or None
        The athlete's own typical error of jump height.
    picked : int or None
        The attempt to compare with, if not the highest.
    choice : (str, sequence of str)
        The metrics of the large number and of the small ones.
    preview : document or None
        The newest attempt, before it is final: it is shown, and counts for nothing else.
    """
    notes = _read(entries)
    large, small = choice
    latest = max(attempts, default=None)
    newest = attempts.get(latest or 0) if preview is None else preview
    heights = _heights(attempts, notes)
    before = None if preview is not None else latest

    def drawn(number: int | None) -> dict[str, Any] | None:
        return None if number is None else _drawn(attempts[number], notes)

    return {
        "begin": notes.begin,
        "attempt_count": len(attempts) if preview is None else preview["attempt"],
        "latest": None if newest is None else _drawn(newest, notes),
        "final": preview is None,
        "best": drawn(_best(heights, None)),
        "best_before": drawn(_best(heights, before)),
        "picked": drawn(picked if picked in attempts else None),
        "numbers": _numbers(newest, large, small),
        "choice": {"large": large, "small": list(small)},
        "list": [_listed(number, attempts[number], notes, large) for number in sorted(attempts)],
        "set": _set(attempts, notes, heights, typical_error_m, newest),
        "log": _log(entries),
        "can_undo": any(entry.kind in UNDOABLE for entry in entries),
        "pain": wording.PAIN_NOTED if notes.pain else wording.PAIN_CAUTION,
        "pain_noted": notes.pain,
    }


def _read(entries: Sequence[Entry]) -> _Notes:
    notes = _Notes()
    for entry in entries:
        number = entry.attempt
        if entry.kind is EntryKind.ATTEMPT and number is not None:
            notes.set_of[number] = notes.sets
        elif entry.kind is EntryKind.NEW_SET:
            notes.sets += 1
        elif entry.kind is EntryKind.INVALID and number is not None:
            notes.invalid[number] = entry.text
        elif entry.kind is EntryKind.CUE:
            notes.cues.setdefault(number or 0, []).append(entry.text)
        elif entry.kind is EntryKind.SEEN:
            notes.seen.setdefault(number or 0, []).append(entry.text)
        elif entry.kind is EntryKind.PAIN:
            notes.pain = True
        elif entry.kind is EntryKind.BEGIN:
            notes.begin = entry.data
    return notes


def _valid(number: int, document: Document, notes: _Notes) -> bool:
    return bool(document["valid"]) and number not in notes.invalid


def _heights(attempts: Mapping[int, Document], notes: _Notes) -> list[Height]:
    found = []
    for number in sorted(attempts):
        height = attempts[number]["metrics"]["height_flight_m"]
        if _valid(number, attempts[number], notes) and height["value"] is not None:
            found.append(Height(number, height["value"], height["sigma"]))
    return found


def _best(heights: Sequence[Height], without: int | None) -> int | None:
    """Return the highest of the attempts that count, one left out."""
    others = [each for each in heights if each.attempt != without]
    return max(others, key=lambda each: each.value_m).attempt if others else None


def _drawn(document: Document, notes: _Notes) -> dict[str, Any]:
    """Keep of an attempt what its rhythm picture needs."""
    number = document["attempt"]
    style, side = document["take_off_style"], document["take_off_side"]
    if style == "one_foot":
        take_off = f"one-foot take-off, {side}"
    elif style == "two_foot":
        take_off = f"two-foot take-off, {side} first"
    else:
        take_off = "take-off foot unknown"
    return {
        "attempt": number,
        "take_off": take_off,
        "toe_off_s": document["toe_off_s"],
        "landing_s": document["landing_s"],
        "feet": [
            {"kind": e["kind"], "side": e["side"], "time_s": e["time_s"]}
            for e in document["events"]
        ],
        "steps": [
            {
                "n": s["n"],
                "strike_s": s["strike_s"],
                "time_s": s["time_s"]["value"],
                "speed_mps": s["speed_mps"]["value"],
            }
            for s in document["steps"]
        ],
        "valid": _valid(number, document, notes),
        "reasons": [sentence(reason) for reason in document["reasons"]],
        "invalid": notes.invalid.get(number),
        "cues": notes.cues.get(number, []),
        "seen": notes.seen.get(number, []),
    }


def _numbers(document: Document | None, large: str, small: Sequence[str]) -> dict[str, Any]:
    metrics = document["metrics"] if document else {}
    return {
        "large": wording.shown_number(large, metrics.get(large)),
        "small": [wording.shown_number(name, metrics.get(name)) for name in small],
    }


def _listed(number: int, document: Document, notes: _Notes, large: str) -> dict[str, Any]:
    return {
        "attempt": number,
        "set": notes.set_of.get(number, 1),
        "valid": _valid(number, document, notes),
        "invalid": notes.invalid.get(number),
        "number": wording.shown_number(large, document["metrics"].get(large)),
    }


def _set(
    attempts: Mapping[int, Document],
    notes: _Notes,
    heights: Sequence[Height],
    typical_error_m: float | None,
    newest: Document | None,
) -> dict[str, Any]:
    mine = [number for number in attempts if notes.set_of.get(number, 1) == notes.sets]
    found = margin(heights, typical_error_m)
    count = falls([each for each in heights if each.attempt in mine], found)
    hint = None
    if found is not None and count >= IN_A_ROW:
        limit_cm = f"{100.0 * found.limit_m:.1f}"
        hint = wording.stop_hint(count, limit_cm, found.from_measurement_only)
    return {
        "number": notes.sets,
        "attempts": len(mine),
        "valid": sum(_valid(number, attempts[number], notes) for number in mine),
        "rest_from_s": None if newest is None else newest["landing_s"],
        "hint": hint,
        "limit_cm": None if found is None else 100.0 * found.limit_m,
    }


_LOG_WORDS = {
    EntryKind.CUE: "Cue",
    EntryKind.SEEN: "Seen",
    EntryKind.INVALID: "Not counted",
    EntryKind.NEW_SET: "New set",
    EntryKind.PAIN: "Pain noted",
}


def _log(entries: Sequence[Entry]) -> list[dict[str, Any]]:
    shown = [entry for entry in entries if entry.kind in _LOG_WORDS][-LOG_SHOWN:]
    return [
        {
            "number": entry.number,
            "what": _LOG_WORDS[entry.kind],
            "text": entry.text,
            "attempt": entry.attempt,
        }
        for entry in reversed(shown)
    ]
