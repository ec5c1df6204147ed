"""Flight and landing of a jump, and the way to a stand."""

from __future__ import annotations

import math

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Side, TakeOffStyle
from imujump.simulate.body import side_sign
from imujump.simulate.foot import SOLE_GIVE_SHARE
from imujump.simulate.gait import IMPACT_S, Runner, contact_time_s
from imujump.simulate.technique import ApproachJump

G = STANDARD_GRAVITY_MPS2

STOP_ON_BOTH_MPS = 1.45
"""Faster landings run on before they stop (own choice: a stand within one support length)."""

RUN_OUT_LOSS_MPS = 0.75
"""Speed that one step of the run-out takes away (own choice)."""

LANDING_WAY_M = 0.72
"""Way of the hips over the foot that lands and runs on (own choice: one leg's reach)."""

LANDING_REACH_SHARE = 0.965
"""Hip to ankle over leg length at landing: knees bent by about 30 degrees (own choice)."""

LANDING_IMPACT_SHARE = 0.55
"""Share of the falling speed that the sole takes up; the foot's turn and the knee take the
rest (own choice, because it gives shank peaks of 8 to 15 g)."""

HEEL_FIRST_RAD = -0.24
"""Foot pitch where a landing runs on (own choice)."""

BALL_FIRST_RAD = 0.40
"""Foot pitch of a jump landing: toes first, heel raised (common practice, no source)."""


def land(jump: ApproachJump, runner: Runner) -> float:
    """Fly, land and come to a stand; return the first landing contact's time."""
    script = runner.script
    flight = jump.flight_s
    toe_off = runner.time_s
    rate = jump.turn_rate_radps
    up, speed_up = runner.z_m, runner.vz_mps
    runner.fly(flight)
    landing = runner.time_s
    both = jump.landing == "both"
    first = (
        Side(jump.landing) if not both else (Side.LEFT if jump.landing_lag_s >= 0.0 else Side.RIGHT)
    )
    lag = max(0.004, abs(jump.landing_lag_s)) if both else math.inf
    free = jump.side.other if jump.style is TakeOffStyle.ONE_FOOT else None
    # Both legs hang below the hips, bent most at the top, reaching ahead for the ground.
    ahead = _landing_lead_m(jump, runner)
    for side in Side:
        trailing = not both and side is not first
        for share, reach, x in (
            (0.30, 0.90, -0.08),
            (0.70, 0.84 if trailing else 0.90, -0.18 if trailing else 0.7 * ahead),
        ):
            if share < 0.4 and side is free:
                continue
            at = share * flight
            hip_z = up + speed_up * at - 0.5 * G * at**2
            y, z = side_sign(side) * 0.10, hip_z - reach * script.body.leg_m
            script.via(side, toe_off + at, x, y, z)
    script.turn(landing, jump.turn_rad, 0.10, 0.0, rate)
    script.arms.append((landing + 0.35, 0.0))
    if both and runner.vx_mps <= STOP_ON_BOTH_MPS:
        _stand(jump, runner, first, lag)
    else:
        _run_out(jump, runner, first, lag)
    return landing


def _landing_contact_s(speed_mps: float) -> float:
    """Contact of the foot that lands and runs on."""
    return min(0.28, max(0.17, LANDING_WAY_M / speed_mps))


def _landing_lead_m(jump: ApproachJump, runner: Runner) -> float:
    """Ankle ahead of the hips at the first landing contact, within the leg's reach."""
    v, body = runner.vx_mps, runner.script.body
    give = SOLE_GIVE_SHARE * LANDING_IMPACT_SHARE * -runner.vz_mps * IMPACT_S
    stands = jump.landing == "both" and v <= STOP_ON_BOTH_MPS
    pitch = BALL_FIRST_RAD if stands else HEEL_FIRST_RAD
    along = body.ball_m if pitch > 0.0 else -body.heel_m
    ankle_z = along * math.sin(pitch) + body.ankle_height_m * math.cos(pitch) + give
    height = runner.z_m - (0.0 if stands else 0.03) - ankle_z
    reach = LANDING_REACH_SHARE * body.leg_m
    limit = math.sqrt(max(0.0, reach**2 - height**2)) + 0.02
    wanted = 0.06 + 0.14 * v if stands else 0.36 * _landing_contact_s(v) * v
    return min(limit, wanted)


def _absorb(runner: Runner, x_path: tuple[float, float, float], deep_s: float) -> None:
    """Write the knot of the deepest point after a landing."""
    sink = 0.40 * -runner.vz_mps * deep_s
    x, vx, ax = x_path
    runner.script.knot(
        runner.time_s + deep_s,
        (x, runner.y_m, runner.z_m - sink),
        (vx, 0.0, 0.0),
        (ax, 0.0, 9.0),
    )


def _stand(jump: ApproachJump, runner: Runner, first: Side, lag_s: float) -> None:
    """Land on both feet and stay there."""
    script, t0, v = runner.script, runner.time_s, runner.vx_mps
    behind = script.body.ankle_behind_m
    travel = _landing_lead_m(jump, runner) + behind
    rest_s = travel / (0.45 * v) if v > 0.3 else 0.5
    x_end = runner.x_m + travel
    yaw = jump.turn_rad
    for side, at in ((first, t0), (first.other, t0 + lag_s)):
        half = side_sign(side) * script.stance_half_m
        runner.strike(
            side,
            x_end - behind * math.cos(yaw) - half * math.sin(yaw),
            -behind * math.sin(yaw) + half * math.cos(yaw),
            time_s=at,
            yaw_rad=yaw,
            pitch_rad=BALL_FIRST_RAD,
            settle_s=0.075,
            impact_mps=LANDING_IMPACT_SHARE * -runner.vz_mps,
        )
    runner.knot()
    runner.impact(share=0.12)
    deep = 0.15
    change = -v * deep * (1.0 - 0.5 * deep / rest_s)
    _absorb(
        runner,
        (runner.x_m + v * deep + 0.42 * change * deep / 2, v * (1 - deep / rest_s), -v / rest_s),
        deep,
    )
    rise_s = max(rest_s + 0.1, 0.65)
    script.turn(t0 + 0.30, yaw + 0.04 * jump.turn_rad, 0.22)
    script.arrive(t0 + rise_s, x_end, 0.0, yaw)


def _run_out(jump: ApproachJump, runner: Runner, first: Side, lag_s: float) -> None:
    """Land, run on with slowing steps and stop."""
    script, t0, v = runner.script, runner.time_s, runner.vx_mps
    s = side_sign(first)
    contact, flight = _landing_contact_s(v), 0.05
    out = v - 0.6 if v > 2.0 else 0.8 * v
    lead = _landing_lead_m(jump, runner)
    runner.strike(
        first,
        runner.x_m + lead,
        s * 0.07,
        pitch_rad=HEEL_FIRST_RAD,
        settle_s=0.05,
        impact_mps=LANDING_IMPACT_SHARE * -runner.vz_mps,
        yaw_rad=0.3 * jump.turn_rad,
    )
    runner.knot()
    runner.impact(share=0.08)
    if math.isfinite(lag_s):
        runner.strike(
            first.other,
            runner.x_m + lead - 0.12,
            -s * 0.10,
            time_s=t0 + lag_s,
            pitch_rad=BALL_FIRST_RAD,
            settle_s=0.06,
            impact_mps=0.45 * -runner.vz_mps,
            yaw_rad=0.3 * jump.turn_rad,
        )
        script.lift(first.other, t0 + max(0.55 * contact, lag_s + 0.09), 0.06, 0.5)
    else:
        script.raise_ankle(first.other, t0 + 0.5 * contact, 0.30)
    deep = 0.5 * contact
    loss = v - out
    x_at = runner.x_m + v * deep - 0.16 * loss * deep
    _absorb(runner, (x_at, v - 0.5 * loss, -1.5 * loss / contact), deep)
    low = runner.z_m - 0.40 * -runner.vz_mps * deep
    toe_z, up = low + 0.035, 0.40
    runner.x_m += 0.5 * (v + out) * contact
    runner.z_m, runner.vx_mps, runner.vy_mps, runner.vz_mps = toe_z, out, -0.08 * s, up
    runner.time_s = t0 + contact
    runner.knot()
    script.turn(t0 + 0.8 * contact, 1.08 * jump.turn_rad, 0.18)
    runner.twist_rad = 0.92 * jump.turn_rad
    script.lift(first, runner.time_s, 0.14)
    runner.fly(flight)
    side = first.other
    while runner.vx_mps > 1.65:
        slower = max(1.4, runner.vx_mps - RUN_OUT_LOSS_MPS)
        contact = min(0.24, 0.02 + contact_time_s(runner.vx_mps))
        runner.support(
            side,
            contact_s=contact,
            flight_s=0.06,
            speed_out_mps=slower,
            lead_m=0.27 * (runner.vx_mps + slower) * contact,
            next_height_m=-0.05,
            tilt_rad=0.10,
        )
        side = side.other
    runner.stop(side)
