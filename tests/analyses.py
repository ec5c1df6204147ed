"""Hand-made analyses of invented jumps, for tests of what is printed and written."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

from imujump.model import (
    METRIC_NAMES,
    Analysis,
    Attempt,
    Estimate,
    EventKind,
    GaitEvent,
    Placement,
    SensorReport,
    Side,
    Step,
    TakeOffStyle,
)

VALUES: dict[str, tuple[float, float]] = {
    "approach_speed_mps": (4.123456, 0.051),
    "peak_speed_mps": (4.31, 0.06),
    "plant_speed_mps": (4.02, 0.05),
    "take_off_speed_mps": (2.91, 0.08),
    "speed_loss_mps": (1.11, 0.09),
    "last_step_m": (1.752, 0.041),
    "penultimate_step_m": (1.823, 0.043),
    "last_step_ratio": (0.961, 0.032),
    "last_step_s": (0.412, 0.006),
    "penultimate_step_s": (0.438, 0.006),
    "penultimate_contact_s": (0.196, 0.009),
    "lowering_m": (0.1423, 0.0081),
    "plant_lowering_m": (0.1201, 0.0079),
    "plant_sink_m": (0.0222, 0.0061),
    "take_off_contact_s": (0.2136, 0.0089),
    "plant_shank_angle_rad": (0.41, 0.03),
    "pelvis_tilt_rad": (-0.08, 0.02),
    "free_leg_peak_radps": (9.6, 0.3),
    "free_leg_lead_s": (0.062, 0.008),
    "turn_rad": (0.52, 0.04),
    "flight_s": (0.5624, 0.0103),
    "height_flight_m": (0.3877, 0.0142),
    "take_off_vertical_mps": (2.74, 0.07),
    "height_velocity_m": (0.3828, 0.0196),
    "pelvis_rise_m": (0.4512, 0.0151),
    "reactive_ratio": (2.63, 0.12),
    "landing_interval_s": (0.031, 0.008),
    "landing_peak_left_mps2": (121.0, 6.0),
    "landing_peak_right_mps2": (134.0, 7.0),
}


def known(value: float, sigma: float) -> Estimate:
    return Estimate(value, sigma, None, "invented")


def missing(reason: str) -> Estimate:
    return Estimate(None, None, reason, "invented")


def one_foot_attempt() -> Attempt:
    metrics = {name: known(*VALUES[name]) for name in METRIC_NAMES if name in VALUES}
    metrics["plant_interval_s"] = missing("one-foot take-off")
    return Attempt(
        number=1,
        start_s=64.96,
        end_s=69.1234567,
        toe_off_s=67.226,
        landing_s=67.75,
        take_off_style=TakeOffStyle.ONE_FOOT,
        take_off_side=Side.LEFT,
        valid=True,
        reasons=(),
        events=(
            GaitEvent(EventKind.FOOT_STRIKE, Side.LEFT, 67.0123456789, 0.0041),
            GaitEvent(EventKind.TOE_OFF, Side.LEFT, 67.226, 0.0079),
        ),
        steps=(
            Step(
                -2,
                Side.RIGHT,
                66.6,
                known(1.823, 0.043),
                known(0.438, 0.006),
                known(0.2, 0.01),
                known(4.2, 0.05),
            ),
            Step(
                -1,
                Side.LEFT,
                67.0123456789,
                known(1.752, 0.041),
                known(0.412, 0.006),
                known(0.196, 0.009),
                missing("the pelvis sensor was not received from 66.60 s to 66.66 s"),
            ),
        ),
        metrics=metrics,
    )


def two_foot_attempt() -> Attempt:
    """A jump with a gap: some values missing for one reason, one in doubt, one not finite."""
    gap = "the right shank sensor was not received from 82.10 s to 82.16 s"
    metrics = dict(one_foot_attempt().metrics)
    metrics["plant_interval_s"] = known(0.062, 0.008)
    metrics["free_leg_peak_radps"] = missing("two-foot take-off")
    metrics["free_leg_lead_s"] = missing("two-foot take-off")
    for name in ("last_step_m", "penultimate_step_m", "last_step_ratio"):
        metrics[name] = missing(gap)
    metrics["flight_s"] = replace(metrics["flight_s"], reason="the landing was on one toe")
    metrics["turn_rad"] = Estimate(math.nan, 0.1, None, "invented")
    return replace(
        one_foot_attempt(),
        number=2,
        start_s=79.5,
        end_s=84.0,
        take_off_style=TakeOffStyle.TWO_FOOT,
        take_off_side=Side.RIGHT,
        metrics=metrics,
        steps=(),
    )


def run_through() -> Attempt:
    """An attempt that does not count, seen by the pelvis alone."""
    reason = "no shank sensor"
    return replace(
        one_foot_attempt(),
        number=3,
        start_s=95.0,
        end_s=99.0,
        take_off_style=None,
        take_off_side=None,
        valid=False,
        reasons=("no flight followed the plant",),
        metrics={name: missing(reason) for name in METRIC_NAMES},
        events=(),
        steps=(),
    )


def analysis(*attempts: Attempt, warnings: tuple[str, ...] = ()) -> Analysis:
    return Analysis(
        started_utc=datetime(2026, 3, 14, 9, 26, 53, 589793, tzinfo=UTC),
        duration_s=120.005,
        sensors=(
            SensorReport(Placement.LEFT_SHANK, 200.0, 0.0, 0),
            SensorReport(Placement.RIGHT_SHANK, 200.0, 0.06, 12),
            SensorReport(Placement.PELVIS, 200.0, 0.0, 0),
        ),
        warnings=warnings,
        attempts=attempts,
    )
