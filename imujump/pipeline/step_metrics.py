"""Steps of the run-up: lengths, times, contacts and speeds, and the metrics they make up."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from imujump.model import Estimate, FloatArray, Placement, Step
from imujump.pipeline import formulas
from imujump.pipeline import kinematics as kin
from imujump.pipeline.contacts import Contact
from imujump.pipeline.dark_spells import blind_s
from imujump.pipeline.estimates import SPEED_FLOOR_MPS, Sheet, none, travel, why_lost

STEP_FLOOR_M = 0.02
"""Own choice: ankle against shank sensor, roll of the foot after touchdown."""

STEP_SPEED_SHARE = 0.010
"""Part of a step's length left uncertain by timing and lever at speed (own choice)."""

AFTER_STRIKE_S = 0.03
"""The ankle's place at touchdown is read this long after it, when the foot has settled."""


def run_up_steps(sheet: Sheet, start_s: float) -> tuple[Step, ...]:
    """Steps of the run-up; the last ends at the plant's first touchdown."""
    body, jump, h = sheet.body, sheet.jump, sheet.body.step_s
    if jump.plant_strike is None or not jump.run_up:
        return ()
    chain = (*jump.run_up, jump.plant[0])
    steps = []
    for number, (begin, end) in enumerate(pairwise(chain)):
        assert begin.strike is not None
        assert end.strike is not None
        gone = why_lost(sheet, end.side, end.strike) or why_lost(sheet, begin.side, begin.strike)
        time_s = (end.strike - begin.strike) * h
        time_sigma_s = float(np.hypot(begin.strike_sigma_s, end.strike_sigma_s))
        timing = none(gone) if gone else Estimate(time_s, time_sigma_s, None, "foot events")
        settle = AFTER_STRIKE_S / h
        length, drift = kin.ankle_distance(
            body,
            (begin.side, begin.strike + settle),
            (end.side, end.strike + settle),
            _step_direction(sheet, begin, end),
        )
        blind = [
            gap_s
            for side in (begin.side, end.side)
            if (gap_s := blind_s(sheet.window, (side.shank,), begin.strike - 0.3 / h, end.strike))
        ]
        unknown = jump.motion_lost
        if blind:
            unknown = f"{max(blind):.2f} s of a shank sensor are missing around the step"
        sigma = float(np.sqrt(drift**2 + STEP_FLOOR_M**2 + (STEP_SPEED_SHARE * length) ** 2))
        method = (
            "both ankles in one frame, legs closed at the hip"
            if body.leg_misfit_m is not None
            else "both ankles in one frame from standing"
        )
        speed = none("no sensor on the pelvis")
        if jump.motion_lost is not None:
            speed = none(jump.motion_lost)
        elif Placement.PELVIS in body.paths:
            place = body.joint_position(Placement.PELVIS)
            moved = kin.at(place, end.strike) - kin.at(place, begin.strike)
            middle = 0.5 * (begin.strike + end.strike)
            ahead = kin.horizontal(moved)
            drift_mps = kin.drift_sigma(
                body, Placement.PELVIS, [(middle, kin.axis_weights(3, ahead))]
            )
            value = float(np.hypot(moved[0], moved[1]) / time_s)
            # An end that is told early moves place and time together: only what the speed
            # there differs from the mean counts.
            velocity = body.joint_velocity(Placement.PELVIS)
            timing_mps = [
                (float(kin.at(velocity, c.strike or 0.0) @ ahead) - value)
                * c.strike_sigma_s
                / time_s
                for c in (begin, end)
            ]
            turned = kin.turned_rad(body, Placement.PELVIS, begin.strike, end.strike)
            lever_mps = kin.LEVER_SPREAD_M * turned / time_s
            speed_sigma = float(
                np.linalg.norm((drift_mps, SPEED_FLOOR_MPS, *timing_mps, lever_mps))
            )
            speed = Estimate(value, speed_sigma, None, "pelvis dead reckoning")
        contact = none("the foot's toe-off was not seen")
        if begin.toe_off is not None:
            gone = why_lost(sheet, begin.side, begin.toe_off) or gone
            contact_sigma_s = float(np.hypot(begin.strike_sigma_s, begin.toe_off_sigma_s))
            value_s = (begin.toe_off - begin.strike) * h
            contact = (
                none(gone) if gone else Estimate(value_s, contact_sigma_s, None, "foot events")
            )
        steps.append(
            Step(
                number - (len(chain) - 1),
                end.side,
                start_s + end.strike * h,
                none(unknown) if unknown else Estimate(length, sigma, None, method),
                timing,
                contact,
                speed,
            )
        )
    return tuple(steps)


def _step_direction(sheet: Sheet, start: Contact, end: Contact) -> FloatArray:
    assert start.strike is not None
    assert end.strike is not None
    return travel(sheet, start.strike, end.strike)


def put_step_metrics(sheet: Sheet, steps: tuple[Step, ...]) -> None:
    """Metrics that are a step's own figures."""
    take: tuple[tuple[int, str, Callable[[Step], Estimate]], ...] = (
        (-1, "last_step_m", lambda s: s.length_m),
        (-1, "last_step_s", lambda s: s.time_s),
        (-1, "approach_speed_mps", lambda s: s.speed_mps),
        (-1, "penultimate_contact_s", lambda s: s.contact_s),
        (-2, "penultimate_step_m", lambda s: s.length_m),
        (-2, "penultimate_step_s", lambda s: s.time_s),
    )
    by_number = {step.number: step for step in steps}
    for number, name, pick in take:
        if number in by_number:
            gone = sheet.withheld.get(name)
            sheet.metrics[name] = none(gone) if gone else pick(by_number[number])
    fastest = [s.speed_mps for s in steps if s.speed_mps.value is not None]
    if fastest and "peak_speed_mps" not in sheet.withheld:
        sheet.metrics["peak_speed_mps"] = max(fastest, key=lambda e: e.value or 0.0)
    last, before = by_number.get(-1), by_number.get(-2)
    if last is None or before is None:
        return
    a, b = last.length_m, before.length_m
    if a.value is None or a.sigma is None or b.value is None or b.sigma is None:
        sheet.lack("last_step_ratio", a.reason or b.reason or "a step's length is unknown")
        return
    if a.value < 0.0 or b.value < 0.1:
        sheet.lack("last_step_ratio", "a step is too short for a ratio")
        return
    # One foot's place ends one step and begins the other: errors oppose each other.
    sheet.put(
        "last_step_ratio",
        formulas.last_step_ratio(a.value, b.value),
        formulas.last_step_ratio_sigma(a.value, b.value, a.sigma, b.sigma, -0.7),
        a.method,
    )
