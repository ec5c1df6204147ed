"""What a worn sensor would measure: endless samples, by number, with the instant of each."""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np

from imujump.errors import RecordingError
from imujump.model import FloatArray, IntArray, Placement, SampleSource

DRIFT_SPAN_S = 120.0
"""A recording longer than this has its clock's drift fitted, not only its offset."""

DRIFT_WINDOWS = 20
"""Windows whose earliest arrival counts in that fit (own choice)."""


class SampleFeed(Protocol):
    """Samples of one sensor, numbered from 0 without end."""

    rate_hz: float

    @property
    def length_s(self) -> float:
        """Feed time of the last sample that is measured, not held; infinite for an athlete."""
        ...

    def prepare(self, until_s: float) -> None:
        """Have all samples up to a feed time ready; may take a while."""
        ...

    def ready_s(self) -> float:
        """Feed time up to which samples are ready."""
        ...

    def first_from(self, time_s: float) -> int:
        """Number of the first sample at or after a feed time."""
        ...

    def times_s(self, first: int, count: int) -> FloatArray:
        """Feed time of samples (count,), seconds."""
        ...

    def values(self, first: int, count: int) -> FloatArray:
        """Samples (count, 6), SI, in the order of the profile's channels."""
        ...

    def forget(self, before: int) -> None:
        """Let go of samples with lower numbers."""
        ...


class RecordedFeed:
    """A recording's samples of one sensor at the instants they were taken; then the last, held.

    Parameters
    ----------
    times_s : (n,) float64
        Feed time of each sample, strictly increasing.
    values : (n, 6) float64
        SI values.
    rate_hz : float
        Nominal rate.
    """

    def __init__(self, times_s: FloatArray, values: FloatArray, rate_hz: float) -> None:
        self._times_s = times_s
        self._values = values
        self.rate_hz = rate_hz

    @property
    def length_s(self) -> float:
        """Feed time of the recording's last sample."""
        return float(self._times_s[-1])

    def prepare(self, until_s: float) -> None:
        """Do nothing: all is ready."""

    def ready_s(self) -> float:
        """Everything is ready."""
        return math.inf

    def first_from(self, time_s: float) -> int:
        """Number of the first sample at or after a feed time."""
        beyond_s = time_s - self.length_s
        if beyond_s <= 0.0:
            return int(np.searchsorted(self._times_s, time_s))
        return len(self._times_s) + max(0, math.ceil(beyond_s * self.rate_hz) - 1)

    def times_s(self, first: int, count: int) -> FloatArray:
        """Feed time of samples (count,), seconds."""
        numbers = np.arange(first, first + count)
        last = len(self._times_s) - 1
        beyond = np.maximum(numbers - last, 0) / self.rate_hz
        return np.asarray(self._times_s[np.minimum(numbers, last)] + beyond)

    def values(self, first: int, count: int) -> FloatArray:
        """Samples (count, 6); beyond the end the last one."""
        numbers = np.minimum(np.arange(first, first + count), len(self._times_s) - 1)
        return np.asarray(self._values[numbers])

    def forget(self, before: int) -> None:
        """Keep everything."""


def recorded_feeds(source: SampleSource) -> dict[Placement, RecordedFeed]:
    """Read a recording into feeds on one time axis.

    Parameters
    ----------
    source : SampleSource
        A recording of any kind. Its sensors' clocks are set against each other by the
        packets that arrived soonest. Samples that hold NaN are left out.

    Returns
    -------
    dict
        Feed time 0 is the earliest sample of any sensor.

    Raises
    ------
    RecordingError
        If no sensor has a sample.
    """
    sensors = {sensor.placement: sensor for sensor in source.info.sensors}
    ticks: dict[Placement, list[IntArray]] = {p: [] for p in sensors}
    values: dict[Placement, list[FloatArray]] = {p: [] for p in sensors}
    arrivals: dict[Placement, list[tuple[int, float]]] = {p: [] for p in sensors}
    for batch in source.batches():
        place = batch.placement
        ticks[place].append(batch.ticks)
        values[place].append(np.hstack([batch.accel_mps2, batch.gyro_radps]))
        arrivals[place].append((int(batch.ticks[-1]), batch.arrival_s))
    found = {}
    for place, sensor in sensors.items():
        if not ticks[place]:
            continue
        rows = np.concatenate(values[place])
        whole = ~np.isnan(rows).any(axis=1)
        if not whole.any():
            continue
        device_s = (np.concatenate(ticks[place]) - ticks[place][0][0]) * sensor.tick_s
        ends = np.array(arrivals[place], dtype=np.float64)
        ends[:, 0] = (ends[:, 0] - float(ticks[place][0][0])) * sensor.tick_s
        times_s = device_s + _delay_s(ends[:, 0], ends[:, 1], device_s)
        found[place] = (times_s[whole], np.ascontiguousarray(rows[whole]), sensor.rate_hz)
    if not found:
        raise RecordingError("recording", "it holds no samples", "choose another recording")
    start_s = min(float(times_s[0]) for times_s, _, _ in found.values())
    return {p: RecordedFeed(t - start_s, v, rate_hz) for p, (t, v, rate_hz) in found.items()}


def _delay_s(sent_s: FloatArray, arrival_s: FloatArray, device_s: FloatArray) -> FloatArray:
    """What added to device time gives the least arrival time, for each sample."""
    delay_s = arrival_s - sent_s
    if sent_s[-1] - sent_s[0] < DRIFT_SPAN_S:
        return np.full(len(device_s), delay_s.min())
    edges = np.linspace(sent_s[0], sent_s[-1], DRIFT_WINDOWS + 1)
    window = np.clip(np.searchsorted(edges, sent_s, side="right") - 1, 0, DRIFT_WINDOWS - 1)
    best = [
        int(rows[np.argmin(delay_s[rows])])
        for number in range(DRIFT_WINDOWS)
        if len(rows := np.flatnonzero(window == number))
    ]
    line = np.polynomial.Polynomial.fit(sent_s[best], delay_s[best], 1)
    return np.asarray(line(device_s))
