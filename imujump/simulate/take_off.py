"""Plant and take-off of an approach jump, on one foot or two."""

from __future__ import annotations

import math

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import TakeOffStyle
from imujump.simulate.body import side_sign
from imujump.simulate.gait import (
    EARLIEST_SHARE,
    LATEST_SHARE,
    Runner,
    hump_centre,
    hump_rise_m,
)
from imujump.simulate.technique import ApproachJump, ReachError

G = STANDARD_GRAVITY_MPS2

TAKE_OFF_REACH_SHARE = 0.935
"""Hip to ankle over leg length at the toe-off of a jump (own choice: the rest is needed to
slow the opening knee)."""

TAKE_OFF_RISE_RAD = 0.80
"""Foot pitch at the toe-off of a jump, heel up (own choice: ankle well extended)."""

PUSH_CENTRE_SHARE = 0.775
LATEST_PUSH_SHARE = 0.69
"""A hard late push is centred here in the contact; at most half of the impulse may come from
it, which centres the whole at the second figure (own choice, still a force that pushes)."""


def take_off(jump: ApproachJump, runner: Runner) -> None:
    """Plant, push off and move the state to the last toe-off."""
    if jump.style is TakeOffStyle.ONE_FOOT:
        _plant_one_foot(jump, runner)
    else:
        _plant_two_feet(jump, runner)


def _plant_one_foot(jump: ApproachJump, runner: Runner) -> None:
    script, side, t0 = runner.script, jump.side, runner.time_s
    s, t = side_sign(side), jump.contact_s
    plant_x = runner.x_m + _lead_m(jump, runner)
    runner.strike(
        side,
        plant_x,
        s * runner.half_m * 0.6,
        pitch_rad=-0.28,
        lift_m=0.05 + 0.055 * runner.vx_mps,
        impact_mps=max(0.7, -runner.vz_mps),
    )
    runner.knot()
    runner.impact(share=0.16)
    script.turn(t0, 0.0, jump.plant_tilt_rad)
    low = runner.z_m
    rise = _lift_off(jump, runner, plant_x, 0.035)
    _leave(jump, runner, rise, t0)
    script.lift(side, runner.time_s, 0.42 * t, TAKE_OFF_RISE_RAD)
    # The free leg trails with a folded knee, passes the other knee and drives up.
    free = side.other
    driven = runner.z_m - runner.script.body.leg_m + jump.free_leg_lift_m
    script.via(free, t0 + 0.25 * t, -0.20, -s * 0.08, low - 0.60)
    script.via(free, t0 + 0.95 * t, 0.18, -s * 0.09, driven)


def _plant_two_feet(jump: ApproachJump, runner: Runner) -> None:
    script, side, t0 = runner.script, jump.side, runner.time_s
    s, t, gap = side_sign(side), jump.contact_s, jump.plant_interval_s
    first_x = runner.x_m + _lead_m(jump, runner)
    runner.strike(
        side,
        first_x,
        s * 0.12,
        pitch_rad=-0.30,
        yaw_rad=-0.15 * s,
        lift_m=0.05 + 0.055 * runner.vx_mps,
        impact_mps=max(0.8, -runner.vz_mps),
    )
    runner.knot()
    runner.impact(share=0.12)
    script.turn(t0, 0.0, jump.plant_tilt_rad)
    runner.strike(
        side.other,
        first_x + 0.14,
        -s * 0.14,
        time_s=t0 + gap,
        pitch_rad=-0.12,
        yaw_rad=-0.15 * s,
        lift_m=0.10,
        impact_mps=0.7,
    )
    runner.impact(share=0.10, time_s=t0 + gap)
    rise = _lift_off(jump, runner, first_x + 0.06, 0.015)
    _leave(jump, runner, rise, t0)
    script.lift(side, runner.time_s - 0.012, 0.36 * t, TAKE_OFF_RISE_RAD)
    script.lift(side.other, runner.time_s, 0.36 * t, TAKE_OFF_RISE_RAD)


def _lead_m(jump: ApproachJump, runner: Runner) -> float:
    height = runner.z_m - runner.stand_z_m
    return jump.plant_lead_m(runner.script.body, runner.vx_mps, height)


def _lift_off(jump: ApproachJump, runner: Runner, ankle_x_m: float, lower_m: float) -> float:
    """Rise over the plant, as near as can be to what the stretched leg reaches.

    ``lower_m`` is how far lifted legs hold the pelvis below its standing place under
    the centre of mass.
    """
    body = runner.script.body
    c, s = math.cos(TAKE_OFF_RISE_RAD), math.sin(TAKE_OFF_RISE_RAD)
    ankle_x = ankle_x_m + body.ball_m * (1.0 - c) + body.ankle_height_m * s
    ankle_z = body.ball_m * s + body.ankle_height_m * c
    back = runner.x_m + jump.plant_travel_m(runner.vx_mps) - ankle_x
    reach = TAKE_OFF_REACH_SHARE * body.leg_m
    if abs(back) > 0.8 * reach:
        raise ReachError(
            f"take_off_speed_mps is {jump.leaving_speed_mps:.1f}: the hips would leave "
            f"{back:.2f} m past the foot; shorten the contact or lower the speed"
        )
    target_m = ankle_z + math.sqrt(reach**2 - back**2) + lower_m + jump.arm_rise_m
    down, up, t = runner.vz_mps, jump.take_off_vertical_mps, jump.contact_s
    rise = target_m - runner.z_m
    late = min(LATEST_PUSH_SHARE, max(EARLIEST_SHARE, hump_centre(down, up, t, rise)))
    rise = hump_rise_m(down, up, t, late)
    if runner.z_m + rise > target_m + 0.02:
        raise ReachError(
            f"take_off_vertical_mps is {up:.2f}: over {t:.2f} s of contact the hips would "
            f"rise {runner.z_m + rise - target_m:.2f} m beyond the leg's reach; shorten the "
            "contact or lower the hips more"
        )
    if late > LATEST_SHARE:
        share = (late - LATEST_SHARE) / (PUSH_CENTRE_SHARE - LATEST_SHARE)
        impulse = share * (up - down + G * t)
        runner.script.shock(runner.time_s + 0.56 * t, 0.43 * t, impulse)
    return rise


def _leave(jump: ApproachJump, runner: Runner, rise_m: float, plant_s: float) -> None:
    """Move the state to the last toe-off and write its knots."""
    script, t = runner.script, jump.contact_s
    rate = jump.turn_rate_radps
    runner.x_m += jump.plant_travel_m(runner.vx_mps)
    runner.z_m += rise_m
    runner.time_s = plant_s + t
    runner.vx_mps, runner.vy_mps = jump.leaving_speed_mps, 0.0
    runner.vz_mps = jump.take_off_vertical_mps
    runner.knot()
    script.turn(runner.time_s, 0.5 * rate * t, 0.08, 0.0, rate)
    script.arms.append((plant_s + 0.05 * t, 0.0))
    script.arms.append((runner.time_s, jump.arm_rise_m))
    script.arms.append((runner.time_s + 0.55 * jump.flight_s, jump.arm_rise_m))
