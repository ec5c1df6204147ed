"""Changes made by hand, done again where another analysis found other events."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from imujump.model import Attempt, EventKind, GaitEvent, Side
from imujump.pipeline.attempt_motion import AttemptMotion
from imujump.pipeline.engine import analyse_with_motion
from imujump.pipeline.hand_changes import SAME_EVENT_S, HandChange, carried, hand_changes
from imujump.recording.files import open_recording

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"

STRIKE, TOE_OFF = EventKind.FOOT_STRIKE, EventKind.TOE_OFF


@pytest.fixture(scope="module")
def seen() -> tuple[Attempt, AttemptMotion]:
    kept: list[tuple[Attempt, AttemptMotion]] = []
    analyse_with_motion(open_recording(DEMO / "one_foot.imujump"), lambda *both: kept.append(both))
    return kept[0]


def moved(event: GaitEvent, by_s: float) -> GaitEvent:
    return replace(event, time_s=event.time_s + by_s)


def events_of(attempt: Attempt, kind: EventKind) -> list[GaitEvent]:
    return [e for e in attempt.events if e.kind is kind]


def test_what_a_hand_changed_is_told_from_what_it_left() -> None:
    first, second, third = (GaitEvent(STRIKE, Side.LEFT, t, 0.004) for t in (1.0, 1.5, 2.0))
    other = GaitEvent(TOE_OFF, Side.LEFT, 1.2, 0.004)
    by_hand = (first, moved(second, 0.02), other)
    assert hand_changes((first, second, third), by_hand) == (
        HandChange(second, by_hand[1]),
        HandChange(None, other),
        HandChange(third, None),
    )
    assert hand_changes((first, second), (second, first)) == ()


def test_hands_instants_take_the_place_of_another_analysis(
    seen: tuple[Attempt, AttemptMotion],
) -> None:
    attempt, motion = seen
    # Another pipeline: all its toe-offs come 12 ms later.
    late = 0.012 / motion.window.step_s
    contacts = tuple(
        c if c.toe_off is None else replace(c, toe_off=c.toe_off + late) for c in motion.contacts
    )
    other = replace(motion, contacts=contacts)
    strike, toe_off = events_of(attempt, STRIKE)[1], events_of(attempt, TOE_OFF)[2]
    by_hand = [moved(e, -0.02) if e in (strike, toe_off) else e for e in attempt.events]
    made = carried(other, other.attempt(), hand_changes(attempt.events, by_hand))
    assert made.refused == ()
    assert made.attempt is not None
    times = {round(e.time_s, 6) for e in made.attempt.events}
    wanted = [moved(e, 0.012) if e.kind is TOE_OFF and e in attempt.events else e for e in by_hand]
    assert times == {round(e.time_s, 6) for e in wanted}


def test_a_contact_taken_away_stays_away(seen: tuple[Attempt, AttemptMotion]) -> None:
    attempt, motion = seen
    strike = events_of(attempt, STRIKE)[0]
    toe_off = next(
        e for e in events_of(attempt, TOE_OFF) if e.side is strike.side and e.time_s > strike.time_s
    )
    left = [e for e in attempt.events if e not in (strike, toe_off)]
    made = carried(motion, attempt, hand_changes(attempt.events, left))
    assert made.refused == ()
    assert made.attempt is not None
    assert [(e.kind, e.time_s) for e in made.attempt.events] == [(e.kind, e.time_s) for e in left]


def test_what_does_not_fit_is_left_out_and_the_rest_done(
    seen: tuple[Attempt, AttemptMotion],
) -> None:
    attempt, motion = seen
    strike, *_ = events_of(attempt, STRIKE)
    odd = HandChange(None, moved(strike, SAME_EVENT_S + 0.01))
    toe_off = events_of(attempt, TOE_OFF)[-1]
    fine = HandChange(toe_off, moved(toe_off, 0.01))
    made = carried(motion, attempt, (odd, fine))
    assert made.refused == (odd,)
    assert made.attempt is not None
    assert any(abs(e.time_s - toe_off.time_s - 0.01) < 1e-6 for e in made.attempt.events)
    assert carried(motion, attempt, (odd,)).attempt is None
