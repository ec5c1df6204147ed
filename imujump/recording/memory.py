"""A recording that lives in arrays: the sample source for tests, simulators and converters."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Self

import numpy as np
import numpy.typing as npt

from imujump.model import (
    FloatArray,
    IntArray,
    Placement,
    RecordingInfo,
    SampleBatch,
    SensorInfo,
)

BATCH_S = 0.1
"""Length of one batch: own choice, the order of a radio packet (10 samples at 100 Hz)."""

ChannelArrays = tuple[npt.ArrayLike, npt.ArrayLike, npt.ArrayLike]


class MemorySource:
    """A :class:`imujump.model.SampleSource` over batches that are already in memory.

    Parameters
    ----------
    info : RecordingInfo
        The head of the recording.
    batches : iterable of SampleBatch
        All batches in arrival order. They are kept, so the source may be read repeatedly.
    """

    def __init__(self, info: RecordingInfo, batches: Iterable[SampleBatch]) -> None:
        self._info = info
        self._batches = tuple(batches)

    @classmethod
    def from_arrays(
        cls,
        info: RecordingInfo,
        channels: Mapping[Placement, ChannelArrays],
        batch_s: float = BATCH_S,
    ) -> Self:
        """Cut whole-recording arrays into interleaved batches; see :func:`from_arrays`."""
        return cls(info, _cut_all(info, channels, batch_s))

    @property
    def info(self) -> RecordingInfo:
        """The head of the recording."""
        return self._info

    def batches(self) -> Iterator[SampleBatch]:
        """Yield all batches from the first to the last."""
        return iter(self._batches)

    def close(self) -> None:
        """Do nothing: there is no file behind this source."""


def from_arrays(
    info: RecordingInfo, channels: Mapping[Placement, ChannelArrays], batch_s: float = BATCH_S
) -> MemorySource:
    """Make a source from whole-recording arrays.

    Parameters
    ----------
    info : RecordingInfo
        The head of the recording; must describe every placement in ``channels``.
    channels : mapping of Placement to (time or ticks, accel, gyro)
        Time (n,) as floating-point seconds or device ticks (n,) as integers, strictly
        increasing and counted on one clock by all sensors; accelerometer (n, 3) in m/s²
        and gyroscope (n, 3) in rad/s, both in sensor axes.
    batch_s : float
        Length of a batch, seconds.

    Returns
    -------
    MemorySource
        Batches in arrival order. A batch arrives at the instant of its last sample,
        counted from the earliest sample of any sensor.

    Raises
    ------
    ValueError
        If shapes do not fit, time does not increase, or a placement is unknown to ``info``.

    Examples
    --------
    >>> import numpy as np
    >>> sensor = SensorInfo(Placement.PELVIS, "P1", rate_hz=100.0, tick_s=0.01)
    >>> flat = np.zeros((25, 3))
    >>> info = RecordingInfo(sensors=(sensor,))
    >>> source = from_arrays(info, {Placement.PELVIS: (np.arange(25), flat, flat)})
    >>> [(batch.first_index, len(batch.ticks)) for batch in source.batches()]
    [(0, 10), (10, 10), (20, 5)]
    """
    return MemorySource.from_arrays(info, channels, batch_s)


def batch_edges(ticks: IntArray, samples_s: FloatArray, batch_s: float) -> IntArray:
    """Return the row numbers at which batches of ``batch_s`` begin, and the row count last.

    Parameters
    ----------
    ticks : (n,) int64
        Device ticks; only their count matters.
    samples_s : (n,) float64
        Sample instants from the recording's first sample, seconds.
    batch_s : float
        Length of a batch, seconds.
    """
    # The nudge keeps 0.1 s / 0.1 s from falling into the window before it.
    window = np.floor(samples_s / batch_s + 1e-6).astype(np.int64)
    inner = np.flatnonzero(np.diff(window)) + 1
    return np.concatenate(([0], inner, [len(ticks)])).astype(np.int64)


def _cut_all(
    info: RecordingInfo, channels: Mapping[Placement, ChannelArrays], batch_s: float
) -> list[SampleBatch]:
    if not batch_s > 0.0:
        raise ValueError(f"batch_s is {batch_s}, must be above 0")
    sensors = {sensor.placement: sensor for sensor in info.sensors}
    unknown = set(channels) - set(sensors)
    if unknown:
        raise ValueError(f"channels holds {sorted(unknown)}, which info.sensors does not describe")
    streams = [(sensors[p], *_checked(sensors[p], arrays)) for p, arrays in channels.items()]
    starts_s = [ticks[0] * sensor.tick_s for sensor, ticks, _, _ in streams if len(ticks)]
    start_s = min(starts_s, default=0.0)
    batches = []
    for sensor, ticks, accel_mps2, gyro_radps in streams:
        samples_s = ticks * sensor.tick_s - start_s
        edges = batch_edges(ticks, samples_s, batch_s)
        for first, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            if end == first:
                continue
            batches.append(
                SampleBatch(
                    placement=sensor.placement,
                    first_index=first,
                    ticks=ticks[first:end],
                    arrival_s=float(samples_s[end - 1]),
                    accel_mps2=accel_mps2[first:end],
                    gyro_radps=gyro_radps[first:end],
                )
            )
    return sorted(batches, key=lambda batch: batch.arrival_s)


def _checked(sensor: SensorInfo, arrays: ChannelArrays) -> tuple[IntArray, FloatArray, FloatArray]:
    clock = np.asarray(arrays[0])
    if np.issubdtype(clock.dtype, np.integer):
        ticks = np.ascontiguousarray(clock, dtype=np.int64)
    else:
        ticks = np.rint(clock.astype(np.float64) / sensor.tick_s).astype(np.int64)
    if ticks.ndim != 1 or np.any(np.diff(ticks) <= 0):
        raise ValueError(f"{sensor.placement}: time must be (n,) and strictly increasing")
    accel_mps2 = np.ascontiguousarray(arrays[1], dtype=np.float64)
    gyro_radps = np.ascontiguousarray(arrays[2], dtype=np.float64)
    for name, values in (("accel", accel_mps2), ("gyro", gyro_radps)):
        if values.shape != (len(ticks), 3):
            raise ValueError(
                f"{sensor.placement}: {name} has shape {values.shape}, must be ({len(ticks)}, 3)"
            )
    return ticks, accel_mps2, gyro_radps
