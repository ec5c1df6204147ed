"""One session by itself, against a reference library and values worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from statsmodels.regression.linear_model import OLS

from imujump.model import Estimate, EventKind, GaitEvent, Side
from imujump.sessions.records import StoredAttempt, Task
from imujump.sessions.through_session import apart, course, landings, level
from tests.sessions.invented import STARTED

HEIGHTS_M = [0.42, 0.40, 0.43, 0.39, 0.38, 0.39, 0.35]


def landed(left_s: float, right_s: float, left: float | None, right: float | None) -> StoredAttempt:
    events = tuple(
        GaitEvent(EventKind.FOOT_STRIKE, side, time_s, 0.005)
        for side, time_s in ((Side.LEFT, left_s), (Side.RIGHT, right_s))
    )
    # A strike of the run-up and a step out of the landing, which are none.
    more = tuple(GaitEvent(EventKind.FOOT_STRIKE, Side.RIGHT, t, 0.005) for t in (9.0, 11.5))
    return StoredAttempt(
        1, 1, 1, 1, 1, Task.ONE_FOOT, STARTED, "1", None, None, True,
        metrics={
            "landing_peak_left_mps2": Estimate(left, 1.0, None, ""),
            "landing_peak_right_mps2": Estimate(right, 1.0, None, ""),
        },
        events=(*more, *events), toe_off_s=9.5, landing_s=10.0,
    )  # fmt: skip


def test_the_mean_has_students_interval() -> None:
    found = level(HEIGHTS_M)
    assert found is not None
    assert found.interval is not None
    expected = stats.ttest_1samp(HEIGHTS_M, 0.0).confidence_interval(0.95)
    assert (found.interval.low, found.interval.high) == pytest.approx(tuple(expected))
    assert (found.n, found.best) == (7, 0.43)
    assert level([]) is None
    single = level([0.4])
    assert single is not None
    assert single.interval is None


def test_the_course_is_the_line_of_ordinary_least_squares() -> None:
    found = course(HEIGHTS_M)
    assert found is not None
    # statsmodels is the reference: an independent fit with its own interval.
    fit = OLS(HEIGHTS_M, np.column_stack([np.ones(7), np.arange(7.0)])).fit()
    low, high = 6.0 * fit.conf_int(0.05)[1]
    assert found.change == pytest.approx(6.0 * fit.params[1])
    assert (found.interval.low, found.interval.high) == pytest.approx((low, high))
    assert found.is_sure
    assert course(HEIGHTS_M[:4]) is None
    flat = course([0.40, 0.42, 0.40, 0.42, 0.40])
    assert flat is not None
    assert not flat.is_sure


def test_landings_tell_the_first_foot_and_the_peaks() -> None:
    found = landings(
        [
            landed(10.00, 10.05, 150.0, 100.0),  # the left foot alone takes the first impact
            landed(10.00, 10.025, 120.0, 100.0),
            landed(10.00, 10.01, 110.0, 90.0),  # closer than 1.96 · √2 · 5 ms = 13.9 ms
            landed(10.06, 10.00, None, 100.0),
        ]
    )
    assert (found.left_first, found.together, found.right_first) == (2, 1, 1)
    assert found.pairs == 2
    # 20/110 and 20/100 of the mean of both sides
    assert found.difference == pytest.approx((20 / 110 + 20 / 100) / 2)
    one = replace(landed(10.0, 10.05, 120.0, 100.0), events=())
    assert landings([one]).seen == 0
    assert landings([one]).difference is None


def test_two_figures_are_apart_beyond_both_errors() -> None:
    def estimate(value: float | None, sigma: float | None) -> Estimate:
        return Estimate(value, sigma, None, "")

    found = apart(estimate(0.44, 0.01), estimate(0.40, 0.015))
    assert found is not None
    assert found.interval is not None
    assert found.interval.half == pytest.approx(1.959964 * math.hypot(0.01, 0.015), rel=1e-5)
    assert found.is_sure
    assert apart(estimate(None, None), estimate(0.4, 0.01)) is None
    unknown = apart(estimate(0.5, None), estimate(0.4, 0.01))
    assert unknown is not None
    assert not unknown.is_sure
