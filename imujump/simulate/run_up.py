"""The run-up of an approach jump: from standing to the plant's first touchdown."""

from __future__ import annotations

import numpy as np

from imujump.model import TakeOffStyle
from imujump.simulate.gait import Runner, contact_time_s
from imujump.simulate.technique import ApproachJump

LAST_FLIGHT_LIMITS_S = (0.025, 0.21)
PENULTIMATE_FLIGHT_LIMITS_S = (0.04, 0.19)
"""Flights of the last two steps that the step ratio may be reached with (own choice)."""

CLOSING_SWING_S = 0.17
"""Least time in which the second plant foot closes up from behind (own choice: faster would
need a shank beyond 25 g)."""

PITCH_PER_SPREAD_RAD = 2.0
IMPACT_PER_SPREAD = 6.0
"""Irregular steps of 3 % spread differ by 0.06 rad in foot pitch and 18 % in impact (own
choice: impacts of one runner vary more than his timing)."""


def run_up(jump: ApproachJump, runner: Runner, plant_height_m: float) -> None:
    """Write the run-up; the state ends at the plant's first touchdown."""
    speeds, n = _speeds(jump), jump.steps
    run_height = -0.012 - 0.004 * jump.approach_speed_mps
    heights = [run_height] * (n + 1)
    heights[n] = plant_height_m
    heights[n - 1] = run_height + 0.35 * min(0.0, plant_height_m - run_height)
    contacts = [jump.contact_scale * contact_time_s(speeds[max(k - 1, 0)]) for k in range(n)]
    chance = np.random.default_rng(jump.seed).standard_normal((4, n))
    spread = 1.0 + jump.irregularity_ratio * np.clip(chance, -2.0, 2.0)
    contacts = [c * float(s) for c, s in zip(contacts, spread[0], strict=True)]
    contacts[n - 1] = jump.penultimate_contact_s or 1.12 * contacts[n - 1]
    leads = [0.0]
    leads += [_lead_m(speeds[k - 1], speeds[k], contacts[k]) for k in range(1, n)]
    leads.append(jump.plant_lead_m(runner.script.body, speeds[n - 1], plant_height_m))
    flights = [
        max(
            0.035,
            jump.step_flight_s * float(spread[1, k]) * (speeds[k] / jump.approach_speed_mps) ** 1.5,
        )
        for k in range(n)
    ]
    flights[0] = 0.035
    _fit_last_steps(jump, speeds, contacts, leads, flights)
    push = jump.side if n % 2 == 0 else jump.side.other
    runner.start(push, speeds[0], flights[0], heights[1])
    side = push.other
    for k in range(1, n):
        last = k == n - 1
        runner.support(
            side,
            contact_s=contacts[k],
            flight_s=flights[k],
            speed_out_mps=speeds[k],
            lead_m=leads[k],
            next_height_m=heights[k + 1],
            strike_pitch_rad=jump.strike_pitch_rad
            + PITCH_PER_SPREAD_RAD * float(spread[2, k] - 1.0)
            - (0.06 if last else 0.0),
            impact_ratio=max(0.3, 1.0 + IMPACT_PER_SPREAD * float(spread[3, k] - 1.0)),
            tilt_rad=0.3 * jump.run_tilt_rad if last else None,
        )
        side = side.other


def _speeds(jump: ApproachJump) -> list[float]:
    """Forward speed at toe-off of each contact, the push-off first."""
    v = jump.approach_speed_mps
    first = min(0.75 * v, max(1.3, 0.34 * v))
    build = min(jump.build_up_steps, jump.steps - 1)
    return [first + (v - first) * min(1.0, k / build) ** 0.8 for k in range(jump.steps)]


def _lead_m(speed_in_mps: float, speed_out_mps: float, contact_s: float) -> float:
    """Ankle ahead of the hips at a strike: less where the contact speeds the body up."""
    share = 0.42 - 0.25 * (speed_out_mps - speed_in_mps) / max(speed_in_mps, 1.0)
    return max(0.05, share) * 0.5 * (speed_in_mps + speed_out_mps) * contact_s


def _fit_last_steps(
    jump: ApproachJump,
    speeds: list[float],
    contacts: list[float],
    leads: list[float],
    flights: list[float],
) -> None:
    """Choose the flights of the last two steps so that their lengths have the ratio asked."""
    n = jump.steps

    def ground_m(k: int) -> float:
        travel = 0.5 * (speeds[k - 1] + speeds[k]) * contacts[k]
        return travel * (1.0 - 0.008) + leads[k + 1] - leads[k]

    last, before = n - 1, n - 2
    v = speeds[last]
    if before == 0:
        return
    low, high = LAST_FLIGHT_LIMITS_S
    if jump.style is TakeOffStyle.TWO_FOOT:
        low = max(low, CLOSING_SWING_S - jump.plant_interval_s)
    for penultimate_s in [
        flights[before],
        *[
            PENULTIMATE_FLIGHT_LIMITS_S[0]
            + (PENULTIMATE_FLIGHT_LIMITS_S[1] - PENULTIMATE_FLIGHT_LIMITS_S[0]) * i / 30.0
            for i in range(31)
        ],
    ]:
        length = ground_m(before) + speeds[before] * penultimate_s
        flight = (jump.last_step_ratio * length - ground_m(last)) / v
        if low <= flight <= high:
            flights[before], flights[last] = penultimate_s, flight
            return
    raise ValueError(
        f"last_step_ratio is {jump.last_step_ratio}: at {v:.1f} m/s no flight time of the "
        "last two steps gives it; change the ratio, the speed or the contact times"
    )
