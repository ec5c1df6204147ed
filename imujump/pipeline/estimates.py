"""Estimates of one attempt as they come together, each with sigma and method or a reason."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from imujump.model import Estimate, FloatArray, Placement, Side
from imujump.pipeline import kinematics as kin
from imujump.pipeline.attempts import Jump
from imujump.pipeline.body import Body, Window
from imujump.pipeline.dark_spells import hidden

SPEED_FLOOR_MPS = 0.03
"""Own choice: soft tissue and belt under the pelvis sensor."""


@dataclass(slots=True)
class Sheet:
    """Collects estimates; every name not filled gets the reason at hand."""

    window: Window
    body: Body
    jump: Jump
    metrics: dict[str, Estimate] = field(default_factory=dict)
    withheld: dict[str, str] = field(default_factory=dict)

    def withhold(self, names: Iterable[str], reason: str) -> None:
        """Give these names no value, whatever is measured later."""
        for name in names:
            self.withheld.setdefault(name, reason)

    def put(self, name: str, value: float, sigma: float, method: str) -> None:
        """Fill in a value with its standard deviation, unless it is withheld."""
        if name in self.withheld:
            self.metrics[name] = none(self.withheld[name])
        elif np.isfinite(value) and np.isfinite(sigma):
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
    if hidden(sheet.window, side.shank, index):
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
