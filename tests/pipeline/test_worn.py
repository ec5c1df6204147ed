"""Who wears the sensors that fly: windows whose turning and force are drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from imujump.model import Placement
from imujump.pipeline.body import SensorWindow, Window
from imujump.pipeline.flights import Flight
from imujump.pipeline.worn import LIMP_MPS2, NO_LEGS_M, not_worn

from .drawn import GRAVITY, STEP_S, body, thrown

FLIGHT = Flight(2.0 / STEP_S, round(2.25 / STEP_S), 2.5 / STEP_S, 2.45)
SAMPLES = round(5.0 / STEP_S)


def sensor(turning_radps: float, force_mps2: float, phase: float) -> SensorWindow:
    """Turns to and fro at that size; feels that force in flight and its weight otherwise."""
    time_s = np.arange(SAMPLES) * STEP_S
    gyro, accel = np.zeros((SAMPLES, 3)), np.zeros((SAMPLES, 3))
    gyro[:, 1] = turning_radps * np.sin(12.0 * time_s + phase)
    accel[:, 2] = np.where((time_s > 2.0) & (time_s < 2.5), force_mps2, GRAVITY)
    none = np.zeros(SAMPLES, dtype=bool)
    return SensorWindow(accel, gyro, np.array((0.0, 0.0, 1.0)), none, none, 0.001)


def window(**sensors: SensorWindow) -> Window:
    return Window(STEP_S, GRAVITY, {Placement(n): s for n, s in sensors.items()}, ((0, 200),))


BODY = body(pelvis=thrown([2.0], 2.45, 5.0))
WORN = {
    "left_shank": sensor(6.0, 8.0, 0.0),
    "right_shank": sensor(6.0, 12.0, 2.0),
    "pelvis": sensor(1.5, 1.0, 1.0),
}


def test_a_jumper_wears_them() -> None:
    assert not_worn(window(**WORN), BODY, FLIGHT) is None


def test_shanks_that_turn_alike_are_worn_still() -> None:
    """Both legs do the same in a two-foot jump."""
    legs = {side: sensor(6.0, 8.0, 0.0) for side in ("left_shank", "right_shank")}
    assert not_worn(window(**legs), BODY, FLIGHT) is None


def test_one_sensor_alone_tells_nothing() -> None:
    assert not_worn(window(pelvis=sensor(0.0, 0.0, 0.0)), BODY, FLIGHT) is None


@pytest.mark.parametrize(
    "changed",
    [
        pytest.param({n: sensor(3.0, 8.0, 0.5) for n in WORN}, id="all in one bag that spins"),
        pytest.param(
            {
                n: replace(s, accel_mps2=0.05 * LIMP_MPS2 * np.ones((SAMPLES, 3)))
                for n, s in WORN.items()
            },
            id="all fall freely",
        ),
        pytest.param({"left_shank": sensor(0.02, GRAVITY, 0.0)}, id="one lies on a table"),
    ],
)
def test_things_that_fall_are_no_jumper(changed: dict[str, SensorWindow]) -> None:
    assert not_worn(window(**WORN | changed), BODY, FLIGHT) is not None


def test_legs_that_change_their_length_are_nobodys() -> None:
    told = not_worn(window(**WORN), replace(BODY, leg_misfit_m=1.1 * NO_LEGS_M), FLIGHT)
    assert told is not None
    assert "one person" in told
    assert "range" not in told
    clipped = np.arange(SAMPLES) % 100 == 0
    sensors = {**WORN, "left_shank": replace(WORN["left_shank"], clipped=clipped)}
    told = not_worn(window(**sensors), replace(BODY, leg_misfit_m=1.1 * NO_LEGS_M), FLIGHT)
    assert told is not None
    assert told.endswith("; 10 samples lie beyond a sensor's range: widen it")
