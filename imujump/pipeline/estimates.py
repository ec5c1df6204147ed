"""Estimates of one attempt as they come together, each with sigma and method or a reason."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from imujump.model import Estimate, FloatArray, Placement, Side
from imujump.pipeline import kinematics as kin
from imujump.pipeline.attempts import Jump
from imujump.pipeline.body import Body, Window

SPEED_FLOOR_MPS = 0.03
"""Own choice: soft tissue and belt under the pelvis sensor."""

GAP_REACH_S = 0.025
"""Samples missing within this of an event make its time unknown (own choice)."""


@dataclass(slots=True)
class Sheet:
    """Collects estimates; every name not filled gets the reason at hand."""

    window: Window
    body: Body
    jump: Jump
    metrics: dict[str, Estimate] = field(default_factory=dict)

    def put(self, name: str, value: float, sigma: float, method: str) -> None:
        """Fill in a value with its standard deviation."""
        if np.isfinite(value) and np.isfinite(sigma):
            self.metrics[name] = Estimate(float(value), float(sigma), None, method)
        else:
            self.metrics[name] = none("the signals gave no finite value", method)

    def lack(self, name: str, reason: str) -> None:
        """Say why there is no value, unless one was given."""
        self.metrics.setdefault(name, none(reason, "not measured"))


def none(reason: str, method: str = "not measured") -> Estimate:
    """Build an estimate without a value."""
    return Estimate(None, None, reason, method)


def why_lost(sheet: Sheet, side: Side, index: float) -> str | None:
    """Reason when samples of a shank are missing around an event."""
    sensor = sheet.window.sensors[side.shank]
    reach = GAP_REACH_S / sheet.body.step_s
    part = sensor.missing[int(max(index - reach, 0)) : int(index + reach) + 1]
    if part.any():
        return f"samples of the {side} shank are missing at the event"
    return None


def travel(sheet: Sheet, start: float, end: float) -> FloatArray:
    """Horizontal direction of travel of the pelvis, or the mean shank, between two samples."""
    paths = sheet.body.paths
    if Placement.PELVIS in paths:
        position = sheet.body.joint_position(Placement.PELVIS)
    else:
        position = np.mean([path.position_m for path in paths.values()], axis=0)
    return kin.horizontal(kin.at(position, end) - kin.at(position, max(start, 0.0)))
