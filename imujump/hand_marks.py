"""Events that the coach set by hand, carried over to what a newer pipeline finds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from imujump.attempt_again import found_in
from imujump.errors import RecordingError
from imujump.model import Analysis, Attempt, EventKind, GaitEvent
from imujump.pipeline.hand_changes import HandChange, carried, hand_changes
from imujump.sessions.records import StoredAttempt, StoredRecording
from imujump.sessions.store import SessionStore

EVENTS = {EventKind.FOOT_STRIKE: "strike", EventKind.TOE_OFF: "toe-off"}


@dataclass(frozen=True, slots=True)
class CarriedOver:
    """Attempts, by id, with the coach's events, and what of these does not fit, in sentences."""

    attempts: Mapping[int, Attempt] = field(default_factory=dict)
    refused: Mapping[int, tuple[str, ...]] = field(default_factory=dict)


def carried_over(
    store: SessionStore, recording: StoredRecording, analysis: Analysis
) -> CarriedOver:
    """Carry a recording's hand marks over to a new analysis of it; nothing is written.

    Parameters
    ----------
    store : SessionStore
        Holds the attempts; those of which events set by hand are shown are carried over.
    recording : StoredRecording
        Which recording; its file is read again.
    analysis : Analysis
        What the newer pipeline found in it.
    """
    by_hand = [a for a in store.attempts_of_recording(recording.recording_id) if a.hand_events]
    if not by_hand:
        return CarriedOver()
    pairs = store.same_jumps(recording.recording_id, analysis.attempts)
    made: dict[int, Attempt] = {}
    refused: dict[int, tuple[str, ...]] = {}
    for stored in by_hand:
        new = pairs.get(stored.attempt_id)
        if new is None:
            continue
        changes = hand_changes(_before(store, stored), stored.events)
        try:
            found = found_in(recording, new.toe_off_s)
        except RecordingError as error:
            refused[stored.attempt_id] = (str(error),)
            continue
        result = carried(found.motion, found.attempt, changes)
        told = tuple(_told(change) for change in result.refused)
        if told:
            refused[stored.attempt_id] = told
        if result.attempt is not None:
            made[stored.attempt_id] = replace(
                result.attempt, reasons=(*result.attempt.reasons, *told)
            )
    return CarriedOver(made, refused)


def _before(store: SessionStore, stored: StoredAttempt) -> tuple[GaitEvent, ...]:
    """Events of the analysis that the coach corrected: the last one before the correction."""
    before: tuple[GaitEvent, ...] = ()
    events: tuple[GaitEvent, ...] = ()
    for result in store.results(stored.attempt_id):
        if result.hand_events:
            before = events
        else:
            events = result.events
    return before


def _told(change: HandChange) -> str:
    event = change.after or change.before
    assert event is not None
    what = f"{event.side} {EVENTS[event.kind]}"
    if change.after is None:
        what += " taken away"
    else:
        what += " set"
    return f"the {what} by hand at {event.time_s:.3f} s of the recording does not fit this analysis"
