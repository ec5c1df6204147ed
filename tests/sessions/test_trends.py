"""Changes over sessions: against a reference library, in simulated seasons, and on odd input."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from statsmodels.regression.linear_model import WLS
from statsmodels.stats.meta_analysis import combine_effects

from imujump.sessions.changes import Verdict
from imujump.sessions.day_to_day import day_to_day, session_levels
from imujump.sessions.interval import t_factor
from imujump.sessions.looking import looks_in_a_year, risk_of_look
from imujump.sessions.readings import Conditions
from imujump.sessions.reliability import typical_error
from imujump.sessions.trends import blocks, compare_periods, more_sessions_needed, trend
from tests.campaign.seasons import PLAIN, draw_season, ramp, step, watch

from .seasons import BEGIN, sessions_of


def flat_season(n: int = 30, seed: int = 5):
    return draw_season(replace(PLAIN, sessions=n), np.random.default_rng(seed))


def test_day_to_day_spread_agrees_with_the_reference() -> None:
    # One block: the method of Paule and Mandel, as statsmodels has it for studies.
    season = flat_season()
    error = typical_error(s.values.tolist() for s in season)
    assert error is not None
    means = np.array([s.mean for s in season])
    noise = np.array([error.value**2 / s.n for s in season])
    found = day_to_day(season, error, np.zeros(30, dtype=np.int64))
    reference = combine_effects(means, noise, method_re="iterated", atol=1e-12)
    assert found is not None
    assert found.value**2 == pytest.approx(reference.tau2, rel=1e-3)
    assert found.interval.low < found.value < found.interval.high


def test_difference_agrees_with_weighted_least_squares() -> None:
    season = draw_season(replace(PLAIN, sessions=30, course=step(0.08)), np.random.default_rng(6))
    found = trend(season)
    change, error = found.change, found.error
    assert change.verdict is Verdict.CHANGED
    assert error is not None
    assert found.between is not None
    assert change.interval is not None
    assert change.value is not None
    block = blocks(30, 10)
    weight = [1 / (found.between.value**2 + error.value**2 / s.n) for s in season]
    design = np.column_stack([block == k for k in range(block[-1] + 1)]).astype(float)
    fit = WLS([s.mean for s in season], design, weights=weight).fit()
    told = fit.t_test([[-1.0, 0.0, 0.0, 1.0]])
    # The spread was found so that the scale of the weighted fit is one.
    assert fit.scale == pytest.approx(1.0, rel=1e-4)
    assert change.value == pytest.approx(float(told.effect[0]), rel=1e-9)
    risk = risk_of_look(30 - 5)
    assert change.interval.half == pytest.approx(
        t_factor(26, 1 - risk) * float(np.squeeze(told.sd)), rel=1e-4
    )
    assert change.since_utc == season[15].started_utc


def test_false_alarms_over_whole_seasons() -> None:
    # Looked at after each of 30 sessions; python -m tests.campaign.seasons draws 200 of 50.
    rng = np.random.default_rng(21)
    seasons = [watch(draw_season(replace(PLAIN, sessions=30), rng)) for _ in range(20)]
    assert sum(seen.first is not None for seen in seasons) <= 1


@pytest.mark.parametrize("course", [step(0.06), ramp(0.08)], ids=["step", "ramp"])
def test_a_large_change_is_found(course) -> None:
    rng = np.random.default_rng(22)
    drawn = [draw_season(replace(PLAIN, sessions=40, course=course), rng) for _ in range(10)]
    changes = [trend(season).change for season in drawn]
    assert sum(change.verdict is Verdict.CHANGED for change in changes) >= 9
    assert all((change.value or 0.0) > 0.0 for change in changes)


def test_what_would_settle_it_does_so_four_times_of_five() -> None:
    # A known difference and spread, with the number of sessions that the plan asks for.
    rng = np.random.default_rng(23)
    form, spread, attempts, size, so_far = 0.010, 0.020, 5, 0.03, 12
    more = more_sessions_needed(size, math.hypot(form, spread / math.sqrt(attempts)), so_far)
    assert more is not None
    n = so_far + more
    level = 0.45 + size * (np.arange(n) >= n // 2)
    told = 0
    for _ in range(150):
        values = level[:, None] + rng.normal(0, form, (n, 1)) + rng.normal(0, spread, (n, attempts))
        told += trend(sessions_of(values, None)).change.verdict is Verdict.CHANGED
    # 150 draws know a share of 0.8 to 0.033.
    assert told / 150 == pytest.approx(0.8, abs=0.1)


def test_an_open_question_says_what_would_settle_it() -> None:
    values = np.random.default_rng(30).normal(0.45, 0.02, (10, 5))
    values[5:] += 0.025
    change = trend(sessions_of(values)).change
    assert change.verdict is Verdict.OPEN
    assert change.more_sessions is not None
    assert change.more_attempts == 5 * change.more_sessions
    assert more_sessions_needed(0.0001, 0.01, 14) is None


def test_intervals_of_session_means_hold_the_level_of_the_day() -> None:
    rng = np.random.default_rng(24)
    held = total = 0
    for _ in range(40):
        level = 0.45 + rng.normal(0, 0.01, 12)
        shared = rng.normal(0, 0.005 * math.sqrt(0.5), 12)
        values = [
            rng.normal(a + b, 0.02, rng.integers(1, 6)) for a, b in zip(level, shared, strict=True)
        ]
        season = sessions_of(values, 0.005)
        told = session_levels(season, typical_error(values))
        held += sum(
            t.interval.holds(a) for t, a in zip(told, level, strict=True) if t.interval is not None
        )
        total += 12
    assert held / total == pytest.approx(0.95, abs=0.025)


def test_a_comparison_chosen_beforehand() -> None:
    values = np.random.default_rng(25).normal(0.45, 0.01, (20, 5))
    values[12:] += 0.05
    season = sessions_of(values)
    change = compare_periods(season, first={10, 11}, latest={12, 13, 14})
    assert change.verdict is Verdict.CHANGED
    assert change.first is not None
    assert change.latest is not None
    assert (change.first.sessions, change.latest.attempts) == (2, 15)
    single = compare_periods(season, first={3}, latest={4})
    assert single.interval is not None
    assert single.verdict is Verdict.OPEN
    alike = compare_periods(season, {0, 1, 2, 3}, {4, 5, 6, 7}, worthwhile=0.05)
    assert alike.verdict is Verdict.ALIKE
    with pytest.raises(ValueError, match=r"^latest has no session"):
        compare_periods(season, {0}, {99})
    with pytest.raises(ValueError, match="share a session"):
        compare_periods(season, {0, 1}, {1, 2})


def test_single_chosen_comparisons_err_in_one_case_of_twenty() -> None:
    rng = np.random.default_rng(26)
    told = 0
    for _ in range(400):
        season = sessions_of(
            0.45 + rng.normal(0, 0.01, (12, 1)) + rng.normal(0, 0.02, (12, 4)), None
        )
        change = compare_periods(season, set(range(6)), set(range(6, 12)))
        told += change.verdict is Verdict.CHANGED
    # 400 comparisons at 5 %: 20 ± 4.4.
    assert told <= 30


def test_the_measurement_must_be_beaten_too() -> None:
    values = np.random.default_rng(27).normal(0.45, 0.004, (20, 5))
    values[10:] += 0.03
    assert trend(sessions_of(values, 0.002)).change.verdict is Verdict.CHANGED
    unsure = trend(sessions_of(values, 0.08)).change
    assert unsure.verdict is Verdict.OPEN
    assert unsure.measurement_limit is not None
    assert unsure.measurement_limit > 0.03
    unknown = trend(sessions_of(values, None)).change
    assert unknown.verdict is Verdict.CHANGED
    assert unknown.measurement_limit is None


def test_other_conditions_are_told() -> None:
    values = np.random.default_rng(28).normal(0.45, 0.01, (12, 4))
    season = list(sessions_of(values))
    season[8:] = [replace(s, conditions=Conditions("sand", "low", "")) for s in season[8:]]
    told = {c.name: (c.before, c.after) for c in trend(season).change.conditions}
    assert told == {
        "surface": (("hall",), ("sand",)),
        "mounting": (("new straps",), ("",)),
    }
    season[1] = replace(season[1], conditions=Conditions("sand", "low", ""))
    told = {c.name: (c.before, c.after) for c in trend(season).change.conditions}
    assert told["surface"] == (("hall", "sand"), ("sand",))


@pytest.mark.parametrize("n", [0, 1, 2, 5])
def test_few_sessions_say_how_many_are_missing(n) -> None:
    found = trend(sessions_of([[0.4, 0.42]] * n))
    assert found.change.verdict is Verdict.TOO_FEW
    assert found.change.more_sessions == 6 - n
    assert len(found.levels) == n


def test_values_without_spread_say_nothing() -> None:
    assert trend(sessions_of([[0.4, 0.4]] * 12)).change.verdict is Verdict.NO_SPREAD


@pytest.mark.parametrize("value", [0.2137, 0.4123, 1.752, 4.1 / 3.0])
def test_means_that_differ_by_rounding_alone_have_no_spread(value) -> None:
    sessions = sessions_of([[value] * (2 + k % 5) for k in range(24)])
    assert trend(sessions).change.verdict is Verdict.NO_SPREAD
    # All in a session alike, but sessions not: the days still tell an error.
    values = [[0.4 + 0.01 * (k % 2)] * 2 for k in range(12)]
    assert trend(sessions_of(values)).change.verdict is Verdict.OPEN


def test_single_attempts_a_session() -> None:
    values = np.random.default_rng(29).normal(0.45, 0.01, (12, 1))
    found = trend(sessions_of(values))
    assert found.error is None
    assert found.levels[0].interval is None
    assert found.change.verdict is Verdict.OPEN


def test_risks_of_a_season_add_up_to_at_most_five_per_cent() -> None:
    for looks in (10, 104, 250):
        year = max(104, looks)
        assert sum(risk_of_look(j, year) for j in range(1, looks + 1)) <= 0.05
    assert risk_of_look(3, questions=4) == pytest.approx(risk_of_look(3) / 4)
    assert looks_in_a_year([BEGIN] * 300) == 300
    assert looks_in_a_year([]) == 104
    with pytest.raises(ValueError, match=r"^look is 0"):
        risk_of_look(0)


def test_blocks_are_the_first_the_latest_and_the_rest() -> None:
    for n in range(6, 80):
        side = min(20, max(3, n // 3))
        found = blocks(n, side)
        assert len(found) == n
        assert (np.diff(found) >= 0).all()
        assert (np.diff(found) <= 1).all()
        assert (found == 0).sum() == (found == found[-1]).sum() == side
