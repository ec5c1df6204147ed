"""A recording made from a movement: samples of three sensors and the truth beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from imujump.model import FloatArray, Placement

from .clips import GRID_HZ, Clip, marker_clip, run_up_clip
from .facts import Contact, Facts, JumpPlan, Scope
from .motion import all_ideal_signals, mirrored
from .sensor_errors import SensorSet, describe, draw_sensor_set, measure_all
from .standing import StandingPlan, with_standing


@dataclass(frozen=True, slots=True)
class VirtualRecording:
    """Samples (m, 6) of each sensor, SI in sensor axes, and the truth document."""

    task: str
    rate_hz: int
    samples: Mapping[Placement, FloatArray]
    truth: Mapping[str, Any]


def shifted_contacts(
    contacts: tuple[Contact, ...], shift_s: float, *, mirror: bool = False
) -> tuple[Contact, ...]:
    """Contacts moved in time, and to the other side for a mirrored movement."""

    def moved(time_s: float | None) -> float | None:
        return None if time_s is None else time_s + shift_s

    return tuple(
        Contact(c.side.other if mirror else c.side, moved(c.strike_s), moved(c.off_s))
        for c in contacts
    )


def run_up_recording(data: Path, name: str, seed: int, *, plain: bool = False) -> VirtualRecording:
    """A run-up clip with errors drawn from ``seed``; ``plain`` keeps side and blend fixed."""
    rng = np.random.default_rng([seed, 2])
    if plain:
        return clip_recording(run_up_clip(data, name), seed)
    clip = run_up_clip(data, name, float(rng.uniform(0.40, 0.55)), float(rng.uniform(1.0, 1.4)))
    return clip_recording(clip, seed, mirror=bool(rng.uniform() < 0.5))


def marker_recording(data: Path, part: tuple[str, str, int], seed: int) -> VirtualRecording:
    """A standing jump, walk or run with errors drawn from ``seed``."""
    mirror = bool(np.random.default_rng([seed, 2]).uniform() < 0.5)
    return clip_recording(marker_clip(data, *part), seed, mirror=mirror)


def clip_recording(clip: Clip, seed: int, *, mirror: bool = False) -> VirtualRecording:
    """Stand, move as in the clip, stand; measured by sensors drawn from ``seed``."""
    rng = np.random.default_rng([seed, 3])
    plan = StandingPlan(
        blend_in_s=clip.blend_in_s,
        blend_out_s=clip.blend_out_s,
        still_start_s=round(float(rng.uniform(3.0, 4.5)) * GRID_HZ) / GRID_HZ,
        still_end_s=round(float(rng.uniform(3.0, 4.0)) * GRID_HZ) / GRID_HZ,
        pelvis_height_m=clip.standing_height_m,
        shank_end_height_m=clip.ankle_height_m,
        sway_m=float(rng.choice([0.0, 0.002, 0.004])),
    )
    source = mirrored(clip.motion) if mirror else clip.motion
    motion, _ = with_standing(source, plan, rng)
    sensor_set = draw_sensor_set(seed, soft_tissue=False)
    # The blend starts on a grid instant; the shift is taken from it, not from the plan.
    shift_s = plan.still_start_s - float(source.time_s[source.at(plan.blend_in_s[0])])
    contacts = shifted_contacts(clip.contacts, shift_s, mirror=mirror)
    jump = None
    if clip.jump is not None:
        plant = shifted_contacts(clip.jump.plant, shift_s, mirror=mirror)
        jump = JumpPlan(plant, clip.jump.run_up_steps)
    scope = Scope(
        start_s=plan.blend_in_s[1] + shift_s,
        end_s=plan.blend_out_s[0] + shift_s,
        uncertainty_s=clip.uncertainty_s,
        step_at_touchdown=False,
        step_uncertainty_m=clip.step_uncertainty_m,
        standing_m=plan.pelvis_height_m,
    )
    truth: dict[str, Any] = {
        "source": "mocap",
        "variant": {
            "clip": clip.name,
            "mirrored": mirror,
            "clip_time_to_recording_time_s": round(shift_s, 4),
            "source_rate_hz": clip.source_rate_hz,
            "sway_m": plan.sway_m,
        },
        "duration_s": round(plan.duration_s, 4),
        **Facts(motion, contacts, jump, scope).document(),
        **still_and_notes(plan, shift_s, clip.notes),
        "sensor_model": describe(sensor_set),
    }
    signals = measure_all(all_ideal_signals(motion), GRID_HZ, sensor_set)
    return with_gap(
        VirtualRecording(clip.task, sensor_set.rate_hz, signals, truth), sensor_set, rng
    )


def still_and_notes(plan: StandingPlan, shift_s: float, notes: tuple[str, ...]) -> dict[str, Any]:
    """The truth's fields about standing, blends and remarks."""

    def span(blend_s: tuple[float, float], reason: str) -> dict[str, Any]:
        start_s, end_s = (round(t + shift_s, 4) for t in blend_s)
        return {"start_s": start_s, "end_s": end_s, "reason": reason}

    return {
        "not_scored_intervals_s": [
            span(plan.blend_in_s, "blend from standing into the movement"),
            span(plan.blend_out_s, "blend from the movement into standing"),
        ],
        "still_start_s": round(plan.still_start_s, 4),
        "still_end_s": round(plan.still_end_s, 4),
        "notes": list(notes),
    }


def with_gap(
    recording: VirtualRecording, sensor_set: SensorSet, rng: np.random.Generator
) -> VirtualRecording:
    """Lose 60 ms of one sensor in one recording of twelve."""
    truth = dict(recording.truth)
    truth["gap"] = None
    if rng.uniform() < 1 / 12:
        placement = Placement(rng.choice(list(Placement)))
        start_s = float(rng.uniform(0.45, 0.75)) * truth["duration_s"]
        first = round(start_s * sensor_set.rate_hz)
        samples = {key: value.copy() for key, value in recording.samples.items()}
        samples[placement][first : first + round(0.06 * sensor_set.rate_hz)] = np.nan
        recording = replace(recording, samples=samples)
        truth["gap"] = {
            "tracked_point": str(placement),
            "start_s": round(first / sensor_set.rate_hz, 4),
            "duration_s": 0.06,
        }
    return replace(recording, truth=truth)
