"""Device clocks to session time, counted from the recording's first sample.

Sensors that begin together are set against each other once each has been received for a while;
one that begins later joins the session when it has been. Both depend on what arrived when,
never on how it was cut into batches.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from imujump.model import Placement
from imujump.pipeline.streams import SAME_CLOCK_S, SensorStream, clock_offsets_s

FIRST_CLOCK_S = 10.0
"""Stream from which a sensor's clock is first set against the others."""

LATE_S = 3.0
"""Samples that arrive this much later than the other sensors' count as lost (own choice:
reconnecting and replaying takes a second or two)."""


@dataclass(slots=True)
class SessionClock:
    """Which sensors are on the session's clock, and by how much theirs are shifted.

    Attributes
    ----------
    shift_s : dict
        Added to device time it gives session time; empty until the clock has started.
    """

    shift_s: dict[Placement, float] = field(default_factory=dict)
    _zero_s: float = 0.0
    _shared_delay_s: float | None = None

    def starts_s(self, streams: Mapping[Placement, SensorStream]) -> dict[Placement, float]:
        """Session time of the first sample of each sensor on the clock."""
        firsts = {p: streams[p].first_time_s for p in self.shift_s}
        return {p: t + self.shift_s[p] for p, t in firsts.items() if t is not None}

    def ends_s(self, streams: Mapping[Placement, SensorStream]) -> dict[Placement, float]:
        """Session time of the last sample of each sensor on the clock."""
        lasts = {p: streams[p].last_time_s for p in self.shift_s}
        return {p: t + self.shift_s[p] for p, t in lasts.items() if t is not None}

    def start(
        self,
        streams: Mapping[Placement, SensorStream],
        horizons_s: Mapping[Placement, float],
    ) -> bool:
        """Set the sensors' clocks against each other once enough has been received.

        Parameters
        ----------
        streams : mapping
            Settled streams of all sensors.
        horizons_s : mapping
            Arrival before which all of a sensor's packets have been received.

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
        ends = {p: first + FIRST_CLOCK_S for p, first in firsts.items()}
        founders = {p: streams[p].as_of(ends[p], deadline_s) for p in firsts}
        offsets = clock_offsets_s(founders, ends)
        if not any(offsets.values()):
            delays = (founders[p].shortest_delay_s(ends[p]) for p in firsts)
            self._shared_delay_s = min(d for d in delays if d is not None)
        self._zero_s = min(firsts[p] + offsets[p] for p in firsts)
        self.shift_s = {p: offsets[p] - self._zero_s for p in firsts}
        return True

    def joins_s(self, stream: SensorStream) -> float | None:
        """Arrival at which there is enough of a late stream to set its clock, if there is."""
        if stream.first_time_s is None or stream.length_s < FIRST_CLOCK_S:
            return None
        return stream.arrival_of_time(stream.first_time_s + FIRST_CLOCK_S)

    def join(self, placement: Placement, stream: SensorStream) -> None:
        """Set the clock of a sensor that began late against the session's."""
        delay_s = stream.shortest_delay_s((stream.first_time_s or 0.0) + FIRST_CLOCK_S) or 0.0
        if self._shared_delay_s is not None:
            delay_s -= self._shared_delay_s
            delay_s = 0.0 if abs(delay_s) <= SAME_CLOCK_S else delay_s
        self.shift_s[placement] = delay_s - self._zero_s
