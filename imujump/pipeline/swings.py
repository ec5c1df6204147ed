"""Where a foot rests between two swings of its shank, from the shank's turning alone.

Dead reckoning needs a stand to start from. Where nobody stood, the swings of the shanks,
which no drift can hide, tell where each foot must have been on the floor: between them. The
shank's rate in its plane of swing as a gait signal follows K. Aminian et al., J. Biomech.
35:689-699, 2002 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.signal import find_peaks

from imujump.model import FloatArray, IntArray, Side
from imujump.pipeline.body import Window
from imujump.pipeline.orientation import main_turning_axis

SWING_RADPS, SWING_SHARE = 1.5, 0.4
"""Least peak rate of a swing, and as a part of the strong ones in the same window (own choice:
slow walking swings at 3 rad/s and more)."""

APART_S, SMOOTH_S = 0.4, 0.06
"""Least time between two swings of one leg, and the span over which rates are averaged (own
choice: sprinters take 0.45 s)."""

QUIET_S = 0.1
"""Span over which a foot is sought most quiet (own choice)."""


def rests_between_swings(window: Window) -> Mapping[Side, IntArray]:
    """Sample at which each foot is most quiet between two swings of its shank."""
    found = {}
    for side in (s for s in Side if s.shank in window.sensors):
        sensor = window.sensors[side.shank]
        swings = _swings(sensor.gyro_radps, window.step_s)
        quiet = max(round(QUIET_S / window.step_s), 1)
        unrest = (
            np.sum(sensor.gyro_radps**2, axis=1)
            + ((np.linalg.norm(sensor.accel_mps2, axis=1) - window.gravity_mps2) / 3.0) ** 2
        )
        unrest = uniform_filter1d(unrest, quiet)
        margin = round(0.1 / window.step_s)
        rests = [
            a + margin + int(np.argmin(unrest[a + margin : b - margin]))
            for a, b in pairwise(swings.tolist())
            if b - a > 3 * margin
        ]
        found[side] = np.array(rests, dtype=np.int64)
    return found


def _swings(gyro_radps: FloatArray, step_s: float) -> IntArray:
    """Samples at which a shank swings forward fastest."""
    rate = uniform_filter1d(
        gyro_radps @ main_turning_axis(gyro_radps), max(round(SMOOTH_S / step_s), 1)
    )
    if np.sum(rate**3) < 0.0:  # forward swings are the faster ones
        rate = -rate
    least = max(SWING_RADPS, SWING_SHARE * float(np.percentile(rate, 98)))
    peaks, _ = find_peaks(rate, height=least, distance=max(round(APART_S / step_s), 1))
    return np.asarray(peaks, dtype=np.int64)
