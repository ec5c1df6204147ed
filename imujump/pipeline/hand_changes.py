"""What a person changed in an attempt's events, done again to what another analysis found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from imujump.model import Attempt, GaitEvent
from imujump.pipeline.attempt_motion import AttemptMotion
from imujump.pipeline.by_hand import measured_by_hand

SAME_EVENT_S = 0.08
"""Two analyses mean the same event of a foot when its instants lie no further apart (own choice:
shorter than a contact, longer than a newer pipeline moves an event)."""

MOVED_S = 0.3
"""An event that a person took away and one that they set are one that was moved, if they lie no
further apart (own choice: about a step)."""

SAME_TIME_S = 1e-5
"""Instants this near are equal."""


@dataclass(frozen=True, slots=True)
class HandChange:
    """An event that was moved, added (``before`` is ``None``) or removed (``after`` is)."""

    before: GaitEvent | None
    after: GaitEvent | None


@dataclass(frozen=True, slots=True)
class Carried:
    """An attempt with what could be changed in it; ``attempt`` is ``None`` if nothing could."""

    attempt: Attempt | None
    refused: tuple[HandChange, ...]


def hand_changes(
    measured: Sequence[GaitEvent], by_hand: Sequence[GaitEvent]
) -> tuple[HandChange, ...]:
    """List what a person changed.

    Parameters
    ----------
    measured : sequence of GaitEvent
        As the pipeline found them.
    by_hand : sequence of GaitEvent
        As the person left them.
    """
    gone = [e for e in measured if _near(e, by_hand, SAME_TIME_S) is None]
    changes = []
    for event in by_hand:
        if _near(event, measured, SAME_TIME_S) is not None:
            continue
        before = _near(event, gone, MOVED_S)
        if before is not None:
            gone.remove(before)
        changes.append(HandChange(before, event))
    changes += [HandChange(event, None) for event in gone]
    return tuple(changes)


def carried(motion: AttemptMotion, attempt: Attempt, changes: Sequence[HandChange]) -> Carried:
    """Do a person's changes again.

    Parameters
    ----------
    motion : AttemptMotion
        What the other analysis found.
    attempt : Attempt
        The attempt as measured from that motion.
    changes : sequence of HandChange
        What is to be changed.

    Returns
    -------
    Carried
        With all changes if they fit together, else with each that fits after those before it.
    """
    events = list(attempt.events)
    for change in changes:
        events = _changed(events, change)
    try:
        return Carried(measured_by_hand(motion, attempt, events), ())
    except ValueError:
        pass
    events, made, refused = list(attempt.events), None, []
    for change in changes:
        tried = _changed(events, change)
        try:
            made = measured_by_hand(motion, attempt, tried)
        except ValueError:
            refused.append(change)
        else:
            events = tried
    return Carried(made, tuple(refused))


def _changed(events: Sequence[GaitEvent], change: HandChange) -> list[GaitEvent]:
    """Put an event in the place of the one that is meant, if the other analysis has it."""
    meant = None
    for place in (change.before, change.after):
        if meant is None and place is not None:
            meant = _near(place, events, SAME_EVENT_S)
    left = [event for event in events if event is not meant]
    if change.after is not None:
        left.append(change.after)
    return sorted(left, key=lambda e: e.time_s)


def _near(event: GaitEvent, among: Sequence[GaitEvent], within_s: float) -> GaitEvent | None:
    """Find the nearest event of the same foot and kind."""
    alike = [e for e in among if e.kind is event.kind and e.side is event.side]
    found = min(alike, key=lambda e: abs(e.time_s - event.time_s), default=None)
    return found if found and abs(found.time_s - event.time_s) <= within_s else None
