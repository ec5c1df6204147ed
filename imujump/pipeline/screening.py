"""Coarse look at each sensor's stream, ten times a second: still, moving, weightless.

Each look depends on the samples of its own short span alone and is formed in the same order of
operations wherever a batch ends, so a stream gives the same looks however it is cut.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from imujump.model import BoolArray, FloatArray, IntArray
from imujump.pipeline.clock_course import ClockCourse
from imujump.pipeline.stillness import STILL_ACCEL_MPS2, STILL_RATE_RADPS
from imujump.pipeline.streams import ROUNDING_S, SensorStream, repeats

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

RATE_SLACK = 0.25
"""Share by which a sensor's true rate may differ from its nominal one (own choice)."""

LOOKS_AT_ONCE = 256
"""Looks formed in one go: keeps memory flat when much is received at once (own choice)."""


class Look(NamedTuple):
    """One look; its fields are explained at :class:`Looks`."""

    still: bool
    seen: bool
    force_mps2: float
    arrival_s: float


UNSEEN = Look(False, False, float("inf"), float("inf"))


@dataclass(slots=True)
class Looks:
    """Looks at one sensor so far, look k at k times 0.1 s.

    ``seen`` tells whether there were enough samples and not one value over and over, ``still``
    whether they were still, ``force_mps2`` the length of their mean specific force,
    ``arrival_s`` when the look was complete: the arrival of the first sample past its span. Old
    looks may be dropped; ``dropped`` counts them.
    """

    dropped: int = 0
    _rows: list[Look] = field(default_factory=list)

    def add(self, look: Look) -> None:
        """Add the next look."""
        self._rows.append(look)

    def extend(self, looks: list[Look]) -> None:
        """Add the next looks."""
        self._rows.extend(looks)

    def add_unseen(self) -> None:
        """Add a look at nothing, which no sample completes."""
        self._rows.append(UNSEEN)

    def skip_to(self, k: int) -> None:
        """Let look k be the next, as if all before it had been dropped."""
        self._rows.clear()
        self.dropped = k

    def drop_before(self, k: int) -> None:
        """Forget looks before the k-th, in lumps."""
        if k - self.dropped > LOOKS_AT_ONCE:
            del self._rows[: k - self.dropped]
            self.dropped = k

    def at(self, k: int) -> Look | None:
        """Return look k, None while there is none."""
        place = k - self.dropped
        if 0 <= place < len(self._rows):
            return self._rows[place]
        return self[k] if place < 0 else None

    def __getitem__(self, k: int) -> Look:
        """Return look k, which must not have been dropped."""
        if k < self.dropped:
            raise IndexError(f"k is {k}, looks before {self.dropped} have been dropped")
        return self._rows[k - self.dropped]

    def __len__(self) -> int:
        """Number of looks so far, dropped ones included."""
        return self.dropped + len(self._rows)


def look(stream: SensorStream, looks: Looks, course: ClockCourse) -> None:
    """Add all looks that the samples received so far complete.

    Parameters
    ----------
    stream : SensorStream
        Samples; those of the spans must still be held.
    looks : Looks
        Extended in place.
    course : ClockCourse
        Where looks lie in device time, laid up to the last sample.
    """
    if stream.last_time_s is None:
        return
    until_s = course.session_s(stream.last_time_s) - SPAN_S / 2
    last = int(np.floor((until_s + ROUNDING_S) / LOOK_S))
    for first in range(len(looks), last + 1, LOOKS_AT_ONCE):
        numbers = np.arange(first, min(first + LOOKS_AT_ONCE - 1, last) + 1)
        looks.extend(_looks(stream, course.device_s(LOOK_S * numbers.astype(np.float64))))


def _looks(stream: SensorStream, centres: FloatArray) -> list[Look]:
    """Form looks about device times (n,), as far as they are complete."""
    time, values, arrival = stream.kept()
    # Spans begin a little early, so that rounding cannot move a sample from one to the next.
    starts = centres - SPAN_S / 2 - ROUNDING_S
    oldest = int(np.searchsorted(time, starts[0]))
    time, values, arrival = time[oldest:], values[oldest:], arrival[oldest:]
    closing = np.searchsorted(time, starts + SPAN_S)
    closing = closing[closing < len(time)]
    complete_s = arrival[closing]
    begin, end = np.searchsorted(time, starts[: len(closing)]), closing
    finite = np.isfinite(values)
    if not finite.all():
        whole = finite.all(axis=1)
        position = np.concatenate(((0,), np.cumsum(whole)))
        begin, end, values = position[begin], position[end], values[whole]
    count = end - begin
    nominal = SPAN_S * stream.info.rate_hz
    seen: BoolArray = count >= max(1.0, (1.0 - RATE_SLACK) * nominal)
    same = np.concatenate(((0,), np.cumsum(repeats(values))))
    repeated = same[end] - same[np.minimum(begin + 1, len(values))]
    seen &= repeated < np.maximum(count - 1, 1)
    # One sum a span: the order of addition, and so the last bit, depends on its samples alone.
    channels = np.zeros((6, len(values) + 1))
    channels[:, :-1] = values.T
    number = np.maximum(count, 1)
    mean = _sums(channels, begin, end) / number
    square = _sums(channels * channels, begin, end) / number
    length = (mean[:3] ** 2).sum(axis=0)
    spread, rate = square[:3].sum(axis=0) - length, square[3:].sum(axis=0)
    still = seen & (spread < STILL_ACCEL_MPS2**2) & (rate < STILL_RATE_RADPS**2)
    force = np.where(seen, np.sqrt(length), np.inf)
    columns = (still, seen, force, complete_s)
    return list(map(Look._make, zip(*(c.tolist() for c in columns), strict=True)))


def _sums(channels: FloatArray, begin: IntArray, end: IntArray) -> FloatArray:
    """Sums of rows (6, n) from each begin up to its end, none at the last place (6, spans)."""
    if not len(begin):
        return np.zeros((len(channels), 0))
    edges = np.stack((begin, end), axis=1).ravel()
    return np.add.reduceat(channels, edges, axis=1)[:, ::2]
