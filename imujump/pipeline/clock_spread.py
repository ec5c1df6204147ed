"""What the uncertainty between sensors' clocks adds to an attempt's estimates.

A duration within one sensor does not feel it. One between two sensors does in full; what the
pelvis did when a foot struck does by how fast it changes then.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from imujump.model import Attempt, Estimate, FloatArray, Placement, Step
from imujump.pipeline import kinematics as kin
from imujump.pipeline.attempts import Jump
from imujump.pipeline.body import Body

PELVIS, LEFT, RIGHT = Placement.PELVIS, Placement.LEFT_SHANK, Placement.RIGHT_SHANK

SLOPE_S = 0.01
"""Half the span over which a quantity's change is taken (own choice)."""


def with_clock_spread(
    attempt: Attempt,
    body: Body,
    jump: Jump,
    sigma_s: Mapping[Placement, float],
    gravity_mps2: float,
) -> Attempt:
    """Widen an attempt's standard deviations.

    Parameters
    ----------
    attempt : Attempt
        Measured as if all sensors shared a clock.
    body, jump
        What it was measured from.
    sigma_s : mapping of Placement to float
        Each sensor's part of the standard deviation between two clocks; all zero when they
        share one, and the attempt is returned as it is.
    gravity_mps2 : float
        Local gravity.
    """
    if not any(sigma_s.values()):
        return attempt
    spread = _Spread(body, jump, sigma_s)
    added = {**spread.times(), **spread.pelvis()}
    values = {name: e.value for name, e in attempt.metrics.items() if e.value is not None}
    flight, contact = added.get("flight_s", 0.0), added.get("take_off_contact_s", 0.0)
    if "flight_s" in values:
        added["height_flight_m"] = gravity_mps2 * values["flight_s"] / 4.0 * flight
    if "reactive_ratio" in values:
        shares = (flight / values["flight_s"], contact / values["take_off_contact_s"])
        added["reactive_ratio"] = values["reactive_ratio"] * math.hypot(*shares)
    if "height_velocity_m" in values:
        rise = values["take_off_vertical_mps"] / gravity_mps2
        added["height_velocity_m"] = rise * added.get("take_off_vertical_mps", 0.0)
    legs = spread.apart_s(LEFT, RIGHT)
    # Feet are placed under the pelvis when they touch: it moves on meanwhile.
    moved_m = legs * values.get("approach_speed_mps", 0.0)
    added |= {"last_step_m": moved_m, "penultimate_step_m": moved_m}
    last, before = values.get("last_step_m"), values.get("penultimate_step_m")
    if last and before and "last_step_ratio" in values:
        added["last_step_ratio"] = values["last_step_ratio"] * math.hypot(
            added["last_step_m"] / last, added["penultimate_step_m"] / before
        )
    metrics = {name: _wider(e, added.get(name, 0.0)) for name, e in attempt.metrics.items()}
    events = tuple(
        replace(e, sigma_s=math.hypot(e.sigma_s, sigma_s.get(e.side.shank, 0.0)))
        for e in attempt.events
    )
    return replace(
        attempt,
        metrics=metrics,
        events=events,
        steps=tuple(_wider_step(step, legs) for step in attempt.steps),
    )


class _Spread:
    """Additions in the metrics' own units."""

    def __init__(self, body: Body, jump: Jump, sigma_s: Mapping[Placement, float]) -> None:
        self._body, self._jump, self._sigma_s = body, jump, sigma_s
        last = max(jump.plant, key=lambda c: c.toe_off or 0.0, default=None)
        timed = jump.pelvis_timed
        self._leaves = PELVIS if timed or last is None else last.side.shank
        self._lands = PELVIS if timed or not jump.landings else jump.landings[0].side.shank
        self._plants = jump.plant[0].side.shank if jump.plant else self._leaves

    def apart_s(self, one: Placement, other: Placement) -> float:
        """Standard deviation between two sensors' clocks."""
        if one is other:
            return 0.0
        return math.hypot(self._sigma_s.get(one, 0.0), self._sigma_s.get(other, 0.0))

    def times(self) -> dict[str, float]:
        """Durations."""
        legs = self.apart_s(LEFT, RIGHT)
        free = RIGHT if self._plants is LEFT else LEFT
        return {
            "flight_s": self.apart_s(self._leaves, self._lands),
            "take_off_contact_s": self.apart_s(self._plants, self._leaves),
            "free_leg_lead_s": self.apart_s(free, self._leaves),
            **dict.fromkeys(
                ("plant_interval_s", "landing_interval_s", "last_step_s", "penultimate_step_s"),
                legs,
            ),
        }

    def pelvis(self) -> dict[str, float]:
        """What the pelvis showed at a foot's instant."""
        if PELVIS not in self._body.paths:
            return {}
        body, jump = self._body, self._jump
        path = body.paths[PELVIS]
        speed, height = kin.pelvis_speed(body), kin.pelvis_height(body)
        leaves = self.apart_s(PELVIS, self._leaves)
        off = leaves * self._slope(speed, jump.toe_off)
        added = {
            "take_off_speed_mps": off,
            "take_off_vertical_mps": leaves * self._slope(path.velocity_mps[:, 2], jump.toe_off),
        }
        begin = jump.toe_off
        if jump.plant_strike is not None:
            begin = jump.plant_strike
            plants = self.apart_s(PELVIS, self._plants)
            at_plant = plants * self._slope(speed, begin)
            sinking = plants * self._slope(height, begin)
            tilting = plants * float(np.linalg.norm(kin.at(path.gyro_radps, begin)))
            added |= {
                "plant_speed_mps": at_plant,
                "speed_loss_mps": math.hypot(at_plant, off),
                "plant_lowering_m": sinking,
                "plant_sink_m": sinking,
                "pelvis_tilt_rad": tilting,
            }
        rates = [float(np.linalg.norm(kin.at(path.gyro_radps, k))) for k in (begin, jump.landing)]
        pairs = (self.apart_s(PELVIS, self._plants), self.apart_s(PELVIS, self._lands))
        return {**added, "turn_rad": math.hypot(rates[0] * pairs[0], rates[1] * pairs[1])}

    def _slope(self, values: FloatArray, index: float) -> float:
        """Change per second about a sample number."""
        reach = SLOPE_S / self._body.step_s
        ends = [float(kin.at(values, k)) for k in (index - reach, index + reach)]
        return abs(ends[1] - ends[0]) / (2.0 * SLOPE_S)


def _wider(estimate: Estimate, added: float) -> Estimate:
    if estimate.sigma is None or not added:
        return estimate
    return replace(estimate, sigma=math.hypot(estimate.sigma, added))


def _wider_step(step: Step, legs_s: float) -> Step:
    speed = step.speed_mps.value or 0.0
    return replace(
        step, time_s=_wider(step.time_s, legs_s), length_m=_wider(step.length_m, legs_s * speed)
    )
