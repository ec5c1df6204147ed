"""Paired differences and ratios: coverage, a reference, worked figures, odd input."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.meta_analysis import combine_effects

from imujump.sessions.paired import paired_difference
from imujump.sessions.ratios import (
    angle_percent,
    asymmetry,
    gain_percent,
    of_larger_percent,
    of_mean_percent,
    ratio_of,
)

from .seasons import sessions_of


def pairs_of(rng, pairs: int, effect: float, varies: float, n: tuple[int, int] = (4, 5)):
    level = rng.normal(0.45, 0.02, pairs)
    own = effect + rng.normal(0, varies, pairs) if varies else np.full(pairs, effect)
    return [
        (rng.normal(a, 0.02, n[0]).tolist(), rng.normal(a + e, 0.02, n[1]).tolist())
        for a, e in zip(level, own, strict=True)
    ]


def test_one_session_is_the_two_sample_t_test() -> None:
    ((a, b),) = pairs_of(np.random.default_rng(51), 1, 0.02, 0.0)
    found = paired_difference([(a, b)])
    told = stats.ttest_ind(b, a).confidence_interval(0.95)
    assert found.interval is not None
    assert (found.interval.low, found.interval.high) == pytest.approx((told.low, told.high))
    assert not found.general


def test_few_sessions_are_a_model_with_a_level_for_each() -> None:
    pairs = pairs_of(np.random.default_rng(52), 3, 0.02, 0.0)
    rows = [(k, kind, v) for k, p in enumerate(pairs) for kind in (0, 1) for v in p[kind]]
    data = pd.DataFrame(rows, columns=["pair", "kind", "height"])
    found = paired_difference(pairs)
    fit = ols("height ~ C(pair) + kind", data).fit()
    # The reference pools the scatter between the pairs' differences as well: two more degrees.
    assert found.value == pytest.approx(float(fit.params["kind"]), rel=1e-9)
    within = ols("height ~ C(pair) * C(kind)", data).fit()
    error = float(fit.bse["kind"]) * math.sqrt(within.mse_resid / fit.mse_resid)
    assert found.interval is not None
    assert found.interval.half == pytest.approx(stats.t.ppf(0.975, within.df_resid) * error)


def test_many_sessions_are_combined_as_studies_are() -> None:
    pairs = pairs_of(np.random.default_rng(53), 10, 0.02, 0.03)
    squares = sum(np.var(v, ddof=1) * (len(v) - 1) for pair in pairs for v in pair)
    variance = squares / sum(len(v) - 1 for pair in pairs for v in pair)
    effect = np.array([np.mean(b) - np.mean(a) for a, b in pairs])
    reference = combine_effects(
        effect, np.full(10, variance * (1 / 4 + 1 / 5)), method_re="iterated", atol=1e-12
    )
    found = paired_difference(pairs)
    assert found.general
    assert found.value == pytest.approx(reference.mean_effect_re, rel=1e-3)
    assert found.interval is not None
    # Hartung and Knapp's scale is 1 at the spread of Paule and Mandel.
    half = stats.t.ppf(0.975, 9) * reference.sd_eff_w_re_hksj
    assert found.interval.half == pytest.approx(half, rel=1e-3)


@pytest.mark.parametrize(("pairs", "varies"), [(1, 0.0), (3, 0.0), (5, 0.0), (5, 0.02), (12, 0.02)])
def test_intervals_hold_the_truth(pairs, varies) -> None:
    rng = np.random.default_rng(54)
    held = 0
    for _ in range(400):
        found = paired_difference(pairs_of(rng, pairs, 0.015, varies))
        held += found.interval is not None and found.interval.holds(0.015)
    # 400 draws know 0.95 to 0.011; the scale's floor makes intervals wide rather than narrow.
    assert held / 400 >= 0.92


def test_more_attempts_would_tell_it() -> None:
    rng = np.random.default_rng(55)
    found = paired_difference([(rng.normal(0.45, 0.02, 6), rng.normal(0.46, 0.02, 6))])
    while found.more_attempts is None:
        found = paired_difference([(rng.normal(0.45, 0.02, 6), rng.normal(0.46, 0.02, 6))])
    assert found.value is not None
    n = (12 + found.more_attempts) // 2
    spread = found.interval.half / stats.t.ppf(0.975, 10) / math.sqrt(2 / 6)
    told = sum(
        paired_difference([(rng.normal(0, spread, n), rng.normal(found.value, spread, n))]).told
        for _ in range(300)
    )
    # The plan counts degrees of freedom as they were, so it errs towards more attempts.
    assert 0.75 <= told / 300 <= 0.93


def test_too_little() -> None:
    assert paired_difference([]).value is None
    assert paired_difference([([], [0.4]), ([math.nan], [0.4])]).pairs == 0
    single = paired_difference([([0.4], [0.5])])
    assert single.value == pytest.approx(0.1)
    assert single.interval is None
    assert not single.told
    alike = paired_difference([([0.4, 0.4], [0.5, 0.5])])
    assert alike.interval is None
    assert paired_difference([([0.40], [0.42]), ([0.41], [0.44])]).interval is not None


def test_worked_ratios() -> None:
    # Arithmetic on means of 10 college women (2010, 10.1260/1747-9541.5.3.373; seen there).
    assert gain_percent(0.38 / 0.33) == pytest.approx(15.2, abs=0.05)
    # Plain arithmetic, three forms as listed by Bishop, 2016 (10.1519/SSC.0000000000000264).
    ratio = 0.40 / 0.36
    assert of_larger_percent(ratio) == pytest.approx(10.00, abs=5e-3)
    assert of_mean_percent(ratio) == pytest.approx(10.53, abs=5e-3)
    assert angle_percent(ratio) == pytest.approx(-3.35, abs=5e-3)
    for form in (of_larger_percent, of_mean_percent, angle_percent):
        assert form(1 / ratio) == pytest.approx(-form(ratio))
        assert form(1.0) == pytest.approx(0.0)


def test_ratios_hold_the_truth_and_side_forms_agree() -> None:
    rng = np.random.default_rng(56)
    held = told = 0
    for _ in range(200):
        left = sessions_of(rng.normal(0.44, 0.02, (3, 5)))
        right = sessions_of(rng.normal(0.40, 0.02, (3, 5)))
        found = asymmetry(left, right)
        assert found is not None
        assert found.of_larger_interval is not None
        assert found.of_mean_interval is not None
        assert found.angle_interval is not None
        held += found.of_larger_interval.holds(100 * (0.44 - 0.40) / 0.44)
        told += found.ratio.told
        outside = {
            not each.holds(0.0)
            for each in (found.of_larger_interval, found.of_mean_interval, found.angle_interval)
        }
        assert outside == {found.ratio.told}
    assert held / 200 == pytest.approx(0.95, abs=0.035)
    assert told / 200 > 0.9


def test_only_sessions_with_both_are_compared() -> None:
    left, right = sessions_of([[0.44, 0.45]] * 3), sessions_of([[0.40, 0.41]] * 5)
    found = ratio_of(left, right[2:])
    assert found is not None
    assert found.difference.pairs == 1
    assert ratio_of(left, right[3:]) is None
    assert ratio_of(sessions_of([[0.0, 0.4]]), right) is None
    assert asymmetry((), right) is None
