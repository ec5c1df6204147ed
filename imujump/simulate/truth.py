"""What is true of a motion: events, steps and metrics, worked out from the motion itself.

Nothing here looks at a signal. Events are the programmed instants; lengths, speeds, heights
and angles are read off the exact paths of ankles and pelvis. Speeds are of the middle of
the hips, heights of the pelvis sensor's place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from imujump.model import METRIC_NAMES, EventKind, FloatArray, Placement, Side, TakeOffStyle
from imujump.simulate.motion import Motion
from imujump.simulate.script import JumpMark

GRID_S = 0.0005
"""Grid on which extremes and means are taken; a smooth extreme lies within 1e-5 of it."""

PEAK_WINDOW_S = 0.10
"""A landing foot's peak is sought this long after its strike (own choice: impact peaks come
within 50 ms)."""


@dataclass(frozen=True, slots=True)
class TrueEvent:
    """A programmed foot strike or toe-off."""

    kind: EventKind
    side: Side
    time_s: float


@dataclass(frozen=True, slots=True)
class TrueStep:
    """One step of the approach, touchdown to next touchdown; -1 ends at the plant."""

    number: int
    side: Side
    start_s: float
    strike_s: float
    length_m: float
    contact_s: float
    speed_mps: float

    @property
    def time_s(self) -> float:
        """Touchdown to touchdown."""
        return self.strike_s - self.start_s


@dataclass(frozen=True, slots=True)
class TrueHeights:
    """Heights of one pelvis point through a jump, metres above the ground."""

    standing_m: float
    lowest_m: float
    lowest_s: float
    plant_m: float
    toe_off_m: float
    apex_m: float
    apex_s: float
    toe_off_vertical_mps: float


@dataclass(frozen=True, slots=True)
class JumpTruth:
    """All that is true of one approach jump. ``metrics`` holds every contract name."""

    mark: JumpMark
    first_contact_side: Side
    landing_sides: tuple[Side, ...]
    events: tuple[TrueEvent, ...]
    steps: tuple[TrueStep, ...]
    origin: TrueHeights
    sensor: TrueHeights
    speed_at_plant_mps: float
    metrics: Mapping[str, float | None]


def events(motion: Motion, start_s: float = -math.inf, end_s: float = math.inf) -> list[TrueEvent]:
    """All foot strikes and toe-offs within a span, in order of time."""
    found = []
    for side, foot in motion.feet.items():
        for kind, times in (
            (EventKind.FOOT_STRIKE, foot.strike_s),
            (EventKind.TOE_OFF, foot.toe_off_s),
        ):
            found += [
                TrueEvent(kind, side, float(t))
                for t in times
                if math.isfinite(t) and start_s <= t <= end_s
            ]
    return sorted(found, key=lambda e: e.time_s)


def jump_truths(motion: Motion) -> list[JumpTruth]:
    """Truth of every approach jump of a motion, in order."""
    return [jump_truth(motion, mark) for mark in motion.jumps]


def jump_truth(motion: Motion, mark: JumpMark) -> JumpTruth:
    """Work out the truth of one approach jump."""
    seen = events(motion, mark.start_s, mark.end_s)
    steps = _steps(motion, mark, seen)
    penultimate_s = steps[-1].start_s
    heights = {
        name: _heights(motion, mark, penultimate_s, of_sensor)
        for name, of_sensor in (("origin", False), ("sensor", True))
    }
    landings = _landings(mark, seen)
    found = _metrics(motion, mark, steps, heights["sensor"], landings)
    return JumpTruth(
        mark,
        mark.side,
        tuple(sorted(landings, key=lambda s: landings[s])),
        tuple(seen),
        tuple(steps),
        heights["origin"],
        heights["sensor"],
        float(_speed(motion, np.array([mark.plant_s]))[0]),
        {name: found[name] for name in METRIC_NAMES},
    )


def _landings(mark: JumpMark, seen: list[TrueEvent]) -> dict[Side, float]:
    """Strike of each landing foot; a foot that comes after the first has left runs out."""
    after = [e for e in seen if e.time_s >= mark.landing_s]
    found = {after[0].side: after[0].time_s}
    for event in after[1:]:
        if event.kind is EventKind.TOE_OFF:
            break
        found.setdefault(event.side, event.time_s)
    return found


def _grid(start_s: float, end_s: float) -> FloatArray:
    return np.linspace(start_s, end_s, max(3, math.ceil((end_s - start_s) / GRID_S) + 1))


def _speed(motion: Motion, time_s: FloatArray) -> FloatArray:
    rate = motion.pelvis(time_s).position.rate
    return np.hypot(rate[:, 0], rate[:, 1])


def _mean_speed(motion: Motion, start_s: float, end_s: float) -> float:
    t = _grid(start_s, end_s)
    return float(np.trapezoid(_speed(motion, t), t) / (t[-1] - t[0]))


def _steps(motion: Motion, mark: JumpMark, seen: list[TrueEvent]) -> list[TrueStep]:
    strikes = [
        e for e in seen if e.kind is EventKind.FOOT_STRIKE and e.time_s <= mark.plant_s + 1e-9
    ]
    steps = []
    for i, (a, b) in enumerate(pairwise(strikes)):
        ends = np.array([a.time_s, b.time_s])
        way = np.diff(motion.pelvis(ends).position.value[:, :2], axis=0)[0]
        from_m = motion.feet[a.side].ankle(ends[:1]).value[0, :2]
        to_m = motion.feet[b.side].ankle(ends[1:]).value[0, :2]
        foot = motion.feet[a.side]
        toe_off = float(foot.toe_off_s[foot.stance_index(ends[:1])[0]])
        steps.append(
            TrueStep(
                i - (len(strikes) - 1),
                b.side,
                a.time_s,
                b.time_s,
                float((to_m - from_m) @ way / np.hypot(*way)),
                toe_off - a.time_s,
                _mean_speed(motion, a.time_s, b.time_s),
            )
        )
    return steps


def _heights(motion: Motion, mark: JumpMark, penultimate_s: float, of_sensor: bool) -> TrueHeights:
    def height(time_s: FloatArray) -> FloatArray:
        place = motion.sensor(Placement.PELVIS, time_s) if of_sensor else motion.pelvis(time_s)
        return place.position.value[:, 2]

    low_t = _grid(penultimate_s, mark.toe_off_s)
    low = height(low_t)
    top_t = _grid(mark.toe_off_s, mark.landing_s)
    top = height(top_t)
    at = np.array([mark.toe_off_s])
    place = motion.sensor(Placement.PELVIS, at) if of_sensor else motion.pelvis(at)
    still = _grid(mark.still_from_s, mark.start_s)
    return TrueHeights(
        float(height(still).mean()),
        float(low.min()),
        float(low_t[low.argmin()]),
        float(height(np.array([mark.plant_s]))[0]),
        float(top[0]),
        float(top.max()),
        float(top_t[top.argmax()]),
        float(place.position.rate[0, 2]),
    )


def _shank_angle_rad(motion: Motion, side: Side, time_s: float) -> float:
    """Angle of the shank from vertical along the way, foot ahead positive."""
    at = np.array([time_s])
    way = motion.pelvis(at).position.rate[0, :2]
    axis = motion.shank(side, at).frame.z.value[0]
    return math.atan2(-float(axis[:2] @ way / np.hypot(*way)), float(axis[2]))


def _metrics(
    motion: Motion,
    mark: JumpMark,
    steps: list[TrueStep],
    height: TrueHeights,
    landings: dict[Side, float],
) -> dict[str, float | None]:
    last, penultimate = steps[-1], steps[-2] if len(steps) > 1 else None
    plant_mps, leaving_mps = _speed(motion, np.array([mark.plant_s, mark.toe_off_s])).tolist()
    flight = mark.landing_s - mark.toe_off_s
    contact = mark.toe_off_s - mark.plant_s
    angles = motion.pelvis_angles(np.array([mark.still_from_s, mark.plant_s, mark.landing_s])).value
    lowering = height.standing_m - height.lowest_m
    plant_lowering = height.standing_m - height.plant_m
    found: dict[str, float | None] = {
        "approach_speed_mps": last.speed_mps,
        "peak_speed_mps": max(s.speed_mps for s in steps),
        "plant_speed_mps": plant_mps,
        "take_off_speed_mps": leaving_mps,
        "speed_loss_mps": plant_mps - leaving_mps,
        "last_step_m": last.length_m,
        "penultimate_step_m": penultimate.length_m if penultimate else None,
        "last_step_ratio": last.length_m / penultimate.length_m if penultimate else None,
        "last_step_s": last.time_s,
        "penultimate_step_s": penultimate.time_s if penultimate else None,
        "penultimate_contact_s": last.contact_s,
        "lowering_m": lowering,
        "plant_lowering_m": plant_lowering,
        "plant_sink_m": lowering - plant_lowering,
        "plant_interval_s": None,
        "take_off_contact_s": contact,
        "plant_shank_angle_rad": _shank_angle_rad(motion, mark.side, mark.plant_s),
        "pelvis_tilt_rad": float(angles[1, 1] - angles[0, 1]),
        "free_leg_peak_radps": None,
        "free_leg_lead_s": None,
        "turn_rad": float(angles[2, 0] - angles[1, 0]),
        "flight_s": flight,
        "height_flight_m": motion.gravity_mps2 * flight**2 / 8.0,
        "take_off_vertical_mps": height.toe_off_vertical_mps,
        "height_velocity_m": height.toe_off_vertical_mps**2 / (2.0 * motion.gravity_mps2),
        "pelvis_rise_m": height.apex_m - height.standing_m,
        "reactive_ratio": flight / contact,
        "landing_interval_s": abs(landings[Side.LEFT] - landings[Side.RIGHT])
        if len(landings) == 2
        else None,
    }
    if mark.style is TakeOffStyle.ONE_FOOT:
        t = _grid(mark.plant_s, mark.toe_off_s)
        forward = -motion.shank(mark.side.other, t).angular_rate_radps()[:, 1]
        found["free_leg_peak_radps"] = float(forward.max())
        found["free_leg_lead_s"] = float(mark.toe_off_s - t[forward.argmax()])
    else:
        strikes = motion.feet[mark.side.other].strike_s
        second = strikes[(strikes >= mark.plant_s) & (strikes <= mark.toe_off_s)]
        found["plant_interval_s"] = float(second[0] - mark.plant_s)
    for side in Side:
        peak = None
        if side in landings:
            t = _grid(landings[side], landings[side] + PEAK_WINDOW_S)
            force = motion.sensor(side.shank, t).specific_force_mps2(motion.gravity_mps2)
            peak = float(np.linalg.norm(force, axis=1).max())
        found[f"landing_peak_{side}_mps2"] = peak
    return found
