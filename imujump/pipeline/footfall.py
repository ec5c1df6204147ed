"""Foot contacts of a whole short recording, whether anyone jumps in it or not."""

from __future__ import annotations

import math

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import SampleSource
from imujump.pipeline.clock import SessionClock
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
    for batch in source.batches():
        streams[batch.placement].append(batch)
    for stream in streams.values():
        stream.settle()
    clock = SessionClock()
    if not clock.start(streams, dict.fromkeys(streams, math.inf)):
        return None
    span = Span(0.0, max(clock.ends_s(streams).values()), True, 0.0, math.inf, gravity_mps2)
    on_clock = {p: streams[p] for p in clock.shift_s}
    return footfalls(span, on_clock, clock.shift_s)
