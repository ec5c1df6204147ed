"""Finds the spans in which a sensor, and so the athlete, is still."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from imujump.model import BoolArray, FloatArray

STILL_WINDOW_S = 0.3
"""Span over which stillness is judged (own choice: shorter than the shortest stand)."""

STILL_ACCEL_MPS2 = 0.45
"""Spread of the specific force of a person standing: sway and sensor noise (own choice)."""

STILL_RATE_RADPS = 0.25
"""Angular rate of a person standing, root mean square (own choice)."""

SHORTEST_REST_S = 0.5
"""A stand shorter than this does not calibrate (own choice)."""


def still(accel_mps2: FloatArray, gyro_radps: FloatArray, step_s: float) -> BoolArray:
    """Mark the samples (n,) at which a sensor is still.

    Parameters
    ----------
    accel_mps2, gyro_radps : FloatArray
        (n, 3) in any axes, no gaps. The gyroscope's bias counts as motion; it lies far
        below the limit in any usable sensor.
    step_s : float
        Sample period.
    """
    width = max(3, round(STILL_WINDOW_S / step_s))
    mean = uniform_filter1d(accel_mps2, width, axis=0, mode="nearest")
    square = uniform_filter1d(np.sum(accel_mps2**2, axis=1), width, mode="nearest")
    spread = np.maximum(square - np.sum(mean**2, axis=1), 0.0)
    rate = uniform_filter1d(np.sum(gyro_radps**2, axis=1), width, mode="nearest")
    return np.asarray((spread < STILL_ACCEL_MPS2**2) & (rate < STILL_RATE_RADPS**2))


def spans(marks: BoolArray, shortest: int) -> list[tuple[int, int]]:
    """First and last sample of every run of marks that is at least ``shortest`` long.

    Examples
    --------
    >>> spans(np.array((True, True, False, True)), 2)
    [(0, 1)]
    """
    if not marks.any():
        return []
    edge = np.diff(np.concatenate(((0,), marks.astype(np.int8), (0,))))
    starts, ends = np.flatnonzero(edge == 1), np.flatnonzero(edge == -1) - 1
    return [(int(a), int(b)) for a, b in zip(starts, ends, strict=True) if b - a + 1 >= shortest]
