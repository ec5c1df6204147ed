"""The session's clock: which sensors are on it, and where each one's device time lies on it.

Sensors that begin together are set against each other once each has been received for a while;
one that begins later joins the session when it has been. Sensors that share a clock (arrivals
follow ticks to the microsecond, as in a table) keep their ticks. Any others are set on the
host's clock by readings of their own and by their packets' arrivals, and followed from there.
All depends on what arrived when, never on how it was cut into batches.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from imujump.model import ClockReading, Placement, SensorInfo
from imujump.pipeline.clock_course import ClockCourse, ClockLine, steady
from imujump.pipeline.clock_fit import ALONE_SIGMA_S, ClockFit
from imujump.pipeline.clock_track import ClockTrack
from imujump.pipeline.shared_instant import SharedInstant, held_together
from imujump.pipeline.streams import ROUNDING_S, Received, SensorStream

FIRST_CLOCK_S = 10.0
"""Stream from which a sensor's clock is first set against the others."""

LATE_S = 3.0
"""Samples that arrive this much later than the other sensors' count as lost, unless the sensor has
only just fallen silent (own choice: reconnecting and replaying takes a second or two)."""

SAME_CLOCK_S = 2e-6
"""Sensors whose shortest delays agree to this share a clock: above the microsecond to which
arrivals may be rounded, far below any radio's jitter (own choice)."""


@dataclass(slots=True)
class SessionClock:
    """Sensors' clocks through a session.

    Attributes
    ----------
    courses : dict
        Device time to session time of the sensors on the clock; empty until it has started.
    """

    sensors: Sequence[SensorInfo]
    courses: dict[Placement, ClockCourse] = field(default_factory=dict)
    _tracks: dict[Placement, ClockTrack] = field(init=False)
    _zero_s: float = 0.0
    _shared_delay_s: float | None = None
    _shared: SharedInstant | None = None

    def __post_init__(self) -> None:
        self._tracks = {s.placement: ClockTrack() for s in self.sensors}

    def read(self, reading: ClockReading) -> None:
        """Take in a reading of a sensor's clock."""
        self._tracks[reading.placement].read(reading)

    def take(self, placement: Placement, received: Received) -> None:
        """Take in when a sensor's samples arrived."""
        course = self.courses.get(placement)
        if course is not None and course.fixed:
            return
        first = 0
        for segment, count in received.segments:
            part = slice(first, first + count)
            self._tracks[placement].take(received.time_s[part], received.arrival_s[part], segment)
            first += count

    def starts_s(self, streams: Mapping[Placement, SensorStream]) -> dict[Placement, float]:
        """Session time of the first sample of each sensor on the clock."""
        firsts = {p: streams[p].first_time_s for p in self.courses}
        return {p: self.courses[p].session_s(t) for p, t in firsts.items() if t is not None}

    def ends_s(self, streams: Mapping[Placement, SensorStream]) -> dict[Placement, float]:
        """Session time of the last sample of each sensor on the clock."""
        lasts = {p: streams[p].last_time_s for p in self.courses}
        return {p: self.courses[p].session_s(t) for p, t in lasts.items() if t is not None}

    def since_start_s(self, host_s: float) -> float:
        """Session time of an instant on the host's clock, which stamps arrivals."""
        return host_s - self._zero_s - (self._shared_delay_s or 0.0)

    def start(
        self,
        streams: Mapping[Placement, SensorStream],
        horizons_s: Mapping[Placement, float],
    ) -> bool:
        """Set the sensors' clocks against each other once enough has been received.

        Parameters
        ----------
        streams : mapping
            Settled streams of all sensors, taken in.
        horizons_s : mapping
            Arrival before which all of a sensor's packets and readings have been received.

        Returns
        -------
        bool
            Whether the clock has started.
        """
        arrivals = {
            p: stream.first_arrival_s
            for p, stream in streams.items()
            if stream.first_arrival_s is not None
        }
        if not arrivals:
            return False
        deadline_s = min(arrivals.values()) + FIRST_CLOCK_S + LATE_S
        for placement, stream in streams.items():
            # A sensor that stays silent must not hold up the others for ever.
            if stream.length_s < FIRST_CLOCK_S and horizons_s[placement] <= deadline_s:
                return False
        firsts = {p: streams[p].first_time_s or 0.0 for p, t in arrivals.items() if t <= deadline_s}
        delays = {p: _shortest_delay_s(streams[p], t, deadline_s) for p, t in firsts.items()}
        due_s = {}
        for p, first_s in firsts.items():
            enough_s = streams[p].arrival_of_time(first_s + FIRST_CLOCK_S)
            due_s[p] = deadline_s if enough_s is None else min(enough_s, deadline_s)
        if self._share_a_clock(delays, due_s):
            self._shared_delay_s = min(delays.values())
            self._zero_s = min(firsts.values())
            self.courses = {p: steady(0.0 - self._zero_s) for p in firsts}
            for p in firsts:
                self._tracks[p] = ClockTrack()
            return True
        fits = {p: self._first_fit(p, streams[p], due_s[p], delays[p]) for p in firsts}
        self._zero_s = min(fits[p].host_s(first_s) for p, first_s in firsts.items())
        self.courses = {
            p: ClockCourse([first_s], [self._line(fits[p])]) for p, first_s in firsts.items()
        }
        return True

    def _share_a_clock(
        self, delays_s: Mapping[Placement, float], due_s: Mapping[Placement, float]
    ) -> bool:
        tracks = {p: self._tracks[p] for p in delays_s}
        if any(track.was_read(due_s[p]) for p, track in tracks.items()):
            return False
        if len(delays_s) == 1:
            ((placement, track),) = tracks.items()
            return track.unsteady_s(due_s[placement]) <= SAME_CLOCK_S
        return max(delays_s.values()) - min(delays_s.values()) <= SAME_CLOCK_S

    def _first_fit(
        self, placement: Placement, stream: SensorStream, due_s: float, delay_s: float
    ) -> ClockFit:
        found = self._tracks[placement].fit(due_s, stream)
        return found or ClockFit(delay_s, 0.0, 0.0, ALONE_SIGMA_S, 0)

    def _line(self, fit: ClockFit) -> ClockLine:
        """Session time counts from the first sample, or from a shared clock's."""
        origin_s = self._zero_s + (self._shared_delay_s or 0.0)
        shift_s = fit.offset_s - origin_s
        return ClockLine(shift_s, fit.skew, fit.at_s, fit.sigma_s, fit.readings > 0, fit.segment)

    def joins_s(self, stream: SensorStream) -> float | None:
        """Arrival at which there is enough of a late stream to set its clock, if there is."""
        if stream.first_time_s is None or stream.length_s < FIRST_CLOCK_S:
            return None
        return stream.arrival_of_time(stream.first_time_s + FIRST_CLOCK_S)

    def join(self, placement: Placement, stream: SensorStream) -> None:
        """Set the clock of a sensor that began late against the session's."""
        first_s = stream.first_time_s or 0.0
        delay_s = _shortest_delay_s(stream, first_s, np.inf)
        due_s = self.joins_s(stream) or np.inf
        if (
            self._shared_delay_s is not None
            and abs(delay_s - self._shared_delay_s) <= SAME_CLOCK_S
            and not self._tracks[placement].was_read(due_s)
        ):
            self.courses[placement] = steady(0.0 - self._zero_s)
            return
        fit = self._first_fit(placement, stream, due_s, delay_s)
        self.courses[placement] = ClockCourse([first_s], [self._line(fit)])

    def follow(self, placement: Placement, stream: SensorStream) -> ClockCourse:
        """Return a sensor's course, laid up to its last settled sample."""
        course = self.courses[placement]

        def line_at(edge_s: float) -> ClockLine | None:
            due_s = stream.arrival_of_time(edge_s)
            assert due_s is not None
            fit = self._tracks[placement].fit(due_s, stream)
            return None if fit is None else self._line(fit)

        if stream.last_time_s is not None:
            course.extend(stream.last_time_s - ROUNDING_S, line_at)
        return course

    def lines(
        self, arrival_s: float, streams: Mapping[Placement, SensorStream]
    ) -> dict[Placement, ClockLine]:
        """One line a sensor for a whole window, from all that had arrived by its decision."""
        lines = {}
        for placement, course in self.courses.items():
            fit = None
            if not course.fixed:
                fit = self._tracks[placement].fit(arrival_s, streams[placement])
            lines[placement] = course.first_line if fit is None else self._line(fit)
        return lines if self._shared is None else self._shared.corrected(lines)

    def settle_between(
        self,
        streams: Mapping[Placement, SensorStream],
        start_s: float,
        end_s: float,
        arrival_s: float,
        arrived_by_s: Mapping[Placement, float],
    ) -> None:
        """Set the sensors' clocks right by a movement that all made as one, if it was one.

        Parameters
        ----------
        streams : mapping
            Settled streams of the sensors on the clock.
        start_s, end_s : float
            Session time of a rest before the movement and of one after it.
        arrival_s : float
            Arrival at which that was known.
        arrived_by_s : mapping
            Until when each sensor was waited for.
        """
        if len(self.courses) < 2 or any(course.fixed for course in self.courses.values()):
            return
        lines = self.lines(arrival_s, streams)
        found = held_together(streams, lines, start_s, end_s, arrived_by_s)
        if found is not None:
            self._shared = found

    def forget(self, placement: Placement, device_s: float) -> None:
        """Drop what no decision after a device time can need."""
        self._tracks[placement].drop_before(device_s)
        self.courses[placement].drop_before(device_s)

    @property
    def held(self) -> int:
        """Number of rows, readings and lines in memory."""
        return sum(map(len, self._tracks.values())) + sum(map(len, self.courses.values()))


def _shortest_delay_s(stream: SensorStream, first_s: float, arrived_by_s: float) -> float:
    """Least arrival minus device time over a stream's beginning."""
    time, _, arrival = stream.kept()
    part = (time <= first_s + FIRST_CLOCK_S) & (arrival <= arrived_by_s)
    return float(np.min(arrival[part] - time[part]))
