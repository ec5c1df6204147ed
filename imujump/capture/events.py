"""What a capture hands on: packets, clock readings and status changes, in the order they came.

Everything carries a stamp of one :class:`HostClock`, whole microseconds that never repeat:
a recording, whose packets and status rows lie in separate tables, is put back into exactly
this order. A consumer passes the same events to a recorder and to
:class:`imujump.recording.in_order.SampleOrder`, which returns what the engine takes: batches
in the order of measurement and clock readings on the batches' tick axis.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from imujump.model import ClockReading, Placement
from imujump.recording.captured import CapturedPacket
from imujump.recording.format import StatusChange, StatusKind

__all__ = [
    "CaptureEvent",
    "CapturedPacket",
    "ClockReading",
    "HostClock",
    "SensorState",
    "StatusChange",
    "StatusKind",
]

CaptureEvent = CapturedPacket | ClockReading | StatusChange
"""One thing that happened, in the order of its stamp."""


@dataclass(frozen=True, slots=True)
class SensorState:
    """How a sensor is doing at the moment of asking.

    ``rate_hz`` is what arrived over the last seconds, None before that; ``lost`` counts
    packets that will not come any more, ``recovered`` those that a replay brought.
    ``last_arrival_s`` is session time. ``sentence`` says what is the matter and what to do,
    None when all is well.
    """

    serial: str
    name: str
    placement: Placement
    linked: bool
    rate_hz: float | None = None
    battery_percent: int | None = None
    rssi_dbm: int | None = None
    packets: int = 0
    lost: int = 0
    recovered: int = 0
    doubled: int = 0
    reconnects: int = 0
    last_arrival_s: float | None = None
    sentence: str | None = None


class HostClock:
    """Session time: the host's monotonic clock since the session began, in whole microseconds.

    Parameters
    ----------
    monotonic_ns : callable, optional
        The host's clock, nanoseconds; :func:`time.perf_counter_ns` by default, which is
        monotonic everywhere and fine enough on every system.

    Attributes
    ----------
    start_ns : int
        The host's clock at the session's start.
    """

    def __init__(self, monotonic_ns: Callable[[], int] = time.perf_counter_ns) -> None:
        self._monotonic_ns = monotonic_ns
        self.start_ns = monotonic_ns()
        self._last_us = -1

    def now_s(self) -> float:
        """Session time now."""
        return ((self._monotonic_ns() - self.start_ns) // 1000) / 1e6

    def stamp_s(self) -> float:
        """Session time now as a stamp: at least 1 µs after every earlier stamp."""
        now_us = (self._monotonic_ns() - self.start_ns) // 1000
        self._last_us = max(now_us, self._last_us + 1)
        return self._last_us / 1e6
