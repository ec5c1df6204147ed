"""Did the cue help: who is compared with whom, and how often it is told wrongly or rightly."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from imujump.sessions.cues import CueEpisode, cue_effect, cue_episodes
from imujump.sessions.records import Note, NoteKind, Task

from .test_readings import METRIC, START, attempt


def note(after: int | None, text: str = "tall hips", session: int = 1, minute: float = 0.0) -> Note:
    at = START + timedelta(minutes=minute)
    return Note(1, session, after, at, NoteKind.CUE, text)


ATTEMPTS = [attempt(k, 0.40 + 0.01 * k) for k in range(1, 11)]


def test_attempts_before_and_after_the_first_time() -> None:
    told = [note(4), note(6, " Tall  HIPS "), note(8, "quick feet")]
    (found,) = cue_episodes(ATTEMPTS, told, METRIC, "tall hips")
    assert found.before == pytest.approx((0.41, 0.42, 0.43, 0.44))
    assert found.after == pytest.approx((0.45, 0.46, 0.47, 0.48))
    assert found.after_order == (4, 5, 6, 7)
    (found,) = cue_episodes(ATTEMPTS, told, METRIC, "quick feet")
    assert found.before == pytest.approx((0.47, 0.48))
    # Placed by time where no attempt is named.
    (found,) = cue_episodes(ATTEMPTS, [note(None, minute=9.5)], METRIC, "tall hips")
    assert found.after == pytest.approx((0.50,))
    assert len(found.before) == 6


def test_what_does_not_count_is_left_out() -> None:
    odd = list(ATTEMPTS)
    odd[4] = replace(odd[4], valid=False)
    odd[5] = replace(odd[5], task=Task.TWO_FOOT)
    seen = replace(note(2), kind=NoteKind.SEEN)
    (found,) = cue_episodes(odd, [note(4), seen], METRIC, "tall hips", Task.ONE_FOOT)
    assert found.after == pytest.approx((0.47, 0.48, 0.49, 0.50))
    assert cue_episodes(ATTEMPTS, [seen], METRIC, "tall hips") == ()
    assert cue_episodes([], [note(1)], METRIC, "tall hips") == ()


def session_with_cue(
    rng, number: int, effect: float, drift: float = 0.0, whose: int = 1, at_first: bool = True
):
    """A coach who gives the cue after an attempt that is worse than usual, the first or any."""
    level = rng.normal(0.45, 0.015)
    values = level + rng.normal(0, 0.02, 14) + drift * np.arange(14)
    bad = [k for k in range(3, 9) if values[k] < level - 0.015] or [8]
    at = (bad[0] if at_first else int(rng.choice(bad))) + 1
    values[at:] += effect
    first, last = max(0, at - 6), at + 5
    return CueEpisode(
        whose,
        number,
        tuple(values[first:at]),
        tuple(range(first, at)),
        tuple(values[at:last]),
        tuple(range(at, last)),
    )


def answers(effect: float, drift: float = 0.0, seasons: int = 150, at_first: bool = True):
    rng = np.random.default_rng(61)
    for _ in range(seasons):
        yield cue_effect(
            [session_with_cue(rng, k, effect, drift, at_first=at_first) for k in range(12)]
        )


@pytest.mark.parametrize("at_first", [True, False], ids=["first bad", "any bad"])
def test_a_cue_after_a_bad_attempt_does_not_pass_for_help(at_first) -> None:
    found = list(answers(0.0, at_first=at_first))
    # 150 draws at 5 %: 7.5 ± 2.7.
    assert sum(a.told for a in found) <= 8
    without, naive = (
        np.mean([each.value for each in side])
        for side in zip(*((a.difference, a.with_leading) for a in found), strict=True)
    )
    # No effect at all: the one comparison errs against the cue or not at all, the other for it.
    assert without < 0.001
    assert naive > without + 0.003


def test_a_cue_that_helps_is_found() -> None:
    found = list(answers(0.03, seasons=60))
    assert sum(a.told for a in found) / 60 >= 0.9
    assert all(a.difference.general and a.sessions == 12 for a in found)


def test_drift_is_told_apart_from_the_cue() -> None:
    found = list(answers(0.0, drift=0.004, seasons=60))
    assert np.mean([a.difference.value for a in found]) > 0.01
    held = sum(a.drift_interval is not None and a.drift_interval.holds(0.0) for a in found)
    assert held / 60 >= 0.88


def test_many_athletes_are_each_one_case() -> None:
    rng = np.random.default_rng(62)
    episodes = [session_with_cue(rng, k, 0.03, whose=k // 2) for k in range(12)]
    found = cue_effect(episodes)
    assert found.by_athlete
    assert (found.athletes, found.sessions, found.difference.pairs) == (6, 12, 6)


def test_too_little_around_a_cue() -> None:
    empty = cue_effect([])
    assert empty.difference.value is None
    assert empty.drift_removed is None
    alone = CueEpisode(1, 1, (0.4,), (0,), (0.5, 0.5), (1, 2))
    assert cue_effect([alone]).sessions == 0
    alike = CueEpisode(1, 1, (0.4, 0.4, 0.4), (0, 1, 2), (0.5, 0.5), (3, 4))
    assert not cue_effect([alike]).difference.told
