"""Truth files beside recordings: what really happened in each attempt.

Two layouts are read. The demo recordings list their ``attempts``, each with ``metrics``
under the contract's names. The open virtual recordings describe one jump per file. Both
share field names, described in ``recordings_demo/README.md``.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from imujump.errors import RecordingError
from imujump.model import METRIC_NAMES, EventKind, GaitEvent, Side, TakeOffStyle

SUFFIX = "_truth.json"

TIMES = frozenset(
    {
        "last_step_s",
        "penultimate_step_s",
        "penultimate_contact_s",
        "plant_interval_s",
        "take_off_contact_s",
        "flight_s",
        "landing_interval_s",
    }
)
"""Metrics that lie between two instants, whose truth is only as good as both."""


@dataclass(frozen=True, slots=True)
class TrueAttempt:
    """What is true of one jump; ``metrics`` holds what the source can know."""

    style: TakeOffStyle | None
    toe_off_s: float
    timing_sigma_s: float
    metrics: Mapping[str, float]
    events: tuple[GaitEvent, ...]


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of a recording. Without ``whole`` data are missing on purpose."""

    attempts: tuple[TrueAttempt, ...]
    whole: bool


def truth_file(recording: Path) -> Path:
    """Where the truth of a recording lies: ``NAME_truth.json`` beside it.

    >>> truth_file(Path("hall/one_foot.imujump")).name
    'one_foot_truth.json'
    >>> truth_file(Path("sub-1_tracksys-imu_motion.tsv")).name
    'sub-1_tracksys-imu_truth.json'
    """
    return recording.with_name(recording.stem.removesuffix("_motion") + SUFFIX)


def read_truth(path: Path) -> Truth:
    """Read a truth file.

    Raises
    ------
    RecordingError
        With the file, the place and what to do.
    """
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        raise RecordingError(
            str(path), f"the truth file cannot be read ({error})", "check the file and its rights"
        ) from error
    try:
        return parse_truth(record)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise RecordingError(
            str(path),
            f"the truth file lacks a field or holds a wrong one ({type(error).__name__}: {error})",
            "see recordings_demo/README.md for the fields",
        ) from error


def parse_truth(record: Mapping[str, Any]) -> Truth:
    """Read a truth record of either layout."""
    if "attempts" in record:
        jumps = record["attempts"]
    else:
        jumps = [record] if (record.get("take_off") or {}).get("toe_off_s") is not None else []
    return Truth(tuple(_attempt(jump) for jump in jumps), not record.get("gap"))


def _attempt(record: Mapping[str, Any]) -> TrueAttempt:
    take_off = record["take_off"]
    events = [e for e in record["events"] if e.get("scored", True)]
    timing_s = max((float(e.get("uncertainty_s") or 0.0) for e in events), default=0.0)
    known = record.get("metrics") or _metrics(record)
    style = take_off.get("style")
    return TrueAttempt(
        TakeOffStyle(style) if style else None,
        float(take_off["toe_off_s"]),
        timing_s,
        {
            name: float(value)
            for name, value in known.items()
            if name in METRIC_NAMES and value is not None and math.isfinite(value)
        },
        tuple(
            GaitEvent(EventKind(e["kind"]), Side(e["side"]), float(e["time_s"]), timing_s)
            for e in events
        ),
    )


def _metrics(record: Mapping[str, Any]) -> dict[str, float | None]:
    """Metrics of the contract from the fields of a one-jump truth file."""
    take_off = record["take_off"]
    heights = (record.get("pelvis_height") or {}).get("sensor_point") or {}
    standing_m, plant_m = heights.get("standing_m"), heights.get("at_plant_touchdown_m")
    plant_lowering_m = None
    if standing_m is not None and plant_m is not None:
        plant_lowering_m = standing_m - plant_m
    return {
        "approach_speed_mps": record.get("approach_speed_last_step_mean_mps"),
        "plant_speed_mps": record.get("speed_at_plant_touchdown_mps"),
        "take_off_speed_mps": record.get("speed_at_toe_off_mps"),
        "last_step_m": record.get("last_step_m"),
        "penultimate_step_m": record.get("penultimate_step_m"),
        "last_step_ratio": record.get("last_step_ratio"),
        "lowering_m": heights.get("lowering_m"),
        "plant_lowering_m": plant_lowering_m,
        "plant_interval_s": take_off.get("plant_interval_s"),
        "take_off_contact_s": take_off.get("contact_time_s"),
        "plant_shank_angle_rad": record.get("plant_shank_angle_rad"),
        "pelvis_tilt_rad": record.get("pelvis_pitch_at_plant_rad"),
        "turn_rad": record.get("pelvis_yaw_change_plant_to_landing_rad"),
        "flight_s": take_off.get("flight_s"),
        "take_off_vertical_mps": heights.get("vertical_speed_at_toe_off_mps"),
        "pelvis_rise_m": heights.get("apex_rise_over_standing_m"),
    }
