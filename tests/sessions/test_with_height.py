"""Companions of height: a reference, chance findings, and what must be refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.formula.api import ols
from statsmodels.stats.multitest import multipletests

from imujump.model import METRIC_NAMES, Estimate
from imujump.sessions.records import StoredAttempt
from imujump.sessions.with_height import (
    AFTER_TAKE_OFF,
    CANDIDATES,
    HEIGHT_ITSELF,
    holm,
    what_goes_with_height,
)

from .test_readings import attempt

NAMES = ("approach_speed_mps", "last_step_m", "lowering_m", "take_off_contact_s", "plant_sink_m")


def drawn(rng, n: int, effect: float = 0.0, sessions: int = 4) -> list[StoredAttempt]:
    """Only the first metric goes with height, within sessions; all move from day to day."""
    form = rng.normal(0, 1, (sessions, len(NAMES) + 1))
    found = []
    for k in range(n):
        values = rng.normal(0, 1, len(NAMES)) + form[k % sessions, 1:]
        height = 0.5 + 0.02 * (effect * (values[0] - form[k % sessions, 1]) + rng.normal())
        height += 0.05 * form[k % sessions, 0]
        metrics = {
            name: Estimate(float(value), 0.3, None, "invented")
            for name, value in zip(NAMES, values, strict=True)
        }
        metrics["height_flight_m"] = Estimate(float(height), 0.005, None, "invented")
        found.append(attempt(k, None, k % sessions, metrics=metrics))
    return found


def test_agrees_with_a_model_with_a_level_for_each_session() -> None:
    attempts = drawn(np.random.default_rng(81), 40, 0.8)
    rows = [
        {**{n: e.value for n, e in a.metrics.items()}, "session": a.session_id} for a in attempts
    ]
    fit = ols("height_flight_m ~ approach_speed_mps + C(session)", pd.DataFrame(rows)).fit()
    found = what_goes_with_height(attempts, candidates=NAMES)
    first = found.companions[0]
    assert first.metric == "approach_speed_mps"
    assert first.told
    slope = fit.params["approach_speed_mps"]
    assert first.height_m / first.step == pytest.approx(slope, rel=1e-9)
    p = fit.pvalues["approach_speed_mps"]
    assert first.p == pytest.approx(5 * p, rel=1e-6)
    low, high = fit.conf_int(0.05 / 5).loc["approach_speed_mps"]
    assert first.height_interval.low / first.step == pytest.approx(low, rel=1e-6)
    assert first.height_interval.high / first.step == pytest.approx(high, rel=1e-6)
    assert first.true_share == pytest.approx(1 - 0.09 / first.step**2)
    assert not first.few


def test_correction_agrees_with_the_reference() -> None:
    p = np.random.default_rng(85).uniform(0, 0.2, 12) ** 2
    assert holm(p.tolist()) == pytest.approx(multipletests(p, method="holm")[1])


def test_chance_findings_stay_below_five_per_cent() -> None:
    rng = np.random.default_rng(82)
    told = sum(
        any(c.told for c in what_goes_with_height(drawn(rng, 24), candidates=NAMES).companions)
        for _ in range(150)
    )
    # 150 draws at 5 %: 7.5 ± 2.7.
    assert told <= 13


def test_few_data_are_called_so_and_too_few_give_nothing() -> None:
    rng = np.random.default_rng(83)
    found = what_goes_with_height(drawn(rng, 20, 3.0), candidates=NAMES)
    assert found.companions[0].told
    assert found.companions[0].few
    assert found.companions[0].interval.low > 0.0
    few = what_goes_with_height(drawn(rng, 8), candidates=NAMES)
    assert (few.companions, few.left_out, few.n) == ((), NAMES, 8)
    assert what_goes_with_height([]).companions == ()
    single = what_goes_with_height(drawn(rng, 12, sessions=12), candidates=NAMES)
    assert single.companions == ()


def test_what_is_height_is_refused() -> None:
    attempts = drawn(np.random.default_rng(84), 12)
    with pytest.raises(ValueError, match=r"^candidates hold flight_s"):
        what_goes_with_height(attempts, candidates=("flight_s",))
    assert set(CANDIDATES) | HEIGHT_ITSELF | AFTER_TAKE_OFF == set(METRIC_NAMES)
    other = attempt(99, 0.5, athlete_id=2)
    with pytest.raises(ValueError, match=r"^attempts are of 2 athletes"):
        what_goes_with_height([*attempts, other])
    # A metric that never changes, or is not there, is left out.
    assert "turn_rad" not in CANDIDATES
    assert "peak_speed_mps" in what_goes_with_height(attempts).left_out
