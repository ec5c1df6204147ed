"""Sample batches of all sensors, kept as long as an attempt may need them, on one clock.

Device ticks become seconds by the tick's length; sensors with clocks of their own are set
against each other by the shortest delay between a sample's tick and its packet's arrival
(a packet can be late but never early). Gaps stay gaps: nothing is invented here.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from imujump.model import BoolArray, FloatArray, Placement, SampleBatch, SensorInfo

SAME_CLOCK_S = 2e-6
"""Sensors whose shortest delays agree to this share a clock: above the microsecond to which
arrivals may be rounded, far below any radio's jitter (own choice)."""

CLOCK_SPAN_S = 60.0
"""Length of stream over which the shortest delay is taken: at 40 ppm the clock moves 2.4 ms in
it (own choice)."""


@dataclass(frozen=True, slots=True)
class Samples:
    """One sensor's samples over a span on a uniform grid of n instants.

    ``accel_mps2`` and ``gyro_radps`` (n, 3) are bridged by straight lines where ``missing``.
    """

    accel_mps2: FloatArray
    gyro_radps: FloatArray
    missing: BoolArray


@dataclass(slots=True)
class SensorStream:
    """Received samples of one sensor, oldest first, with their device time."""

    info: SensorInfo
    first_time_s: float | None = None
    last_time_s: float | None = None
    _parts: list[tuple[FloatArray, FloatArray, FloatArray]] = field(default_factory=list)

    def append(self, batch: SampleBatch) -> None:
        """Take in a batch; it must follow the one before it."""
        if not len(batch.ticks):
            return
        time_s = batch.ticks * self.info.tick_s
        if self.last_time_s is not None and time_s[0] <= self.last_time_s:
            raise ValueError(
                f"{batch.placement}: ticks fall from {self.last_time_s} s to {time_s[0]} s; "
                "push each sensor's batches in order"
            )
        values = np.concatenate((batch.accel_mps2, batch.gyro_radps), axis=1)
        if self.first_time_s is None:
            self.first_time_s = float(time_s[0])
        self.last_time_s = float(time_s[-1])
        self._parts.append((time_s, values, np.full(len(time_s), batch.arrival_s)))

    def kept(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Device time (m,), channels (m, 6) and arrival (m,) of all samples still held."""
        if len(self._parts) > 1:
            joined = tuple(np.concatenate(column) for column in zip(*self._parts, strict=True))
            self._parts = [(joined[0], joined[1], joined[2])]
        if not self._parts:
            return np.zeros(0), np.zeros((0, 6)), np.zeros(0)
        return self._parts[0]

    def drop_before(self, time_s: float) -> None:
        """Forget samples older than a device time."""
        time, values, arrival = self.kept()
        keep = int(np.searchsorted(time, time_s))
        if keep:
            # Copies, so that the memory of what is dropped is given back.
            self._parts = [(time[keep:].copy(), values[keep:].copy(), arrival[keep:].copy())]

    def shortest_delay_s(self, end_s: float) -> float:
        """Least arrival minus device time over the last minute before a device time."""
        time, _, arrival = self.kept()
        part = (time > end_s - CLOCK_SPAN_S) & (time <= end_s)
        return float(np.min(arrival[part] - time[part])) if part.any() else 0.0

    def on_grid(self, start_s: float, step_s: float, count: int, arrived_by_s: float) -> Samples:
        """Return samples at ``count`` instants from a device time on, gaps bridged and flagged.

        Samples that arrived after ``arrived_by_s`` do not count.
        """
        time, values, arrival = self.kept()
        first = max(int(np.searchsorted(time, start_s)) - 2, 0)
        last = int(np.searchsorted(time, start_s + step_s * count)) + 2
        time, values, arrival = time[first:last], values[first:last], arrival[first:last]
        whole = np.isfinite(values).all(axis=1) & (arrival <= arrived_by_s)
        time, values = time[whole], values[whole]
        grid = start_s + step_s * np.arange(count)
        if len(time) < 2:
            empty = np.zeros((count, 3))
            return Samples(empty, empty.copy(), np.ones(count, dtype=bool))
        out = np.stack([np.interp(grid, time, values[:, c]) for c in range(6)], axis=1)
        after = np.clip(np.searchsorted(time, grid), 1, len(time) - 1)
        hole = time[after] - time[after - 1] > 1.5 / self.info.rate_hz
        inside = (grid > time[after - 1] + 1e-6) & (grid < time[after] - 1e-6)
        outside = (grid < time[0] - 1e-6) | (grid > time[-1] + 1e-6)
        return Samples(
            np.ascontiguousarray(out[:, :3]),
            np.ascontiguousarray(out[:, 3:]),
            (hole & inside) | outside,
        )


def clock_offsets_s(
    streams: dict[Placement, SensorStream], ends_s: dict[Placement, float]
) -> dict[Placement, float]:
    """Seconds to add to each sensor's device time to bring all onto one clock.

    Parameters
    ----------
    streams : dict
        Streams by placement.
    ends_s : dict
        Device time up to which each stream may be looked at.
    """
    delays = {p: stream.shortest_delay_s(ends_s[p]) for p, stream in streams.items()}
    if not delays or max(delays.values()) - min(delays.values()) <= SAME_CLOCK_S:
        return dict.fromkeys(delays, 0.0)
    return delays
