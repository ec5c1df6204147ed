"""Coarse look at each sensor's stream, ten times a second: still, moving, weightless.

Each look depends on the samples of its own short span alone and is formed in the same order of
operations wherever a batch ends, so a stream gives the same looks in any chunking.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from imujump.model import BoolArray, FloatArray
from imujump.pipeline.stillness import STILL_ACCEL_MPS2, STILL_RATE_RADPS
from imujump.pipeline.streams import SensorStream

LOOK_S = 0.1
"""Time between two looks."""

SPAN_S = 0.24
"""Length of the span that a look averages: shorter than any jump's flight, longer than the
flight of a running step."""

WEIGHTLESS_PELVIS_MPS2 = 3.5
"""Mean specific force of a pelvis in flight stays below this, with legs swinging (own choice,
from simulated and recorded jumps: up to 3); a run's mean over the span stays above 4."""

WEIGHTLESS_SHANK_MPS2 = 8.0
"""The same for a shank, which swings by itself: only a hint (own choice)."""


@dataclass(slots=True)
class Looks:
    """Looks at one sensor so far, look k at k times 0.1 s.

    ``seen`` tells whether there were enough samples, ``still`` whether they were still,
    ``force_mps2`` the length of their mean specific force, ``arrival_s`` when the last of
    them arrived.
    """

    still: list[bool] = field(default_factory=list)
    force_mps2: list[float] = field(default_factory=list)
    seen: list[bool] = field(default_factory=list)
    arrival_s: list[float] = field(default_factory=list)

    def add_unseen(self, count: int = 1) -> None:
        """Add looks at nothing."""
        self.still.extend([False] * count)
        self.force_mps2.extend([np.inf] * count)
        self.seen.extend([False] * count)
        self.arrival_s.extend([np.inf] * count)

    def __len__(self) -> int:
        return len(self.seen)


def look(stream: SensorStream, looks: Looks, origin_s: float, until_s: float) -> None:
    """Add all looks whose span ends before ``until_s``.

    Parameters
    ----------
    stream : SensorStream
        Samples; those of the spans must still be held.
    looks : Looks
        Extended in place.
    origin_s, until_s : float
        Device time of look 0, and device time up to which the stream is complete.
    """
    first = len(looks)
    last = int(np.floor((until_s - origin_s - SPAN_S / 2) / LOOK_S - 1e-9))
    if last < first:
        return
    time, values, arrival = stream.kept()
    width = max(4, round(SPAN_S * stream.info.rate_hz))
    whole = np.isfinite(values).all(axis=1)
    time, values, arrival = time[whole], values[whole], arrival[whole]
    centres = origin_s + LOOK_S * np.arange(first, last + 1)
    begin = np.searchsorted(time, centres - SPAN_S / 2)
    fits = begin + width <= len(time)
    begin = np.where(fits, begin, 0)
    if len(time) < width:
        looks.add_unseen(len(centres))
        return
    rows = begin[:, None] + np.arange(width)
    # Channels first, so that every mean runs along contiguous memory of one fixed length.
    part = np.ascontiguousarray(np.moveaxis(values[rows], 2, 1))
    mean: FloatArray = part.mean(axis=2)
    spread = np.sqrt(((part - mean[:, :, None]) ** 2).mean(axis=2))
    rate = np.sqrt((part[:, 3:] ** 2).mean(axis=2))
    end = time[begin + width - 1]
    seen: BoolArray = fits & (end - time[begin] < 1.25 * SPAN_S)
    seen &= np.abs(0.5 * (end + time[begin]) - centres) < 0.5 * SPAN_S
    still = np.linalg.norm(spread[:, :3], axis=1) < STILL_ACCEL_MPS2
    still &= np.linalg.norm(rate, axis=1) < STILL_RATE_RADPS
    looks.still.extend((still & seen).tolist())
    force = np.where(seen, np.linalg.norm(mean[:, :3], axis=1), np.inf)
    looks.force_mps2.extend(force.tolist())
    looks.seen.extend(seen.tolist())
    looks.arrival_s.extend(arrival[begin + width - 1].tolist())
