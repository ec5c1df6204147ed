"""How a sensor is doing, counted from its packets: for a source that does not know, as a replay."""

from __future__ import annotations

import contextlib
from collections import deque
from dataclasses import replace

from imujump.capture.events import SensorState
from imujump.recording.format import StatusChange, StatusKind
from imujump.recording.row_file import RecordedSensor

RATE_SPAN_S = 3.0
"""Span over which a sensor's rate is measured (own choice)."""


class SensorTally:
    """Counts of one sensor, for a source that keeps none."""

    def __init__(self, sensor: RecordedSensor) -> None:
        self._state = SensorState(sensor.serial, sensor.serial, sensor.placement, True)
        self._recent: deque[tuple[float, int]] = deque()

    def count(self, arrival_s: float, samples: int) -> None:
        """Count a packet that came."""
        self._recent.append((arrival_s, samples))
        self._state = replace(
            self._state, linked=True, packets=self._state.packets + 1, last_arrival_s=arrival_s
        )

    def note(self, row: StatusChange) -> None:
        """Take what a status row tells of link and battery."""
        if row.kind is StatusKind.DROP:
            self._state = replace(self._state, linked=False)
        elif row.kind is StatusKind.BATTERY:
            with contextlib.suppress(ValueError):
                charge = int("".join(filter(str.isdigit, row.detail)))
                self._state = replace(self._state, battery_percent=charge)

    def state(self, now_s: float) -> SensorState:
        """How the sensor is doing at an instant of the session."""
        while self._recent and self._recent[0][0] < now_s - RATE_SPAN_S:
            self._recent.popleft()
        rate_hz = None
        if len(self._recent) > 1:
            # The first packet's samples were measured before the span began.
            span_s = self._recent[-1][0] - self._recent[0][0]
            samples = sum(count for _, count in self._recent) - self._recent[0][1]
            rate_hz = samples / span_s if span_s > 0.0 else None
        return replace(self._state, rate_hz=rate_hz)
