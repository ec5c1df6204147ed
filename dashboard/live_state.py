"""The running capture as the page knows it: feet, strip, sensors, now. Belongs to the loop."""

from __future__ import annotations

from collections import deque
from typing import Any

STRIP_S = 8.0
FEET_KEPT = 80


class LiveState:
    """Takes what the capture tells; gives the whole, or what is new."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.sensors: list[dict[str, Any]] = []
        self.warnings: list[str] = []
        self.recording: dict[str, Any] | None = None
        self._feet: dict[int, dict[str, Any]] = {}
        self._strip: dict[str, deque[list[float]]] = {}

    def take_state(self, state: dict[str, Any], missed: bool) -> bool:
        """Take the capture's state; return whether something rare has changed."""
        self.now_s = state.get("now_s", self.now_s)
        sensors, recording = state.get("sensors", []), state.get("recording")
        warnings = state.get("warnings", [])
        said = [each.get("sentence") for each in self.sensors]
        rare = (
            warnings != self.warnings
            or [each.get("sentence") for each in sensors] != said
            or (recording or {}).get("sentence") != (self.recording or {}).get("sentence")
        )
        self.sensors, self.warnings, self.recording = sensors, warnings, recording
        if missed or not self._feet:
            for foot in state.get("events", []):
                self._enter(foot)
        return rare

    def take_foot(self, foot: dict[str, Any]) -> None:
        """Take a foot event as it was told, or told anew."""
        if foot["standing"] == "withdrawn":
            self._feet.pop(foot["number"], None)
        else:
            self._enter(foot)

    def take_strip(self, points: dict[str, list[list[float]]]) -> None:
        """Take new points of the strip."""
        for placement, new in points.items():
            kept = self._strip.setdefault(placement, deque())
            kept.extend(new)
            while kept and kept[-1][0] - kept[0][0] > STRIP_S:
                kept.popleft()

    def moving(self) -> dict[str, Any]:
        """What changes all the time."""
        return {
            "now_s": self.now_s,
            "sensors": self.sensors,
            "recording": self.recording,
            "warnings": self.warnings,
        }

    def whole(self) -> dict[str, Any]:
        """Everything, for a viewer who has just come or lagged."""
        return {
            **self.moving(),
            "feet": [self._feet[number] for number in sorted(self._feet)],
            "strip": {placement: list(points) for placement, points in self._strip.items()},
        }

    def _enter(self, foot: dict[str, Any]) -> None:
        self._feet[foot["number"]] = foot
        while len(self._feet) > FEET_KEPT:
            del self._feet[min(self._feet)]
