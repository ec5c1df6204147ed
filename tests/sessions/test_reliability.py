"""Typical error and what follows from it, against a reference library and worked figures."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from imujump.sessions.interval import around, of_deviation
from imujump.sessions.reliability import (
    least_detectable_change,
    mean_sigma,
    retest_error,
    shared_sigma,
    smallest_worthwhile_change,
    typical_error,
    variation_percent,
)

TEST, RETEST = [40, 45, 50, 38, 52], [41, 44, 52, 38.5, 51.5]


def test_a_test_and_its_retest() -> None:
    # Plain arithmetic after Hopkins (Sports Med. 30:1-15, 2000; formulas from memory):
    # s_diff 1.194, TE 0.844 cm, CV 1.87 %, least detectable change 2.34 cm, SD of the first
    # test 6.083, smallest worthwhile change 1.22 cm.
    found = retest_error(TEST, RETEST)
    assert found is not None
    assert found.value * math.sqrt(2) == pytest.approx(1.194, abs=5e-4)
    assert found.value == pytest.approx(0.844, abs=5e-4)
    mean = float(np.mean([TEST, RETEST]))
    assert variation_percent(found.value, mean) == pytest.approx(1.87, abs=5e-3)
    assert least_detectable_change(found.value) == pytest.approx(2.34, abs=5e-3)
    assert smallest_worthwhile_change(TEST) == pytest.approx(1.22, abs=5e-3)


def test_pooled_spread_is_the_residual_of_an_analysis_of_variance() -> None:
    rng = np.random.default_rng(4)
    groups = [rng.normal(0.4 + 0.02 * k, 0.02, n) for k, n in enumerate((2, 5, 1, 7, 3))]
    frame = pd.DataFrame(
        [(k, v) for k, group in enumerate(groups) for v in group], columns=["session", "height"]
    )
    table = anova_lm(ols("height ~ C(session)", frame).fit())
    found = typical_error(groups)
    assert found is not None
    assert found.value**2 == pytest.approx(table.loc["Residual", "mean_sq"], rel=1e-9)
    assert found.df == table.loc["Residual", "df"] == 13
    assert (found.n, found.groups) == (17, 4)


def test_retest_form_is_the_residual_once_the_shift_is_taken_out() -> None:
    # Two-way analysis of variance, athletes and occasions, no interaction.
    frame = pd.DataFrame({"h": TEST + RETEST, "who": list(range(5)) * 2, "when": [0] * 5 + [1] * 5})
    table = anova_lm(ols("h ~ C(who) + C(when)", frame).fit())
    found = retest_error(TEST, RETEST)
    assert found is not None
    assert found.value**2 == pytest.approx(table.loc["Residual", "mean_sq"], rel=1e-9)


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    # 2000 draws: the share is known to 0.5 %, so 95 % must show as 93.5 to 96.5 %.
    rng = np.random.default_rng(11)
    held = [0, 0]
    for _ in range(2000):
        values = rng.normal(0.4, 0.02, 6)
        sd = float(values.std(ddof=1))
        held[0] += of_deviation(sd, 5).holds(0.02)
        held[1] += around(float(values.mean()), sd / math.sqrt(6), 5).holds(0.4)
    assert all(0.935 <= share / 2000 <= 0.965 for share in held)
    told = stats.t.interval(0.95, 5, loc=0.4, scale=0.01)
    limits = around(0.4, 0.01, 5)
    assert (limits.low, limits.high) == pytest.approx(told)


def test_least_detectable_change_is_exceeded_by_error_in_one_case_of_twenty() -> None:
    rng = np.random.default_rng(12)
    error, between, shared = 0.02, 0.01, 0.006
    first, second = (
        rng.normal(0, between, 20_000)
        + rng.normal(0, shared, 20_000)
        + rng.normal(0, error, (n, 20_000)).mean(axis=0)
        for n in (4, 6)
    )
    limit = least_detectable_change(error, 4, 6, between, shared)
    assert np.mean(np.abs(first - second) > limit) == pytest.approx(0.05, abs=0.005)


def test_what_attempts_share_does_not_average_out() -> None:
    # A spread of repeats below sigma leaves no room for an error drawn anew.
    assert shared_sigma(0.010, 0.0) == pytest.approx(0.010)
    assert mean_sigma(0.010, 1000, 0.0) == pytest.approx(0.010)
    assert mean_sigma(0.010, 1, 0.05) == pytest.approx(0.010)
    assert mean_sigma(0.010, 10_000, 0.05) == pytest.approx(0.010 * math.sqrt(0.5), rel=1e-3)


def test_too_little_gives_nothing() -> None:
    assert typical_error([]) is None
    assert typical_error([[0.4], [], [math.nan, 0.5]]) is None
    assert retest_error([40], [41]) is None
    assert smallest_worthwhile_change([40]) is None
    assert variation_percent(0.1, 0.0) is None
    alike = typical_error([[0.4, 0.4], [0.5, 0.5]])
    assert alike is not None
    assert alike.value == 0.0
    with_nan = typical_error([[0.4, math.nan, 0.42], [0.4, math.inf]])
    assert with_nan is not None
    assert with_nan.df == 1


def test_misuse_names_the_argument() -> None:
    with pytest.raises(ValueError, match=r"^retest has 1 values"):
        retest_error([1, 2], [1])
    with pytest.raises(ValueError, match=r"^n_first is 0"):
        least_detectable_change(0.01, 0)
    with pytest.raises(ValueError, match=r"^between is nan"):
        least_detectable_change(0.01, between=math.nan)
