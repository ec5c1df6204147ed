"""Straps that ring, and accelerometers that drift: signals of known size, asked for it back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from imujump.model import Placement
from imujump.pipeline.calibration import calibrate
from imujump.pipeline.ringing import MOST_S, QUIET_MPS2, ringing_mps2, ringing_sigma_s
from imujump.pipeline.streams import Samples

from .drawn import GRAVITY, STEP_S, path, thrown

SECONDS = 6.0
TIME_S = np.arange(round(SECONDS / STEP_S)) * STEP_S
STANCES = [(1.0 / STEP_S, 1.25 / STEP_S), (2.0 / STEP_S, 2.3 / STEP_S)]


@pytest.mark.parametrize("frequency_hz", [15.0, 25.0])
def test_ringing_is_told_by_its_root_mean_square(frequency_hz: float) -> None:
    still = path(thrown([], 0.0, SECONDS))
    force = still.force_mps2.copy()
    force[:, 0] += 30.0 * np.sin(2.0 * np.pi * frequency_hz * TIME_S)
    told = ringing_mps2(replace(still, force_mps2=force), STANCES)
    # A second-order high-pass at 6 Hz, run both ways, leaves 0.975 of 15 Hz and more of 25.
    assert told == pytest.approx(30.0 / np.sqrt(2.0), rel=0.06)


def test_a_leg_that_leans_over_its_foot_does_not_ring() -> None:
    still = path(thrown([], 0.0, SECONDS))
    force = still.force_mps2.copy()
    force[:, 0] += 20.0 * np.sin(2.0 * np.pi * 1.5 * TIME_S)
    assert ringing_mps2(replace(still, force_mps2=force), STANCES) < 0.1 * QUIET_MPS2


def test_brief_stances_and_low_rates_tell_nothing() -> None:
    still = path(thrown([], 0.0, SECONDS))
    assert ringing_mps2(still, [(100.0, 110.0)]) == 0.0
    assert ringing_mps2(still, []) == 0.0
    assert ringing_mps2(replace(still, step_s=0.02), STANCES) == 0.0


def test_its_cost_is_bounded() -> None:
    assert ringing_sigma_s(QUIET_MPS2) == 0.0
    assert 0.0 < ringing_sigma_s(QUIET_MPS2 + 5.0) < ringing_sigma_s(1e3) == MOST_S


def test_an_accelerometer_that_drifts_is_set_right_at_every_stand() -> None:
    """Bias along the vertical grows by 0.1 m/s² from the first stand to the last."""
    n = len(TIME_S)
    drifting = np.zeros((n, 3))
    drifting[:, 2] = GRAVITY + 0.1 * np.clip((TIME_S - 0.5) / 5.0, 0.0, 1.0)
    noise = np.random.default_rng(1).normal(0.0, 0.02, (n, 3))
    none = np.zeros(n, dtype=bool)
    rests = [(0, round(1.0 / STEP_S)), (round(5.0 / STEP_S), n - 1)]
    samples = {Placement.PELVIS: Samples(drifting + noise, 0.1 * noise, none)}
    ready = calibrate(samples, {Placement.PELVIS: None}, STEP_S, rests, GRAVITY)
    upright = ready.window.sensors[Placement.PELVIS].accel_mps2[:, 2]
    for first, last in rests:
        # Two standard errors of 200 samples of 0.02 m/s², and the drift within the stand.
        assert upright[first : last + 1].mean() == pytest.approx(GRAVITY, abs=0.006)
