"""Attempt to numbers: every metric of the contract with sigma, method and reason."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np
from scipy.signal import butter, sosfiltfilt

from imujump.model import (
    METRIC_NAMES,
    Estimate,
    FloatArray,
    Placement,
    Side,
    Step,
    TakeOffStyle,
)
from imujump.pipeline import formulas
from imujump.pipeline import kinematics as kin
from imujump.pipeline.attempts import Jump
from imujump.pipeline.body import Body, Window
from imujump.pipeline.estimates import SPEED_FLOOR_MPS, Sheet, travel
from imujump.pipeline.height_metrics import put_heights
from imujump.pipeline.hidden_metrics import withhold_hidden
from imujump.pipeline.leaving_speed import ringing_mps
from imujump.pipeline.step_metrics import put_step_metrics, run_up_steps
from imujump.pipeline.vectors import UP

SWING_CUTOFF_HZ = 20.0
"""Low-pass of the shank's swing rate: keeps the drive, removes impact ringing."""

PELVIS_ANGLE_RAD, SHANK_ANGLE_RAD = 0.03, 0.07
"""How upright a segment was while standing, and mounting wobble: 2 degrees for the pelvis, 4 for
the shank, whose lean in standing differs between people (own choice; functional alignment is
reported to err by 3-5 degrees)."""

TURN_SCALE = 0.006
"""Share of a turn lost to gyroscope scale and cross-axis error (own choice)."""

TURN_FLOOR_RAD = 0.006
"""Own choice: belt and skin under the pelvis sensor."""

FROM_TOE_OFF = "pelvis attitude, from toe-off: the jump began from standing"

LANDING_BEFORE_S, LANDING_PEAK_S = 0.04, 0.1
"""Span about a landing contact in which the shank's peak is sought."""

LANDING_PEAK_SHARE = 0.25
"""Peaks on the skin against the bone's: strap and soft tissue ring and add some tenths (own
choice; simulated soft tissue of 28 to 50 Hz makes 112 m/s² into 140)."""


def measure(
    window: Window, body: Body, jump: Jump, start_s: float
) -> tuple[Mapping[str, Estimate], tuple[Step, ...]]:
    """All metrics and steps of an attempt.

    Parameters
    ----------
    window : Window
        Samples of the attempt.
    body : Body
        Corrected motion.
    jump : Jump
        Where the attempt's parts lie.
    start_s : float
        Recording time of the window's first sample.

    Returns
    -------
    metrics : mapping of str to Estimate
        Every name of :data:`imujump.model.METRIC_NAMES`.
    steps : tuple of Step
        The approach's steps, oldest first.
    """
    sheet = Sheet(window, body, jump)
    withhold_hidden(sheet)
    steps = run_up_steps(sheet, start_s)
    for part in (_timing, _speeds, put_heights, _angles, _free_leg, _landing):
        part(sheet)
    put_step_metrics(sheet, steps)
    _derived(sheet)
    for name in METRIC_NAMES:
        if name not in sheet.metrics:
            sheet.lack(name, _why_missing(sheet, name))
    return {name: sheet.metrics[name] for name in METRIC_NAMES}, steps


def _why_missing(sheet: Sheet, name: str) -> str:
    if name in sheet.withheld:
        return sheet.withheld[name]
    if sheet.jump.unseen is not None and name not in ("turn_rad", "pelvis_tilt_rad"):
        return sheet.jump.unseen
    paths = sheet.body.paths
    shanks = [s for s in Side if s.shank in paths]
    if name == "plant_interval_s" and sheet.jump.style is TakeOffStyle.ONE_FOOT:
        return "one-foot take-off"
    if name.startswith("free_leg") and sheet.jump.style is TakeOffStyle.TWO_FOOT:
        return "two-foot take-off"
    if len(shanks) < 2 and name not in ("turn_rad", "pelvis_tilt_rad"):
        side = "a shank" if len(shanks) == 1 else "both shanks"
        return f"no sensor on {side}"
    if Placement.PELVIS not in paths:
        return "no sensor on the pelvis"
    if sheet.jump.plant_strike is None:
        return "no plant touchdown: the jump began from standing"
    return "not enough steps before the plant"


def _timing(sheet: Sheet) -> None:
    jump, h = sheet.jump, sheet.body.step_s
    flight_s = (jump.landing - jump.toe_off) * h
    sigma_s = float(np.hypot(jump.toe_off_sigma_s, jump.landing_sigma_s))
    method = "load on the floor seen by the pelvis" if jump.pelvis_timed else "foot events"
    sheet.put("flight_s", flight_s, sigma_s, method)
    if jump.plant_strike is None:
        return
    first = jump.plant[0]
    sheet.put(
        "take_off_contact_s",
        (jump.toe_off - jump.plant_strike) * h,
        float(np.hypot(first.strike_sigma_s, jump.toe_off_sigma_s)),
        "foot events",
    )
    if len(jump.plant) == 2 and jump.plant[1].strike is not None:
        second = jump.plant[1]
        assert second.strike is not None
        sheet.put(
            "plant_interval_s",
            (second.strike - jump.plant_strike) * h,
            float(np.hypot(first.strike_sigma_s, second.strike_sigma_s)),
            "foot events",
        )


def _speeds(sheet: Sheet) -> None:
    body, jump, h = sheet.body, sheet.jump, sheet.body.step_s
    if Placement.PELVIS not in body.paths:
        return
    speed = kin.pelvis_speed(body)
    velocity = body.joint_velocity(Placement.PELVIS)

    def sigma(index: float, timing_s: float) -> float:
        ahead = kin.horizontal(kin.at(velocity, index))
        drift = kin.velocity_sigma(body, index, ahead)
        k = int(np.clip(index, 2, len(speed) - 3))
        slope = abs(speed[k + 2] - speed[k - 2]) / (4 * h)
        return float(np.sqrt(drift**2 + SPEED_FLOOR_MPS**2 + (slope * timing_s) ** 2))

    take_off = float(kin.at(speed, jump.toe_off))
    swing = ringing_mps(speed, jump.toe_off, h)
    take_off_sigma = float(np.hypot(sigma(jump.toe_off, jump.toe_off_sigma_s), swing))
    sheet.put("take_off_speed_mps", take_off, take_off_sigma, "pelvis dead reckoning")
    plant = jump.plant_strike
    if plant is None:
        return
    level = float(kin.at(speed, plant))
    plant_sigma = sigma(plant, jump.plant[0].strike_sigma_s)
    sheet.put("plant_speed_mps", level, plant_sigma, "pelvis dead reckoning")
    sheet.put(
        "speed_loss_mps",
        level - take_off,
        float(np.hypot(plant_sigma, take_off_sigma)),
        "pelvis dead reckoning",
    )


def _angles(sheet: Sheet) -> None:
    body, jump = sheet.body, sheet.jump
    plant = jump.plant_strike
    if Placement.PELVIS in body.paths and jump.style is not None:
        yaw = kin.pelvis_yaw(body)
        begin, begin_sigma_s, method = jump.toe_off, jump.toe_off_sigma_s, FROM_TOE_OFF
        if plant is not None:
            begin, begin_sigma_s, method = plant, jump.plant[0].strike_sigma_s, "pelvis attitude"
        turn = float(kin.at(yaw, jump.landing) - kin.at(yaw, begin))
        drift = kin.drift_sigma(
            body,
            Placement.PELVIS,
            [
                (jump.landing, kin.axis_weights(0, UP)),
                (begin, kin.axis_weights(0, np.array((0.0, 0.0, -1.0)))),
            ],
        )
        timing = [
            float(np.linalg.norm(kin.at(body.paths[Placement.PELVIS].gyro_radps, index))) * sigma_s
            for index, sigma_s in ((begin, begin_sigma_s), (jump.landing, jump.landing_sigma_s))
        ]
        sigma = float(np.linalg.norm((drift, TURN_SCALE * turn, *timing, TURN_FLOOR_RAD)))
        sheet.put("turn_rad", turn, sigma, method)
    if plant is None:
        return
    timing_s = jump.plant[0].strike_sigma_s
    if Placement.PELVIS in body.paths:
        rate = float(np.linalg.norm(kin.at(body.paths[Placement.PELVIS].gyro_radps, plant)))
        sheet.put(
            "pelvis_tilt_rad",
            float(kin.at(kin.pelvis_pitch(body), plant)),
            float(np.hypot(PELVIS_ANGLE_RAD, rate * timing_s)),
            "pelvis attitude",
        )
    side = jump.plant[0].side
    ahead = travel(sheet, plant - 0.1 / body.step_s, plant)
    rate = float(np.linalg.norm(kin.at(body.paths[side.shank].gyro_radps, plant)))
    sheet.put(
        "plant_shank_angle_rad",
        kin.shank_lean(body, side, plant, ahead),
        float(np.hypot(SHANK_ANGLE_RAD, rate * timing_s)),
        "shank attitude",
    )


def _free_leg(sheet: Sheet) -> None:
    body, jump, h = sheet.body, sheet.jump, sheet.body.step_s
    plant = jump.plant_strike
    if jump.style is not TakeOffStyle.ONE_FOOT or plant is None:
        return
    free = jump.plant[0].side.other
    swing = kin.forward_swing(body, free, travel(sheet, plant - 0.2 / h, plant))
    if 0.45 / h > SWING_CUTOFF_HZ:
        swing = sosfiltfilt(_low_pass(h), swing)
    first, last = int(plant), int(np.ceil(jump.toe_off))
    if last - first < 3:
        return
    peak = first + int(np.argmax(swing[first : last + 1]))
    missing = sheet.window.sensors[free.shank].missing[first : last + 1]
    if missing.any():
        for name in ("free_leg_peak_radps", "free_leg_lead_s"):
            sheet.lack(name, f"samples of the {free} shank are missing during the plant")
        return
    value = float(swing[peak])
    sheet.put(
        "free_leg_peak_radps", value, float(np.hypot(0.3, 0.05 * abs(value))), "shank gyroscope"
    )
    sheet.put(
        "free_leg_lead_s",
        (jump.toe_off - peak) * h,
        float(np.hypot(0.010, jump.toe_off_sigma_s)),
        "shank gyroscope",
    )


@cache
def _low_pass(step_s: float) -> FloatArray:
    """Second-order sections at a sample period."""
    return np.asarray(butter(2, SWING_CUTOFF_HZ, fs=1.0 / step_s, output="sos"))


def _landing(sheet: Sheet) -> None:
    jump, h = sheet.jump, sheet.body.step_s
    if len(jump.landings) == 2:
        first, second = jump.landings
        assert first.strike is not None
        assert second.strike is not None
        sheet.put(
            "landing_interval_s",
            (second.strike - first.strike) * h,
            float(np.hypot(first.strike_sigma_s, second.strike_sigma_s)),
            "foot events",
        )
    for side in Side:
        name = f"landing_peak_{side}_mps2"
        contact = next((c for c in jump.landings if c.side is side), None)
        if side.shank not in sheet.body.paths:
            sheet.lack(name, f"no sensor on the {side} shank")
            continue
        if contact is None or contact.strike is None:
            sheet.lack(name, f"no landing of the {side} foot seen")
            continue
        sensor = sheet.window.sensors[side.shank]
        first_sample = int(max(contact.strike - LANDING_BEFORE_S / h, 0))
        part = slice(first_sample, int(contact.strike + LANDING_PEAK_S / h) + 1)
        if sensor.missing[part].any():
            sheet.lack(name, "samples are missing at the landing")
        elif sensor.clipped[part].any():
            sheet.lack(name, "the accelerometer reached the end of its range")
        else:
            size = np.linalg.norm(sensor.accel_mps2[part], axis=1)
            peak = float(size.max())
            sheet.put(name, peak, LANDING_PEAK_SHARE * peak, "shank accelerometer")


def _derived(sheet: Sheet) -> None:
    """Metrics that follow from others by a formula."""
    g = sheet.window.gravity_mps2
    flight = sheet.metrics["flight_s"]
    if flight.value is not None and flight.sigma is not None:
        sheet.put(
            "height_flight_m",
            formulas.flight_height_m(flight.value, g),
            formulas.flight_height_sigma_m(flight.value, flight.sigma, g),
            "flight time, g t²/8",
        )
    else:
        sheet.lack("height_flight_m", flight.reason or "no flight time")
    vertical = sheet.metrics.get("take_off_vertical_mps")
    if vertical and vertical.value is not None and vertical.sigma is not None:
        if vertical.value > 0.0:
            sheet.put(
                "height_velocity_m",
                formulas.velocity_height_m(vertical.value, g),
                formulas.velocity_height_sigma_m(vertical.value, vertical.sigma, g),
                "take-off velocity, v²/2g",
            )
        else:
            sheet.lack("height_velocity_m", "no speed upwards was measured at toe-off")
    contact = sheet.metrics.get("take_off_contact_s")
    if contact is None or contact.value is None or contact.sigma is None:
        return
    if flight.value is None or flight.sigma is None:
        return
    jump = sheet.jump
    sheet.put(
        "reactive_ratio",
        formulas.reactive_ratio(flight.value, contact.value),
        formulas.reactive_ratio_sigma(
            flight.value,
            contact.value,
            flight.sigma,
            contact.sigma,
            formulas.shared_toe_off_correlation(
                jump.plant[0].strike_sigma_s, jump.toe_off_sigma_s, jump.landing_sigma_s
            ),
        ),
        "foot events",
    )
