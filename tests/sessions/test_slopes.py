"""A line through sessions, against a mixed model and known slopes."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from imujump.sessions.slopes import MONTH, slope_over_time
from tests.campaign.seasons import PLAIN, draw_season, ramp

from .seasons import sessions_of


def test_slope_agrees_with_a_mixed_model() -> None:
    season = draw_season(replace(PLAIN, sessions=40, course=ramp(0.05)), np.random.default_rng(31))
    months = np.array([(s.started_utc - season[0].started_utc) / MONTH for s in season])
    n = [s.n for s in season]
    design = np.column_stack([np.ones(sum(n)), np.repeat(months, n)])
    values = np.concatenate([s.values for s in season]) * 100.0
    fit = MixedLM(values, design, np.repeat(np.arange(40), n)).fit()
    found = slope_over_time(season)
    assert found is not None
    assert 100.0 * found.value == pytest.approx(float(fit.params[1]), rel=0.01)
    # Half width over Student's t with 38 degrees of freedom is the standard error.
    assert 100.0 * found.interval.half / 2.024 == pytest.approx(float(fit.bse[1]), rel=0.03)


@pytest.mark.parametrize("n", [6, 20])
def test_intervals_hold_the_true_slope(n) -> None:
    rng = np.random.default_rng(32)
    plan = replace(PLAIN, sessions=n, course=ramp(0.03))
    true = 0.03 / (3.5 * (n - 1) * timedelta(days=1) / MONTH)
    found = [slope_over_time(draw_season(plan, rng)) for _ in range(150)]
    held = sum(slope is not None and slope.interval.holds(true) for slope in found)
    # 150 draws know a share of 0.95 to 0.018.
    assert held / 150 == pytest.approx(0.955, abs=0.045)


def test_no_line_without_enough() -> None:
    values = np.random.default_rng(33).normal(0.45, 0.02, (8, 3))
    assert slope_over_time(()) is None
    assert slope_over_time(sessions_of(values[:4])) is None
    assert slope_over_time(sessions_of(values, apart=timedelta(days=1))) is None
    assert slope_over_time(sessions_of([[0.4, 0.4]] * 8)) is None
    assert slope_over_time(sessions_of([[0.01 * k] for k in range(8)])) is None
    assert slope_over_time(sessions_of(values[:, :1])) is not None
