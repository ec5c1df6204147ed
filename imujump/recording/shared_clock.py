"""Puts every sensor's samples on one clock and into one table, for export."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from imujump.model import FloatArray, IntArray, Placement, RecordingInfo, SampleSource

SAME_CLOCK_S = 2e-6
"""Sensors whose arrivals all lie this close to their ticks share a clock: own choice, above
the microsecond to which arrivals may be rounded and far below any radio's jitter."""

MICROSECONDS = 1e6


@dataclass(frozen=True, slots=True)
class SensorClock:
    """Time of a tick: ``offset_s + tick * tick_s``, seconds on the recording's clock."""

    offset_s: float
    tick_s: float


@dataclass(frozen=True, slots=True)
class WideTable:
    """All samples of a recording with one row per instant.

    ``time_s`` (n,) counts from the first sample, in whole microseconds. ``values`` holds
    (n, 6) for each placement (accel x y z in m/s², gyro x y z in rad/s), NaN where that
    sensor has no sample.
    """

    info: RecordingInfo
    time_s: FloatArray
    values: Mapping[Placement, FloatArray]


def wide_table(
    source: SampleSource, clocks: Mapping[Placement, SensorClock] | None = None
) -> WideTable:
    """Read a source to its end and lay its samples on one clock.

    Parameters
    ----------
    source : SampleSource
        Read once from front to back and held in memory (about 0.5 MB a minute at 200 Hz).
    clocks : mapping of Placement to SensorClock, optional
        Clock fits to use. By default sensors whose arrivals follow their ticks to 2 µs share
        one clock; any others get :func:`clock_from_arrivals`.

    Returns
    -------
    WideTable
        Instants that agree to the microsecond share a row.
    """
    ticks: dict[Placement, list[IntArray]] = {}
    values: dict[Placement, list[FloatArray]] = {}
    ends: dict[Placement, list[tuple[float, int]]] = {}
    for batch in source.batches():
        if not len(batch.ticks):
            continue
        ticks.setdefault(batch.placement, []).append(batch.ticks)
        both = np.concatenate([batch.accel_mps2, batch.gyro_radps], axis=1)
        values.setdefault(batch.placement, []).append(both)
        ends.setdefault(batch.placement, []).append((batch.arrival_s, int(batch.ticks[-1])))
    info = source.info
    fitted = clocks or _clocks(info, ends)
    stamps: dict[Placement, IntArray] = {}
    for placement, parts in ticks.items():
        clock = fitted[placement]
        # From the first tick on, so that large counters lose no digits.
        joined = np.concatenate(parts)
        start_s = clock.offset_s + float(joined[0]) * clock.tick_s
        since = (joined - joined[0]) * (clock.tick_s * MICROSECONDS)
        stamps[placement] = np.rint(start_s * MICROSECONDS + since).astype(np.int64)
    if not stamps:
        return WideTable(info, np.empty(0), {})
    union = np.unique(np.concatenate(list(stamps.values())))
    table = {}
    for placement, own in stamps.items():
        rows = np.full((len(union), 6), np.nan)
        rows[np.searchsorted(union, own)] = np.concatenate(values[placement])
        table[placement] = rows
    return WideTable(info, (union - union[0]) / MICROSECONDS, table)


def clock_from_arrivals(arrivals_s: FloatArray, ticks: IntArray, tick_s: float) -> SensorClock:
    """Fit a clock to packet arrivals: the line under all of them that lies closest.

    A packet can arrive late but never early, so the lower edge of arrival against tick is
    the clock plus the shortest delay.

    Parameters
    ----------
    arrivals_s : (n,) float64
        Host time at which each packet arrived.
    ticks : (n,) int64
        Tick of each packet's last sample.
    tick_s : float
        Nominal length of a tick; used as it is when there are fewer than two packets.

    Returns
    -------
    SensorClock
        Offset and true length of a tick on the host's clock.

    References
    ----------
    Moon, Skelly, Towsley (1999), "Estimation and removal of clock skew from network delay
    measurements", IEEE INFOCOM: the edge of the lower convex hull above the mean (from
    memory).
    """
    since = (ticks - ticks[0]).astype(np.float64)
    delay_s = arrivals_s - since * tick_s
    hull: list[int] = []
    for index in range(len(since)):
        while len(hull) >= 2 and _turns_down(since, delay_s, hull[-2], hull[-1], index):
            hull.pop()
        hull.append(index)
    middle = since.mean()
    slope, base_s = 0.0, float(delay_s.min())
    for left, right in pairwise(hull):
        if since[left] <= middle <= since[right] and since[right] > since[left]:
            slope = float((delay_s[right] - delay_s[left]) / (since[right] - since[left]))
            base_s = float(delay_s[left] - slope * since[left])
            break
    true_tick_s = tick_s + slope
    return SensorClock(base_s - float(ticks[0]) * true_tick_s, true_tick_s)


def _turns_down(x: FloatArray, y: FloatArray, a: int, b: int, c: int) -> bool:
    """Tell whether b lies on or above the line from a to c."""
    return bool((y[b] - y[a]) * (x[c] - x[a]) >= (y[c] - y[a]) * (x[b] - x[a]))


def _clocks(
    info: RecordingInfo, ends: Mapping[Placement, list[tuple[float, int]]]
) -> dict[Placement, SensorClock]:
    tick_s = {sensor.placement: sensor.tick_s for sensor in info.sensors}
    arrivals = {p: np.array([arrival for arrival, _ in pairs]) for p, pairs in ends.items()}
    ticks = {p: np.array([tick for _, tick in pairs]) for p, pairs in ends.items()}
    delays = [arrivals[p] - ticks[p] * tick_s[p] for p in ends]
    if delays and np.ptp(np.concatenate(delays)) <= SAME_CLOCK_S:
        return {p: SensorClock(0.0, tick_s[p]) for p in ends}
    return {p: clock_from_arrivals(arrivals[p], ticks[p], tick_s[p]) for p in ends}
