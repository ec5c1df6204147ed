"""A packet as a sensor sent it, with its place and arrival: what is captured and recorded."""

from __future__ import annotations

from dataclasses import dataclass

from imujump.model import Placement


@dataclass(frozen=True, slots=True)
class CapturedPacket:
    """A live or replayed packet as received.

    ``arrival_s`` is the host's monotonic time from the session's start, in whole
    microseconds and different from that of everything else captured, so that arrivals
    order a recording. ``data`` are the bytes as received.
    """

    placement: Placement
    arrival_s: float
    data: bytes
