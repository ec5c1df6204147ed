"""What the review pages may change in the store; each action returns what was done, in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from dashboard.review import athlete_actions
from imujump.attempt_again import HAND_SIGMA_S, measure_by_hand
from imujump.model import EventKind, GaitEvent, Side
from imujump.sessions.records import NoteKind, Standing, Task
from imujump.sessions.store import SessionStore

LONGEST_TEXT = 200
MOST_EVENTS = 200
"""Events that one attempt may have (own choice: far more than any run-up)."""

Action = Mapping[str, Any]


def act(store: SessionStore, action: Action) -> str:
    """Do what a page asks.

    Returns
    -------
    str
        What was done, one sentence.

    Raises
    ------
    ValueError
        If it cannot be done; says why.
    ImuJumpError
        If store or recording cannot be used.
    """
    do = _ACTIONS.get(str(action.get("do")))
    if do is None:
        raise ValueError("The page asked for something unknown. Reload it.")
    return do(store, action)


def _mark(store: SessionStore, action: Action) -> str:
    store.mark_invalid(_id(action, "attempt"), _text(action, "reason"))
    return "The attempt does not count."


def _count_again(store: SessionStore, action: Action) -> str:
    store.withdraw_mark(_id(action, "attempt"))
    return "The attempt counts again."


def _standing(standing: Standing, told: str) -> Callable[[SessionStore, Action], str]:
    def change(store: SessionStore, action: Action) -> str:
        store.set_standing(_id(action, "recording"), standing)
        return told

    return change


def _note(store: SessionStore, action: Action) -> str:
    kind = action.get("kind")
    if kind not in (NoteKind.CUE, NoteKind.SEEN):
        raise ValueError("A note is a cue or something that was seen.")
    attempt_id = None if action.get("attempt") is None else _id(action, "attempt")
    store.add_note(_id(action, "session"), NoteKind(kind), _text(action, "text"), attempt_id)
    return "Noted."


def _withdraw_note(store: SessionStore, action: Action) -> str:
    store.withdraw_note(_id(action, "note"))
    return "The note was taken back."


def _restore_note(store: SessionStore, action: Action) -> str:
    store.restore_note(_id(action, "note"))
    return "The note stands again."


def _save_events(store: SessionStore, action: Action) -> str:
    measure_by_hand(store, _id(action, "attempt"), _events(action.get("events")))
    return "Saved: events set by hand, metrics worked out anew."


def _show_measured(store: SessionStore, action: Action) -> str:
    store.show_measured(_id(action, "attempt"))
    return "The program's own events are shown again; those set by hand are kept."


def _show_by_hand(store: SessionStore, action: Action) -> str:
    store.show_by_hand(_id(action, "attempt"))
    return "The events set by hand are shown again."


def _task(store: SessionStore, action: Action) -> str:
    try:
        task = Task(str(action.get("task")))
    except ValueError as error:
        raise ValueError("The page asked for something unknown. Reload it.") from error
    if "recording" in action:
        store.set_recording_task(_id(action, "recording"), task)
        return "The task of the recording's attempts was corrected."
    store.set_task(_id(action, "attempt"), task)
    return "The attempt's task was corrected."


def _withdraw_task(store: SessionStore, action: Action) -> str:
    if "recording" in action:
        store.withdraw_recording_task(_id(action, "recording"))
        return "The first tasks of the recording's attempts stand again."
    store.withdraw_task(_id(action, "attempt"))
    return "The attempt's first task stands again."


_ACTIONS: Mapping[str, Callable[[SessionStore, Action], str]] = {
    "mark": _mark,
    "count_again": _count_again,
    "confirm": _standing(Standing.COUNTED, "Confirmed: the recording's attempts count."),
    "refuse": _standing(Standing.REFUSED, "Refused: the recording's attempts do not count."),
    "wait": _standing(Standing.WAITING, "The recording waits again."),
    "note": _note,
    "withdraw_note": _withdraw_note,
    "restore_note": _restore_note,
    "save_events": _save_events,
    "show_measured": _show_measured,
    "show_by_hand": _show_by_hand,
    "task": _task,
    "withdraw_task": _withdraw_task,
    **athlete_actions.ACTIONS,
}


def _id(action: Action, name: str) -> int:
    found = action.get(name)
    if not isinstance(found, int) or isinstance(found, bool) or not 0 < found < 2**31:
        raise ValueError("The page asked for something unknown. Reload it.")
    return found


def _text(action: Action, name: str) -> str:
    text = " ".join(str(action.get(name, "")).split())
    if not text:
        raise ValueError("Write something first.")
    if len(text) > LONGEST_TEXT:
        raise ValueError(f"Keep it under {LONGEST_TEXT} characters.")
    return text


def _events(told: Any) -> tuple[GaitEvent, ...]:
    """Read events as a page sends them; those set by hand get the usual uncertainty of a hand.

    Raises
    ------
    ValueError
        If that is no list of events.
    """
    if not isinstance(told, list) or not 0 < len(told) <= MOST_EVENTS:
        raise ValueError("An attempt needs its foot strikes and toe-offs. Undo, then save.")
    found = []
    for each in told:
        try:
            time_s, sigma_s = float(each["time_s"]), each["sigma_s"]
            if each["hand"] or sigma_s is None:
                sigma_s = HAND_SIGMA_S
            event = GaitEvent(EventKind(each["kind"]), Side(each["side"]), time_s, float(sigma_s))
        except (TypeError, ValueError, KeyError, AttributeError) as error:
            raise ValueError("The page sent no events. Reload it.") from error
        if not math.isfinite(time_s) or not event.sigma_s >= 0.0:
            raise ValueError("The page sent no events. Reload it.")
        found.append(event)
    return tuple(sorted(found, key=lambda event: event.time_s))
