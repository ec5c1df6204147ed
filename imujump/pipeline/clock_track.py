"""What is known of one sensor's clock so far, and what was known at any earlier instant.

Packets leave one row a second, the shortest delay in it; readings stay as they are. Memory
does not grow past :data:`TRACK_S`. What was known at an instant of the host's clock is what had
arrived by then, however it was cut into batches.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, field, replace

import numpy as np

from imujump.model import ClockReading, FloatArray
from imujump.pipeline.clock_fit import ClockFit, Evidence, fit_clock
from imujump.pipeline.streams import SensorStream

TRACK_S = 600.0
"""Length of stream that a fit looks back on: long enough for packets to drift through a
connection interval, short enough for a crystal that warms up (own choice: 2 ppm in ten minutes
bend its course by 0.1 ms)."""

ROW_S = 1.0
"""Length of stream that leaves one row (own choice: some twenty packets)."""


@dataclass(slots=True)
class ClockTrack:
    """Rows and readings of one sensor's clock.

    ``_rows`` holds device time, arrival, arrival of the packet that closed the row, segment;
    ``_asked`` host time before and after, tick, segment. The last row is open.
    """

    _rows: list[tuple[float, float, float, int]] = field(default_factory=list)
    _asked: list[tuple[float, float, int, int]] = field(default_factory=list)
    _open: tuple[int, float, float, int] | None = None

    def was_read(self, arrival_s: float) -> bool:
        """Whether the sensor's clock had been read by an instant of the host's clock."""
        return bool(self._asked) and self._asked[0][1] <= arrival_s

    def unsteady_s(self, arrival_s: float) -> float:
        """Range of the rows' shortest delays, of those known by then."""
        delays = [row[1] - row[0] for row in self._rows if row[2] <= arrival_s]
        return max(delays, default=0.0) - min(delays, default=0.0)

    def __len__(self) -> int:
        """Number of rows and readings held."""
        return len(self._rows) + len(self._asked)

    def read(self, reading: ClockReading) -> None:
        """Take in a reading.

        Raises
        ------
        ValueError
            If the answer came before the question, or before that of an earlier reading.
        """
        if not reading.sent_s <= reading.received_s:
            raise ValueError(
                f"{reading.placement}: a clock reading was received at {reading.received_s} s, "
                f"before it was sent at {reading.sent_s} s"
            )
        if self._asked and reading.received_s < self._asked[-1][1]:
            raise ValueError(
                f"{reading.placement}: clock readings fall from {self._asked[-1][1]} s to "
                f"{reading.received_s} s; hand them over in order"
            )
        self._asked.append((reading.sent_s, reading.received_s, reading.tick, reading.segment))

    def take(self, time_s: FloatArray, arrival_s: FloatArray, segment: int) -> None:
        """Take in the device times and arrivals (n,) of samples of one segment, in order."""
        second = np.floor(time_s / ROW_S).astype(np.int64)
        edges = np.flatnonzero(np.diff(second)) + 1
        starts = np.concatenate(((0,), edges))
        delay = arrival_s - time_s
        for first, end in zip(starts.tolist(), [*edges.tolist(), len(second)], strict=True):
            best = first + int(np.argmin(delay[first:end]))
            row = (int(second[first]), float(time_s[best]), float(arrival_s[best]), segment)
            if self._open is not None:
                number, time, arrival, of = self._open
                if number == row[0] and of == segment:
                    if arrival - time <= row[2] - row[1]:
                        continue
                else:
                    self._rows.append((time, arrival, float(arrival_s[first]), of))
            self._open = row

    def known_at(self, arrival_s: float, stream: SensorStream) -> tuple[Evidence, int] | None:
        """What had arrived before an instant of the host's clock, and its segment.

        What came at that very instant may have been handed over only in part. Only the latest
        segment that has left a row counts; None before the first row.
        """
        rows = self._rows[: bisect_left(self._rows, arrival_s, key=lambda row: row[2])]
        if not rows:
            return None
        segment = rows[-1][3]
        oldest_s = rows[-1][0] - TRACK_S
        arrived = [row[:2] for row in rows if row[3] == segment and row[0] > oldest_s]
        asked = [
            (stream.device_s(tick, of), sent_s, received_s)
            for sent_s, received_s, tick, of in self._asked
            if of == segment and received_s < arrival_s
        ]
        asked = [reading for reading in asked if reading[0] > oldest_s]
        return Evidence(np.array(asked).reshape(-1, 3), np.array(arrived)), segment

    def fit(self, arrival_s: float, stream: SensorStream) -> ClockFit | None:
        """Fit the clock to what had arrived by then; None before the first row."""
        known = self.known_at(arrival_s, stream)
        return None if known is None else replace(fit_clock(known[0]), segment=known[1])

    def drop_before(self, time_s: float) -> None:
        """Forget what no fit at or after a device time looks back on, in lumps."""
        oldest_s = time_s - TRACK_S - ROW_S
        if self._rows and self._rows[0][0] < oldest_s - 0.1 * TRACK_S:
            self._rows = [row for row in self._rows if row[0] >= oldest_s]
            first_s = self._rows[0][1] if self._rows else float("inf")
            self._asked = [reading for reading in self._asked if reading[1] >= first_s]
