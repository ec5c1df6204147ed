"""A recording held in arrays, served as the package's ``SampleSource``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from imujump.model import FloatArray, IntArray, Placement, RecordingInfo, SampleBatch, SensorInfo
from imujump.recording.memory import from_arrays


@dataclass(frozen=True, slots=True)
class SensorArrays:
    """One sensor's whole recording.

    ``ticks`` (n,) count device clock ticks of ``tick_s``, strictly increasing and on one
    clock for all sensors of a recording; ``accel_mps2`` and ``gyro_radps`` are (n, 3) in
    sensor axes, NaN where the source did not measure.
    """

    placement: Placement
    rate_hz: float
    tick_s: float
    ticks: IntArray
    accel_mps2: FloatArray
    gyro_radps: FloatArray


def evenly_sampled(
    placement: Placement, rate_hz: float, accel_mps2: FloatArray, gyro_radps: FloatArray
) -> SensorArrays:
    """Return a sensor without gaps whose clock ticks once a sample."""
    ticks = np.arange(len(accel_mps2), dtype=np.int64)
    return SensorArrays(placement, rate_hz, 1.0 / rate_hz, ticks, accel_mps2, gyro_radps)


def unmeasured(n: int) -> FloatArray:
    """Return (n, 3) NaN: three channels that the source does not have."""
    return np.full((n, 3), np.nan)


class ArraySource:
    """Serve whole-recording arrays in batches, interleaved in order of arrival."""

    def __init__(self, name: str, sensors: tuple[SensorArrays, ...]) -> None:
        self.name = name
        self.sensors = sensors
        head = RecordingInfo(
            tuple(
                SensorInfo(s.placement, f"{name}/{s.placement}", s.rate_hz, s.tick_s)
                for s in sensors
            )
        )
        self._memory = from_arrays(
            head, {s.placement: (s.ticks, s.accel_mps2, s.gyro_radps) for s in sensors}
        )

    @property
    def info(self) -> RecordingInfo:
        """The head of the recording."""
        return self._memory.info

    @property
    def start_s(self) -> float:
        """The recording's first sample on the sensors' clock, seconds."""
        return min(float(s.ticks[0]) * s.tick_s for s in self.sensors)

    def batches(self) -> Iterator[SampleBatch]:
        """Yield all samples from the first to the last."""
        return self._memory.batches()

    def sensor(self, placement: Placement) -> SensorArrays:
        """Return the arrays of one placement."""
        return next(s for s in self.sensors if s.placement is placement)

    def time_s(self, placement: Placement) -> FloatArray:
        """Time of one sensor's samples since the recording's first sample, seconds."""
        sensor = self.sensor(placement)
        return sensor.ticks * sensor.tick_s - self.start_s

    def only(self, *placements: Placement) -> ArraySource:
        """Return the same recording with these sensors alone."""
        return ArraySource(self.name, tuple(s for s in self.sensors if s.placement in placements))
