"""Foot contacts of a whole short recording, whether anyone jumps in it or not."""

from __future__ import annotations

import math

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import ClockReading, SampleSource
from imujump.pipeline.clock import SessionClock
from imujump.pipeline.feeding import entries
from imujump.pipeline.streams import SensorStream
from imujump.pipeline.windows import Footfalls, Span, footfalls


def footfalls_of(
    source: SampleSource, gravity_mps2: float = STANDARD_GRAVITY_MPS2
) -> Footfalls | None:
    """Foot contacts of a short recording, standing first, whether anyone jumps or not.

    The whole recording is held in memory and solved as one: minutes, not hours. None when
    no shank sensor was worn or too little was received.
    """
    streams = {s.placement: SensorStream(s) for s in source.info.sensors}
    clock = SessionClock(source.info.sensors)
    for entry in entries(source):
        if isinstance(entry, ClockReading):
            clock.read(entry)
        else:
            streams[entry.placement].append(entry)
    for placement, stream in streams.items():
        received = stream.settle()
        if received is not None:
            clock.take(placement, received)
    if not clock.start(streams, dict.fromkeys(streams, math.inf)):
        return None
    span = Span(0.0, max(clock.ends_s(streams).values()), True, 0.0, math.inf, gravity_mps2)
    on_clock = {p: streams[p] for p in clock.courses}
    return footfalls(span, on_clock, clock.lines(math.inf, streams))
