"""What the engine knows of one sensor, and how long it waits for it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from imujump.pipeline.clock import LATE_S
from imujump.pipeline.screening import Look, Looks
from imujump.pipeline.streams import SensorStream
from imujump.pipeline.upkeep import Upkeep

DROP_S = 15.0
"""A sensor that falls silent is waited for this long: a link that drops for ten seconds comes back
within, and the sensor has kept what it measured (own choice: a late attempt is worth more than one
with a hole). One that stays away is waited for once; it must be back before it is again."""


@dataclass(slots=True)
class SensorFollowed:
    """One sensor's state.

    ``horizon_s`` is the arrival before which all has been pushed; ``absent_since_s`` that of the
    first look in a row that was decided without the sensor, None while it is there.
    """

    stream: SensorStream
    looks: Looks
    upkeep: Upkeep
    horizon_s: float = -math.inf
    absent_since_s: float | None = None

    def waited_for_s(self, arrival_s: float) -> float:
        """Arrival until which its part of a look counts that was complete at ``arrival_s``."""
        since_s = arrival_s if self.absent_since_s is None else self.absent_since_s
        return max(arrival_s + LATE_S, since_s + DROP_S)

    def takes_part(self, found: Look | None, arrival_s: float) -> bool:
        """Decide whether its part of a look came in time, and remember it.

        All depends on recorded arrivals in the order of looks, so a replay decides alike.
        """
        if found is not None and (
            found.arrival_s <= arrival_s or found.arrival_s <= self.waited_for_s(arrival_s)
        ):
            self.absent_since_s = None
            return True
        if self.absent_since_s is None:
            self.absent_since_s = arrival_s
        return False
