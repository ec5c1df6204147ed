"""What a sensor remembers: its clock since the last boot, and the packets it still holds."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from imujump.model import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class DeviceClock:
    """A crystal that started at some instant and runs a little fast or slow.

    ``started_s`` is the host's monotonic time at tick ``first_tick``; ``skew_ppm`` is positive
    for a fast clock. This is the truth that a clock fit is judged by.

    Examples
    --------
    >>> clock = DeviceClock(started_s=10.0, skew_ppm=0.0, tick_s=1e-6, first_tick=500)
    >>> clock.tick(11.0), clock.time_s(1_000_500)
    (1000500, 11.0)
    """

    started_s: float
    skew_ppm: float
    tick_s: float
    first_tick: int = 0

    @property
    def ticks_per_s(self) -> float:
        """True rate of the counter."""
        return (1.0 + 1e-6 * self.skew_ppm) / self.tick_s

    def tick(self, host_s: float) -> int:
        """Return the unwrapped counter at a host time."""
        return self.first_tick + math.floor((host_s - self.started_s) * self.ticks_per_s + 1e-6)

    def ticks(self, host_s: FloatArray) -> IntArray:
        """Return the unwrapped counter at host times (n,), nearest."""
        elapsed = (host_s - self.started_s) * self.ticks_per_s
        return self.first_tick + np.rint(elapsed).astype(np.int64)

    def time_s(self, tick: int) -> float:
        """Return the host time of an unwrapped counter value."""
        return self.started_s + (tick - self.first_tick) / self.ticks_per_s


@dataclass(slots=True)
class HeldPacket:
    """A packet in the buffer: its index since boot, its bytes, whether it went out."""

    index: int
    data: bytes
    samples: int
    sent: bool = False


class RingBuffer:
    """The newest packets, up to a number of samples.

    Examples
    --------
    >>> ring = RingBuffer(samples=20)
    >>> [ring.add(HeldPacket(n, b"", 10)) for n in range(3)]
    [False, False, True]
    >>> ring.oldest, ring.get(0), ring.get(2).index
    (1, None, 2)
    """

    def __init__(self, samples: int) -> None:
        self._room = samples
        self._held: deque[HeldPacket] = deque()
        self._samples = 0

    @property
    def oldest(self) -> int | None:
        """Index of the oldest packet held, None when empty."""
        return self._held[0].index if self._held else None

    def add(self, packet: HeldPacket) -> bool:
        """Keep a packet; tell whether one that never went out had to make room."""
        self._held.append(packet)
        self._samples += packet.samples
        lost = False
        while self._samples > self._room and len(self._held) > 1:
            gone = self._held.popleft()
            self._samples -= gone.samples
            lost = lost or not gone.sent
        return lost

    def get(self, index: int) -> HeldPacket | None:
        """Return a packet by its index, None when it is not held."""
        place = index - self._held[0].index if self._held else -1
        return self._held[place] if 0 <= place < len(self._held) else None

    def clear(self) -> None:
        """Forget everything."""
        self._held.clear()
        self._samples = 0
