"""Stillness and its spans on signals drawn to be known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from imujump.model import BoolArray, Placement
from imujump.pipeline.calibration import BRIDGED_REST_S, REST_MARGIN_S, find_rests
from imujump.pipeline.stillness import (
    STILL_ACCEL_MPS2,
    STILL_RATE_RADPS,
    STILL_WINDOW_S,
    spans,
    still,
)
from imujump.pipeline.streams import Samples

STEP_S = 0.005
N = 2000


def at_rest() -> tuple[np.ndarray, np.ndarray]:
    return np.tile((0.0, 0.0, 9.81), (N, 1)), np.zeros((N, 3))


def test_a_resting_sensor_is_still_in_any_attitude() -> None:
    accel, gyro = at_rest()
    assert still(accel, gyro, STEP_S).all()
    assert still(accel[:, ::-1], gyro, STEP_S).all()


@pytest.mark.parametrize(("share", "expected"), [(0.9, True), (1.1, False)])
def test_limits_are_root_mean_squares(share: float, expected: bool) -> None:
    """A sine of amplitude A has a root mean square of A / sqrt 2, here over whole periods."""
    t = np.arange(N) * STEP_S
    wave = np.sqrt(2.0) * np.sin(2.0 * np.pi * t * 10.0 / STILL_WINDOW_S)
    inner = slice(200, N - 200)
    accel, gyro = at_rest()
    gyro[:, 1] = share * STILL_RATE_RADPS * wave
    assert (still(accel, gyro, STEP_S)[inner] == expected).all()
    accel, gyro = at_rest()
    accel[:, 0] += share * STILL_ACCEL_MPS2 * wave
    assert (still(accel, gyro, STEP_S)[inner] == expected).all()


def test_movement_ends_stillness_half_a_window_around_it() -> None:
    accel, gyro = at_rest()
    gyro[1000:1100] = 3.0
    marks = still(accel, gyro, STEP_S)
    (before, after) = spans(marks, 1)
    reach = STILL_WINDOW_S / 2.0 / STEP_S
    assert before[0] == 0
    assert before[1] == pytest.approx(1000 - reach, abs=2)
    assert after[0] == pytest.approx(1099 + reach, abs=2)
    assert after[1] == N - 1


@given(arrays(np.bool_, st.integers(0, 60)), st.integers(1, 6))
def test_spans_are_the_long_runs(marks: BoolArray, shortest: int) -> None:
    found = spans(marks, shortest)
    covered = np.zeros(len(marks), dtype=bool)
    for first, last in found:
        assert last - first + 1 >= shortest
        assert marks[first : last + 1].all()
        assert first == 0 or not marks[first - 1]
        assert last == len(marks) - 1 or not marks[last + 1]
        covered[first : last + 1] = True
    # Every mark that is not covered lies in a run that is too short.
    left = "".join("x" if m and not c else " " for m, c in zip(marks, covered, strict=True))
    assert all(len(run) < shortest for run in left.split())


def test_rests_need_all_sensors_and_bridge_short_gaps() -> None:
    accel, gyro = at_rest()
    moving = gyro.copy()
    moving[1200:1400] = 5.0
    short, long = (round(f * BRIDGED_REST_S / STEP_S) for f in (0.5, 2.0))
    missing = np.zeros(N, dtype=bool)
    missing[300 : 300 + short] = True
    missing[700 : 700 + long] = True
    samples = {
        Placement.LEFT_SHANK: Samples(accel, moving, np.zeros(N, dtype=bool)),
        Placement.PELVIS: Samples(accel, gyro, missing),
    }
    rests = find_rests(samples, STEP_S)
    margin = round(REST_MARGIN_S / STEP_S)
    assert rests[0] == (0, 699 - margin)
    assert rests[1][0] == 700 + long + margin
    assert rests[1][1] == pytest.approx(1200 - STILL_WINDOW_S / 2 / STEP_S - margin, abs=3)
    assert rests[2][1] == N - 1
    assert find_rests({}, STEP_S) == []
