"""An attempt measured again from foot events that a person has moved, added or taken away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from imujump.model import Attempt, EventKind, GaitEvent, Side
from imujump.pipeline.attempt_motion import AttemptMotion, foot_events
from imujump.pipeline.contacts import Contact

HAND_SIGMA_S = 0.01
"""Standard deviation of an event set by hand on a drawn signal (own choice)."""


def measured_by_hand(
    motion: AttemptMotion, attempt: Attempt, events: Sequence[GaitEvent]
) -> Attempt:
    """Measure an attempt from other foot events.

    The motion stays as it was found; events outside the attempt stay as well.

    Parameters
    ----------
    motion : AttemptMotion
        What was found.
    attempt : Attempt
        The attempt whose events were changed, as it was measured from that motion.
    events : sequence of GaitEvent
        All events that the attempt is to have, in any order, in session time;
        :data:`HAND_SIGMA_S` suits those that a person has set.

    Returns
    -------
    Attempt
        With the same number.

    Raises
    ------
    ValueError
        If a foot would strike while it is down or leave while it is up; the text says where.
    """
    own = {_key(event) for event in attempt.events}
    found = _found(motion)
    places = [place for key, place in found.items() if key not in own]
    for event in events:
        index = (event.time_s - motion.start_s) / motion.window.step_s
        places.append(found.get(_key(event), _Place(event, index)))
    contacts = [c for side in Side for c in _contacts(motion, side, places)]
    ordered = sorted(contacts, key=lambda c: -1.0 if c.strike is None else c.strike)
    return replace(motion.attempt_with(tuple(ordered)), number=attempt.number)


@dataclass(frozen=True, slots=True)
class _Place:
    """An event and the sample number at which it lies."""

    event: GaitEvent
    index: float


_Key = tuple[EventKind, Side, float]


def _key(event: GaitEvent) -> _Key:
    return event.kind, event.side, event.time_s


def _found(motion: AttemptMotion) -> dict[_Key, _Place]:
    """All events of the window, as sure as before their clocks' part was added."""
    places = {}
    for contact in motion.contacts:
        for event, index in zip(
            foot_events((contact,), motion.start_s, motion.window.step_s),
            [at for at in (contact.strike, contact.toe_off) if at is not None],
            strict=True,
        ):
            places[_key(event)] = _Place(event, index)
    return places


def _contacts(motion: AttemptMotion, side: Side, places: list[_Place]) -> list[Contact]:
    """Pair one foot's strikes and toe-offs."""
    stays = any(c.side is side and c.strike is None and c.toe_off is None for c in motion.contacts)
    contacts = [Contact(side, None, 0.0, None, 0.0)] if stays else []
    last: GaitEvent | None = None
    for place in sorted(places, key=lambda p: p.index):
        event, index = place.event, place.index
        if event.side is not side:
            continue
        if event.kind is EventKind.FOOT_STRIKE:
            if last is not None and last.kind is EventKind.FOOT_STRIKE:
                raise ValueError(_twice(side, "strikes", "leaving the floor", last, event))
            contacts.append(Contact(side, index, event.sigma_s, None, 0.0))
        elif last is None:
            contacts.append(Contact(side, None, 0.0, index, event.sigma_s))
        elif last.kind is EventKind.TOE_OFF:
            raise ValueError(_twice(side, "leaves the floor", "striking it", last, event))
        else:
            contacts[-1] = replace(contacts[-1], toe_off=index, toe_off_sigma_s=event.sigma_s)
        last = event
    return contacts


def _twice(side: Side, does: str, without: str, first: GaitEvent, second: GaitEvent) -> str:
    return (
        f"The {side} foot {does} at {first.time_s:.3f} and again at {second.time_s:.3f} s without "
        f"{without} in between; add or remove an event there."
    )
