"""A jump from standing: down, up, flight, landing on both feet, and back to standing.

The hands stay on the hips, so nothing is lifted against the pelvis by the arms.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Side
from imujump.simulate.body import Body, side_sign
from imujump.simulate.landing import BALL_FIRST_RAD, LANDING_IMPACT_SHARE
from imujump.simulate.script import Script
from imujump.simulate.take_off import TAKE_OFF_REACH_SHARE, TAKE_OFF_RISE_RAD

G = STANDARD_GRAVITY_MPS2

DOWN_S = 0.55
"""From standing to the lowest point (common practice, no source)."""

MEAN_SPEED_SHARE = 0.52
"""Mean over greatest speed of the push (own choice: over half, the push starts hard)."""

BOTTOM_MPS2 = 9.0
"""Acceleration upwards at the lowest point (own choice: nearly twice the body's weight)."""

LANDED_DEEP_S = 0.16
"""From touchdown to the lowest point of the landing (own choice)."""


@dataclass(frozen=True, slots=True)
class StandingJump:
    """Counter-movement jump with the hands on the hips.

    Attributes
    ----------
    take_off_vertical_mps : float
        Upward speed at toe-off, 1.4 to 3.6.
    depth_m : float
        How far the hips go down first, 0.1 to 0.4.
    landing_drop_m : float
        Centre of mass lower at landing than at toe-off.
    landing_lag_s : float
        Between the two feet's touchdowns, left first when positive.
    """

    take_off_vertical_mps: float = 2.4
    depth_m: float = 0.28
    landing_drop_m: float = 0.03
    landing_lag_s: float = 0.006

    def __post_init__(self) -> None:
        for name, low, high in (("take_off_vertical_mps", 1.4, 3.6), ("depth_m", 0.1, 0.4)):
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} is {value}, must lie within {low} and {high}")

    @property
    def flight_s(self) -> float:
        """Last toe-off to first landing contact."""
        up = self.take_off_vertical_mps
        return (up + math.sqrt(up**2 + 2.0 * G * self.landing_drop_m)) / G

    def toe_off_height_m(self, body: Body) -> float:
        """Height of the centre of mass at toe-off, as :class:`Knot` counts it."""
        c, s = math.cos(TAKE_OFF_RISE_RAD), math.sin(TAKE_OFF_RISE_RAD)
        ankle_m = body.ball_m * s + body.ankle_height_m * c
        forward_m = body.ball_m * (1.0 - c) + body.ankle_height_m * s - body.ankle_behind_m
        reach_m = TAKE_OFF_REACH_SHARE * body.leg_m
        return ankle_m + math.sqrt(reach_m**2 - forward_m**2)

    def push_s(self, body: Body) -> float:
        """Lowest point to toe-off."""
        way_m = self.toe_off_height_m(body) - (body.standing_hip_m - self.depth_m)
        return way_m / (MEAN_SPEED_SHARE * self.take_off_vertical_mps)

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block."""
        body, up = script.body, self.take_off_vertical_mps
        stand_m, leave_m = body.standing_hip_m, self.toe_off_height_m(body)
        half, behind = script.stance_half_m, body.ankle_behind_m
        begin = script.time_s + 0.05
        low = begin + DOWN_S
        leave = low + self.push_s(body)
        land = leave + self.flight_s
        down = up - G * self.flight_s
        script.knot(begin, (0.0, 0.0, stand_m))
        script.turn(begin)
        script.knot(low, (0.0, 0.0, stand_m - self.depth_m), acceleration_mps2=(0, 0, BOTTOM_MPS2))
        script.turn(low, 0.0, 0.35)
        script.knot(leave, (0.0, 0.0, leave_m), (0.0, 0.0, up), (0.0, 0.0, -G))
        script.turn(leave, 0.0, 0.03)
        script.turn(land, 0.0, 0.08)
        # One foot leaves a little before the other, as nobody is quite even.
        earlier = Side.LEFT if generator.random() < 0.5 else Side.RIGHT
        first = Side.LEFT if self.landing_lag_s >= 0.0 else Side.RIGHT
        for side in Side:
            y = side_sign(side) * half
            lead_s = 0.004 if side is earlier else 0.0
            script.lift(side, leave - lead_s, 0.12, TAKE_OFF_RISE_RAD)
            for share in (0.30, 0.70):
                at = share * self.flight_s
                hip_m = leave_m + up * at - 0.5 * G * at**2
                script.via(side, leave + at, -behind, y, hip_m - 0.93 * body.leg_m)
            late_s = 0.0 if side is first else max(0.003, abs(self.landing_lag_s))
            script.strike(
                side,
                land + late_s,
                -behind,
                y,
                pitch_rad=BALL_FIRST_RAD,
                settle_s=0.075,
                impact_mps=LANDING_IMPACT_SHARE * -down,
            )
        script.knot(
            land, (0.0, 0.0, leave_m - self.landing_drop_m), (0.0, 0.0, down), (0.0, 0.0, -G)
        )
        script.shock(land + 0.004, 0.03, 0.12 * -down)
        deep_m = leave_m - self.landing_drop_m + 0.40 * down * LANDED_DEEP_S
        script.knot(land + LANDED_DEEP_S, (0.0, 0.0, deep_m), acceleration_mps2=(0.0, 0.0, 9.0))
        script.turn(land + 0.2, 0.0, 0.22)
        script.arrive(land + 0.9, 0.0, 0.0)
