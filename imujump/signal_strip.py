"""Samples thinned for a strip on a screen: how hard each sensor is shaken, as it happens."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement, SampleBatch, SensorInfo

BIN_S = 0.025
"""One point of the strip stands for this long (own choice: eight seconds on a tablet's width
need no more)."""


@dataclass(slots=True)
class _Line:
    tick_s: float
    delay_s: float = math.inf
    bin_number: int | None = None
    extreme: float = 0.0


class SignalStrip:
    """Takes batches, gives points of a strip.

    A point is the specific force that differs most from gravity within 25 ms, in multiples of
    gravity, so that no impact is thinned away.

    Parameters
    ----------
    sensors : sequence of SensorInfo
        The sensors whose batches come.

    Examples
    --------
    >>> sensor = SensorInfo(Placement.PELVIS, "P1", rate_hz=100.0, tick_s=0.01)
    >>> strip = SignalStrip([sensor])
    >>> force = np.tile((0.0, 0.0, STANDARD_GRAVITY_MPS2), (10, 1))
    >>> batch = SampleBatch(Placement.PELVIS, 0, np.arange(10), 0.2, force, force * 0.0)
    >>> [value for _, value in strip.take(batch)]
    [1.0, 1.0, 1.0]
    """

    def __init__(self, sensors: Sequence[SensorInfo]) -> None:
        self._lines: Mapping[Placement, _Line] = {s.placement: _Line(s.tick_s) for s in sensors}
        self.zero_s: float | None = None

    def take(self, batch: SampleBatch) -> list[tuple[float, float]]:
        """Take a batch; return the points that it completes.

        Returns
        -------
        list of (float, float)
            Seconds since the first sample of the first sensor, and multiples of gravity.
        """
        if not len(batch.ticks):
            return []
        line = self._lines[batch.placement]
        device_s = batch.ticks * line.tick_s
        line.delay_s = min(line.delay_s, batch.arrival_s - float(device_s[-1]))
        if self.zero_s is None:
            self.zero_s = float(device_s[0]) + line.delay_s
        force = np.sqrt((batch.accel_mps2**2).sum(axis=1)) / STANDARD_GRAVITY_MPS2
        times_s = device_s + (line.delay_s - self.zero_s)
        points = []
        for time_s, value in zip(times_s.tolist(), force.tolist(), strict=True):
            if not math.isfinite(value):
                continue
            number = math.floor(time_s / BIN_S)
            if line.bin_number is not None and number != line.bin_number:
                points.append((round(line.bin_number * BIN_S, 3), round(line.extreme, 2)))
                line.extreme = value
            elif line.bin_number is None or abs(value - 1.0) > abs(line.extreme - 1.0):
                line.extreme = value
            line.bin_number = number
        return points
