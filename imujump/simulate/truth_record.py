"""Truth as plain records, under the field names of the open virtual recordings' truth files."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from imujump.simulate.imu import Gap, Imperfection, SimulatedRecording
from imujump.simulate.motion import Motion
from imujump.simulate.truth import (
    JumpTruth,
    TrueEvent,
    TrueHeights,
    TrueStep,
    events,
    jump_truths,
)

TIMING_S = 0.001
"""Timing uncertainty stated for programmed events: they are exact, a reader need not expect
better than the clock's drift over a recording."""


def motion_record(motion: Motion) -> dict[str, Any]:
    """Truth of a whole motion: events, what was done when, and an entry for each jump."""
    record: dict[str, Any] = _rounded(
        {
            "source": "simulated",
            "duration_s": motion.duration_s,
            "stature_m": motion.body.stature_m,
            "movements": [
                {"what": label.what, "start_s": label.start_s, "end_s": label.end_s}
                for label in motion.labels
            ],
            "events": [_event(e) for e in events(motion)],
            "attempts": [jump_record(motion, truth) for truth in jump_truths(motion)],
        }
    )
    return record


def jump_record(motion: Motion, truth: JumpTruth) -> dict[str, Any]:
    """Truth of one approach jump."""
    mark, metrics = truth.mark, truth.metrics
    at_toe_off = np.array([mark.toe_off_s])
    upward = float(motion.centre_of_mass(at_toe_off).rate[0, 2])
    steps = [_step(s) for s in truth.steps]
    record = {
        "start_s": mark.start_s,
        "end_s": mark.end_s,
        "take_off": {
            "style": mark.style.value,
            "side": mark.side.value,
            "first_contact_side": truth.first_contact_side.value,
            "plant_touchdown_s": mark.plant_s,
            "toe_off_s": mark.toe_off_s,
            "landing_s": mark.landing_s,
            "flight_s": metrics["flight_s"],
            "uncertainty_s": TIMING_S,
            "contact_time_s": metrics["take_off_contact_s"],
            "plant_interval_s": metrics["plant_interval_s"],
            "landing_feet": "both" if len(truth.landing_sides) == 2 else "one",
        },
        "speed_at_plant_touchdown_mps": truth.speed_at_plant_mps,
        "speed_at_toe_off_mps": metrics["take_off_speed_mps"],
        "approach_speed_last_step_mean_mps": metrics["approach_speed_mps"],
        "run_up_step_count": len(steps),
        "step_lengths_m": [s["length_m"] for s in steps],
        "step_length_reference": "touchdown",
        "last_step_m": metrics["last_step_m"],
        "penultimate_step_m": metrics["penultimate_step_m"],
        "last_step_ratio": metrics["last_step_ratio"],
        "pelvis_height": {
            "pelvis_origin": _heights(truth.origin),
            "sensor_point": _heights(truth.sensor),
        },
        "com_vertical_speed_at_toe_off_mps": upward,
        "com_jump_height_m": upward**2 / (2.0 * motion.gravity_mps2),
        "flight_time_height_m": metrics["height_flight_m"],
        "pelvis_yaw_change_plant_to_landing_rad": metrics["turn_rad"],
        "pelvis_pitch_at_plant_rad": metrics["pelvis_tilt_rad"],
        "plant_shank_angle_rad": metrics["plant_shank_angle_rad"],
        "not_scored_intervals_s": [],
        "events": [_event(e) for e in truth.events],
        "steps": steps,
        "metrics": dict(metrics),
    }
    return record


def sensor_record(recording: SimulatedRecording, gaps: tuple[Gap, ...] = ()) -> dict[str, Any]:
    """Drawn imperfections of each sensor, and the spans that never arrived."""
    record: dict[str, Any] = _rounded(
        {
            "sensor_model": {
                "sampling_hz": recording.info.sensors[0].rate_hz,
                "mounting_convention": "v_segment = mounting_matrix @ v_sensor; segment axes "
                "x forward, y left, z up along the segment",
                "sensors": {p.value: _flaw(f) for p, f in recording.imperfections.items()},
            },
            "gap": [
                {
                    "sensor": gap.placement.value,
                    "start_s": gap.start_s,
                    "end_s": gap.end_s if math.isfinite(gap.end_s) else None,
                }
                for gap in gaps
            ]
            or None,
        }
    )
    return record


def _event(event: TrueEvent) -> dict[str, Any]:
    return {
        "kind": event.kind.value,
        "side": event.side.value,
        "time_s": event.time_s,
        "uncertainty_s": TIMING_S,
        "scored": True,
    }


def _step(step: TrueStep) -> dict[str, Any]:
    return {
        "n": step.number,
        "from_side": step.side.other.value,
        "to_side": step.side.value,
        "start_s": step.start_s,
        "end_s": step.strike_s,
        "duration_s": step.time_s,
        "length_m": step.length_m,
        "pelvis_mean_speed_mps": step.speed_mps,
        "contact_time_s": step.contact_s,
        "flight_after_s": step.time_s - step.contact_s,
        "phase": "run_up",
        "scored": True,
    }


def _heights(heights: TrueHeights) -> dict[str, float]:
    return {
        "standing_m": heights.standing_m,
        "lowest_m": heights.lowest_m,
        "lowest_time_s": heights.lowest_s,
        "lowering_m": heights.standing_m - heights.lowest_m,
        "at_plant_touchdown_m": heights.plant_m,
        "at_toe_off_m": heights.toe_off_m,
        "apex_m": heights.apex_m,
        "apex_time_s": heights.apex_s,
        "apex_rise_over_toe_off_m": heights.apex_m - heights.toe_off_m,
        "apex_rise_over_standing_m": heights.apex_m - heights.standing_m,
        "vertical_speed_at_toe_off_mps": heights.toe_off_vertical_mps,
    }


def _flaw(flaw: Imperfection) -> dict[str, Any]:
    return {
        "mounting_matrix": flaw.mounting.as_matrix().tolist(),
        "accel_bias_mps2": flaw.accel_bias_mps2.tolist(),
        "gyro_bias_radps": flaw.gyro_bias_radps.tolist(),
        "accel_scale": flaw.accel_scale.tolist(),
        "gyro_scale": flaw.gyro_scale.tolist(),
        "ring_hz": flaw.ring_hz,
        "ring_damping": flaw.ring_damping,
        "clock_skew_ppm": flaw.clock_skew_ppm,
        "clock_offset_s": flaw.clock_offset_s,
    }


def _rounded(value: Any) -> Any:
    """Round to six decimals: a micrometre, a microsecond; the same on every machine."""
    if isinstance(value, float):
        return round(value, 6)
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_rounded(item) for item in value]
    return value
