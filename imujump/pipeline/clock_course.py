"""Device time to session time: one straight line, or the course it took through a session."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from imujump.model import FloatArray

EPOCH_S = 30.0
"""A new line is laid this often: a clock whose skew is known to 10 ppm moves 0.3 ms meanwhile (own
choice)."""


@dataclass(frozen=True, slots=True)
class ClockLine:
    """Session time is ``device_s + shift_s + skew * (device_s - at_s)``.

    ``sigma_s`` is the standard deviation of the shift against another sensor's, this sensor's
    part; ``read`` tells whether it rests on readings of the clock, ``segment`` which of the
    sensor's counts of ticks it is laid through.
    """

    shift_s: float
    skew: float = 0.0
    at_s: float = 0.0
    sigma_s: float = 0.0
    read: bool = False
    segment: int = 0

    def session_s(self, device_s: float) -> float:
        """Session time of a device time."""
        if not self.skew:
            return device_s + self.shift_s
        return device_s + self.shift_s + self.skew * (device_s - self.at_s)

    def sessions_s(self, device_s: FloatArray) -> FloatArray:
        """Session times of device times."""
        return device_s + (self.shift_s + self.skew * (device_s - self.at_s))

    def device_s(self, session_s: FloatArray | float) -> FloatArray:
        """Device time of session times."""
        level = np.asarray(session_s) - self.shift_s
        if not self.skew:
            return level
        return np.asarray(self.at_s + (level - self.at_s) / (1.0 + self.skew))

    @property
    def device_per_session(self) -> float:
        """Device seconds in a session second."""
        return 1.0 / (1.0 + self.skew)


@dataclass(slots=True)
class ClockCourse:
    """Lines that follow each other, each from a device time on; looks are taken by them.

    A line depends on its beginning alone, never on when it was asked for. Session times that
    fall between two lines belong to the beginning of the second.
    """

    _edges_s: list[float]
    _lines: list[ClockLine]
    fixed: bool = field(default=False)

    def extend(self, last_time_s: float, line_at: Callable[[float], ClockLine | None]) -> None:
        """Lay the lines that begin up to a device time; None goes on with the one before."""
        while not self.fixed and self._edges_s[-1] + EPOCH_S <= last_time_s:
            edge_s = self._edges_s[-1] + EPOCH_S
            self._lines.append(line_at(edge_s) or self._lines[-1])
            self._edges_s.append(edge_s)

    def session_s(self, device_s: float) -> float:
        """Session time of a device time."""
        number = int(np.searchsorted(self._edges_s, device_s, side="right")) - 1
        return self._lines[max(number, 0)].session_s(device_s)

    def device_s(self, session_s: FloatArray) -> FloatArray:
        """Device times (n,) of session times (n,): they never fall where those rise."""
        if len(self._lines) == 1:
            return self._lines[0].device_s(session_s)
        found = np.maximum(self._lines[-1].device_s(session_s), self._edges_s[-1])
        for number in range(len(self._lines) - 2, -1, -1):
            begin_s = self._edges_s[number] if number else -np.inf
            own = self._lines[number].device_s(session_s)
            earlier = own < self._edges_s[number + 1]
            if not earlier.any():
                # Lines change by milliseconds in seconds: none before this one serves either.
                break
            found = np.where(earlier, np.maximum(own, begin_s), found)
        return found

    @property
    def first_line(self) -> ClockLine:
        """The oldest line held."""
        return self._lines[0]

    def drop_before(self, device_s: float) -> None:
        """Forget lines that end before a device time."""
        while len(self._edges_s) > 2 and self._edges_s[1] < device_s:
            del self._edges_s[0], self._lines[0]

    def __len__(self) -> int:
        """Number of lines held."""
        return len(self._lines)


def steady(shift_s: float) -> ClockCourse:
    """Course of a clock that shares the session's pace."""
    return ClockCourse([0.0], [ClockLine(shift_s)], fixed=True)
