"""Sample batches of a sensor, kept as long as an attempt may need them, in its device time.

Device ticks become seconds by the tick's length. A sensor that started anew goes on counting
about where its packets say it should. Gaps stay gaps: nothing is invented here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np

from imujump.model import BoolArray, FloatArray, IntArray, SampleBatch, SensorInfo

ROUNDING_S = 1e-6
"""Instants closer than this are one: far below a sample period, above the rounding of times."""

FIRST_CAPACITY = 4096
"""Samples a stream can hold before it first grows (own choice)."""


IMPOSSIBLE = 1e6
"""No accelerometer or gyroscope reads this much in SI units: such a sample is damaged."""

FROZEN_S = 0.25
"""A sensor whose six channels repeat themselves for this long is not being read any more: noise
moves the last bit of a working one (own choice)."""


@dataclass(frozen=True, slots=True)
class Samples:
    """One sensor's samples over a span on a uniform grid of n instants.

    ``accel_mps2`` and ``gyro_radps`` (n, 3) are bridged by straight lines where ``missing``.
    """

    accel_mps2: FloatArray
    gyro_radps: FloatArray
    missing: BoolArray


@dataclass(frozen=True, slots=True)
class Received:
    """Samples that have just been settled: ticks (n,) and all channels (n, 6).

    Ticks go on counting over restarts. ``time_s`` and ``arrival_s`` (n,) are views, good until
    the stream's next :meth:`SensorStream.settle`; ``segments`` holds (segment, number of
    samples) in order.
    """

    ticks: IntArray
    values: FloatArray
    time_s: FloatArray
    arrival_s: FloatArray
    segments: tuple[tuple[int, int], ...]


@dataclass(slots=True)
class SensorStream:
    """Received samples of one sensor, oldest first, with their device time.

    Batches wait until :meth:`settle` joins them; first and last instants count them already.
    Held samples are moved to new arrays when the end of the old ones is reached: their size
    follows what is held, not what was received.
    """

    info: SensorInfo
    first_time_s: float | None = None
    last_time_s: float | None = None
    first_arrival_s: float | None = None
    last_arrival_s: float = -float("inf")
    _time_s: FloatArray = field(default_factory=lambda: np.empty(FIRST_CAPACITY))
    _values: FloatArray = field(default_factory=lambda: np.empty((FIRST_CAPACITY, 6)))
    _arrival_s: FloatArray = field(default_factory=lambda: np.empty(FIRST_CAPACITY))
    _begin: int = 0
    _end: int = 0
    _waiting: list[tuple[SampleBatch, float]] = field(default_factory=list)
    _restarts: dict[int, int] = field(default_factory=dict)

    def __len__(self) -> int:
        """Number of samples held."""
        return self._end - self._begin + sum(len(batch.ticks) for batch, _ in self._waiting)

    @property
    def length_s(self) -> float:
        """Device time from the first to the last sample received, dropped ones included."""
        return (self.last_time_s or 0.0) - (self.first_time_s or 0.0)

    @property
    def capacity(self) -> int:
        """Number of settled samples there is room for."""
        return len(self._time_s)

    def append(self, batch: SampleBatch) -> None:
        """Take in a batch; it must follow the one before it.

        Raises
        ------
        ValueError
            If the arrays' shapes do not fit each other, or the batch begins before the last
            ended without a new segment.
        """
        ticks, segment = batch.ticks, batch.segment
        shape = (len(ticks), 3)
        if batch.accel_mps2.shape != shape or batch.gyro_radps.shape != shape:
            raise ValueError(
                f"{batch.placement}: accel has shape {batch.accel_mps2.shape} and gyro "
                f"{batch.gyro_radps.shape}, both must be {shape}"
            )
        if not shape[0]:
            return
        # A packet cannot come before the one before it: a host clock set back does not count.
        arrival_s = max(self.last_arrival_s, batch.arrival_s)
        first, last = int(ticks[0]), int(ticks[-1])
        restart = self._restarts.get(segment)
        if restart is None:
            restart = self._restarts[segment] = self._resumed_ticks(first, arrival_s)
        first_s = float(first + restart) * self.info.tick_s
        last_s = float(last + restart) * self.info.tick_s
        if self.last_time_s is not None and first_s <= self.last_time_s:
            raise ValueError(
                f"{batch.placement}: ticks fall from {self.last_time_s} s to {first_s} s; "
                "push each sensor's batches in order"
            )
        self._waiting.append((batch, arrival_s))
        if self.first_time_s is None:
            self.first_time_s, self.first_arrival_s = first_s, arrival_s
        self.last_time_s, self.last_arrival_s = last_s, arrival_s

    def _resumed_ticks(self, tick: int, arrival_s: float) -> int:
        """Ticks to add in a new segment, so that its first tick lies where it is due."""
        if self.last_time_s is None:
            return 0
        silent_s = max(arrival_s - self.last_arrival_s, 1.0 / self.info.rate_hz)
        return math.ceil((self.last_time_s + silent_s) / self.info.tick_s) - tick

    def device_s(self, tick: int, segment: int) -> float:
        """Device time of a tick; one of a segment without samples counts from its own zero."""
        return float(tick + self._restarts.get(segment, 0)) * self.info.tick_s

    def settle(self) -> Received | None:
        """Join the batches that wait to the samples held, and return them as one piece.

        Raises
        ------
        ValueError
            If ticks do not increase within a batch.
        """
        if not self._waiting:
            return None
        batches = [batch for batch, _ in self._waiting]
        counts = [len(batch.ticks) for batch in batches]
        ticks = np.concatenate([batch.ticks for batch in batches])
        numbers = [batch.segment for batch in batches]
        if any(self._restarts[number] for number in numbers):
            ticks += np.repeat([self._restarts[number] for number in numbers], counts)
        if not (ticks[1:] > ticks[:-1]).all():
            raise ValueError(f"{self.info.placement}: ticks fall within a batch, must increase")
        self._make_room(len(ticks))
        rows = slice(self._end, self._end + len(ticks))
        np.multiply(ticks, self.info.tick_s, out=self._time_s[rows])
        np.concatenate([batch.accel_mps2 for batch in batches], out=self._values[rows, :3])
        np.concatenate([batch.gyro_radps for batch in batches], out=self._values[rows, 3:])
        values = self._values[rows]
        values[np.abs(values) > IMPOSSIBLE] = np.nan
        self._arrival_s[rows] = np.repeat([arrival_s for _, arrival_s in self._waiting], counts)
        self._end += len(ticks)
        self._waiting.clear()
        segments = _runs(numbers, counts)
        return Received(ticks, values, self._time_s[rows], self._arrival_s[rows], segments)

    def _make_room(self, count: int) -> None:
        if self._end + count <= self.capacity:
            return
        held, number = slice(self._begin, self._end), self._end - self._begin
        # Twice what is held: then the cost of moving it stays in proportion to what comes in.
        capacity = max(FIRST_CAPACITY, 2 * (number + count))
        self._time_s = _moved(self._time_s[held], capacity)
        self._values = _moved(self._values[held], capacity)
        self._arrival_s = _moved(self._arrival_s[held], capacity)
        self._begin, self._end = 0, number

    def kept(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Device time (m,), channels (m, 6) and arrival (m,) of the settled samples held.

        They are views: not to be changed, nor used after the next :meth:`settle`.
        """
        held = slice(self._begin, self._end)
        return self._time_s[held], self._values[held], self._arrival_s[held]

    def drop_before(self, time_s: float) -> None:
        """Forget samples older than a device time."""
        self._begin += int(np.searchsorted(self._time_s[self._begin : self._end], time_s))

    def as_of(self, end_s: float, arrived_by_s: float) -> SensorStream:
        """Return the same samples up to a device time and an arrival, without copying them.

        It is good until the next :meth:`settle`.
        """
        time, _, arrival = self.kept()
        count = min(
            int(np.searchsorted(time, end_s + ROUNDING_S)),
            int(np.searchsorted(arrival, arrived_by_s, side="right")),
        )
        return SensorStream(
            self.info,
            float(time[0]) if count else None,
            float(time[count - 1]) if count else None,
            float(arrival[0]) if count else None,
            float(arrival[count - 1]) if count else -float("inf"),
            self._time_s,
            self._values,
            self._arrival_s,
            self._begin,
            self._begin + count,
            _restarts=self._restarts,
        )

    def arrival_of_time(self, time_s: float) -> float | None:
        """Arrival of the first sample held at or after a device time; None before it comes."""
        at = int(np.searchsorted(self._time_s[self._begin : self._end], time_s - ROUNDING_S))
        return float(self._arrival_s[self._begin + at]) if at < self._end - self._begin else None

    def on_grid(self, start_s: float, step_s: float, count: int, arrived_by_s: float) -> Samples:
        """Return samples at ``count`` instants from a device time on, gaps bridged and flagged.

        Samples that arrived after ``arrived_by_s`` do not count.
        """
        time, values, arrival = self.kept()
        first = max(int(np.searchsorted(time, start_s)) - 2, 0)
        last = int(np.searchsorted(time, start_s + step_s * count)) + 2
        time, values, arrival = time[first:last], values[first:last], arrival[first:last]
        whole = np.isfinite(values).all(axis=1) & (arrival <= arrived_by_s)
        whole &= ~frozen(values, round(FROZEN_S * self.info.rate_hz))
        time, values = time[whole], values[whole]
        grid = start_s + step_s * np.arange(count)
        if len(time) < 2:
            empty = np.zeros((count, 3))
            return Samples(empty, empty.copy(), np.ones(count, dtype=bool))
        out = np.stack([np.interp(grid, time, values[:, c]) for c in range(6)], axis=1)
        after = np.clip(np.searchsorted(time, grid), 1, len(time) - 1)
        hole = time[after] - time[after - 1] > 1.5 / self.info.rate_hz
        inside = (grid > time[after - 1] + ROUNDING_S) & (grid < time[after] - ROUNDING_S)
        outside = (grid < time[0] - ROUNDING_S) | (grid > time[-1] + ROUNDING_S)
        return Samples(
            np.ascontiguousarray(out[:, :3]),
            np.ascontiguousarray(out[:, 3:]),
            (hole & inside) | outside,
        )


def repeats(values: FloatArray) -> BoolArray:
    """Mark rows (n,) of six channels that repeat the row before them.

    A gyroscope at exactly zero beside a living accelerometer may be a sensor at rest that
    suppresses its noise, and does not count.
    """
    same = np.zeros(len(values), dtype=bool)
    # Two channels rule out nearly all rows.
    alike = values[1:, 0] == values[:-1, 0]
    alike &= values[1:, 3] == values[:-1, 3]
    rows = np.flatnonzero(alike) + 1
    if not len(rows):
        return same
    here, before = values[rows], values[rows - 1]
    same[rows] = (here == before).all(axis=1) & (here[:, 3:].any(axis=1) | ~here[:, :3].any(axis=1))
    return same


def frozen(values: FloatArray, shortest: int) -> BoolArray:
    """Mark rows (n,) that belong to a run of at least ``shortest`` equal rows."""
    same = repeats(values)
    if not same.any():
        return same
    number = np.cumsum(~same)
    return np.asarray(np.bincount(number)[number] >= max(shortest, 2))


def _runs(numbers: list[int], counts: list[int]) -> tuple[tuple[int, int], ...]:
    """Each run of one number with the sum of its counts."""
    if numbers.count(numbers[0]) == len(numbers):
        return ((numbers[0], sum(counts)),)
    runs = groupby(zip(numbers, counts, strict=True), key=lambda each: each[0])
    return tuple((number, sum(count for _, count in run)) for number, run in runs)


def _moved(held: FloatArray, capacity: int) -> FloatArray:
    """Copy rows to the front of a new array."""
    out = np.empty((capacity, *held.shape[1:]))
    out[: len(held)] = held
    return out
