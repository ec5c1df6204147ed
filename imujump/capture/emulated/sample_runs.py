"""Cuts a feed into what goes into each packet: evenly spaced samples, without a gap."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from imujump.capture.emulated.feeds import SampleFeed
from imujump.model import FloatArray

LONGEST_GAP = 1.5
"""Two samples further apart than this many periods do not share a packet (own choice)."""

_FORGET_EVERY = 500
"""Runs between two occasions on which the feed may let go of old samples."""


def sample_runs(
    feed: SampleFeed,
    starts_s: Callable[[], float | None],
    wanted: Callable[[], int],
    begin_s: float,
) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Yield the instants (n,) and the values (n, 6) of one packet after the other.

    Parameters
    ----------
    feed : SampleFeed
        What is measured.
    starts_s : callable
        Instant of feed time 0, None while that is still open: until then the feed's first
        sample is held, as of an athlete who waits.
    wanted : callable
        Most samples in the next packet.
    begin_s : float
        Instant from which the sensor measures, of the same clock.
    """
    period_s = 1.0 / feed.rate_hz
    next_s = begin_s
    still = feed.values(0, 1)
    while starts_s() is None:
        count = wanted()
        times_s = np.asarray(next_s + np.arange(count) * period_s)
        yield times_s, np.repeat(still, count, axis=0)
        next_s += count * period_s
    start_s = starts_s() or 0.0
    wait_s = start_s + float(feed.times_s(0, 1)[0]) - next_s
    left = max(0, round(wait_s / period_s))
    # The last held samples are spaced a trifle differently, so that no gap is left.
    held_s = np.asarray(next_s + np.arange(left) * (wait_s / max(1, left)))
    while len(held_s):
        count = min(wanted(), len(held_s))
        yield held_s[:count], np.repeat(still, count, axis=0)
        held_s = held_s[count:]
    at = feed.first_from(max(0.0, next_s - start_s)) if wait_s < 0.0 else 0
    runs = 0
    while True:
        times_s = start_s + feed.times_s(at, wanted())
        breaks = np.flatnonzero(np.diff(times_s) > LONGEST_GAP * period_s)
        count = int(breaks[0]) + 1 if len(breaks) else len(times_s)
        yield times_s[:count], feed.values(at, count)
        at += count
        runs += 1
        if runs % _FORGET_EVERY == 0:
            feed.forget(at)
