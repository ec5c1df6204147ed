"""A recording's samples and clock readings, handed over in order of arrival."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Protocol

from imujump.model import ClockReading, SampleBatch, SampleSource, TimedSource

TOLD_EVERY_S = 0.5
"""A taker is told this often which packets have all been handed over."""


class Taker(Protocol):
    """What takes a recording: the engine."""

    def push(self, batch: SampleBatch) -> object:
        """Take samples."""
        ...

    def read_clock(self, reading: ClockReading) -> None:
        """Take a clock reading."""
        ...

    def advance(self, arrival_s: float) -> object:
        """Know that all that arrived until then has been handed over."""
        ...


def entries(source: SampleSource) -> Iterator[SampleBatch | ClockReading]:
    """All samples of a source, and readings of its sensors' clocks if it has any."""
    return source.timeline() if isinstance(source, TimedSource) else source.batches()


def feed(taker: Taker, source: SampleSource) -> None:
    """Hand a whole source over."""
    told_s = -math.inf
    for entry in entries(source):
        if isinstance(entry, ClockReading):
            taker.read_clock(entry)
            continue
        if entry.arrival_s > told_s + TOLD_EVERY_S:
            # Others of the same arrival may follow, earlier ones may not.
            told_s = entry.arrival_s
            taker.advance(math.nextafter(told_s, -math.inf))
        taker.push(entry)
