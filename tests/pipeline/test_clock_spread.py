"""What uncertain clocks add to estimates: a simulated jump, each sensor with its own clock."""

from __future__ import annotations

import math

import numpy as np
import pytest

from imujump.model import Attempt
from imujump.pipeline import clock_fit
from imujump.pipeline.clock_fit import ALONE_SIGMA_S
from imujump.pipeline.engine import analyse

from .recordings import ONE_FOOT, recorded


@pytest.fixture(scope="module")
def attempts() -> tuple[Attempt, Attempt]:
    """The same jump with the clocks' uncertainty and without."""
    recording = recorded(ONE_FOOT, before_s=7.0, after_s=4.0, rate_hz=100.0)
    with pytest.MonkeyPatch.context() as patch:
        (aware,) = analyse(recording).attempts
        patch.setattr(clock_fit, "ALONE_SIGMA_S", 0.0)
        (naive,) = analyse(recording).attempts
    return aware, naive


def added(attempts: tuple[Attempt, Attempt], name: str) -> float:
    aware, naive = (attempt.metrics[name] for attempt in attempts)
    assert aware.value == naive.value
    assert aware.sigma is not None
    assert naive.sigma is not None
    return math.sqrt(max(aware.sigma**2 - naive.sigma**2, 0.0))


def test_durations_between_two_sensors_are_less_certain(attempts: tuple[Attempt, Attempt]) -> None:
    apart = math.sqrt(2.0) * ALONE_SIGMA_S
    for name in ("last_step_s", "penultimate_step_s", "landing_interval_s"):
        assert added(attempts, name) == pytest.approx(apart, rel=1e-6)
    for step, naive in zip(attempts[0].steps, attempts[1].steps, strict=True):
        assert step.time_s.sigma == pytest.approx(math.hypot(naive.time_s.sigma or 0.0, apart))


def test_durations_within_one_sensor_are_not(attempts: tuple[Attempt, Attempt]) -> None:
    for name in ("penultimate_contact_s", "take_off_contact_s", "free_leg_peak_radps"):
        assert added(attempts, name) == 0.0


def test_the_pelvis_at_a_footfall_is_less_certain(attempts: tuple[Attempt, Attempt]) -> None:
    """Speed falls by 10 to 20 m/s² at the plant, the pelvis sinks by up to 1.5 m/s."""
    apart = math.sqrt(2.0) * ALONE_SIGMA_S
    assert added(attempts, "plant_lowering_m") < 1.5 * apart
    assert 0.0 < added(attempts, "plant_speed_mps") < 30.0 * apart
    assert added(attempts, "last_step_m") == pytest.approx(
        apart * (attempts[0].metrics["approach_speed_mps"].value or 0.0)
    )
    assert added(attempts, "lowering_m") == 0.0


def test_events_carry_their_own_sensors_part(attempts: tuple[Attempt, Attempt]) -> None:
    for aware, naive in zip(attempts[0].events, attempts[1].events, strict=True):
        assert aware.sigma_s == pytest.approx(float(np.hypot(naive.sigma_s, ALONE_SIGMA_S)))
