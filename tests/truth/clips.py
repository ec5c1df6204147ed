"""Open motion-capture clips of people as body movement with contacts.

Two sources: run-up jumps at 30 Hz with a table of contacts, and standing jumps, a run and a
walk at 120 Hz, whose contacts follow here from foot height and speed. Neither had a force
plate, so instants are good to 40 and 17 ms.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
from scipy.interpolate import UnivariateSpline
from scipy.spatial.transform import Rotation

from imujump.model import BoolArray, FloatArray, Side

from .facts import Contact, JumpPlan
from .motion import BodyMotion, Segment, continuous_quaternions

GRID_HZ = 1200.0
RUN_UP_SET, STANDING_SET = "mocap_runup_jumps", "mocap_cmu_120hz"
NEAR_GROUND_M, PLANTED_SPEED_MPS = 0.035, 1.3
SHORTEST_GAP_S, SHORTEST_CONTACT_S = 0.05, 0.06
"""Contact rule of the run-up set's own description, applied to the 120 Hz clips as well."""

RUN_UP_ANKLE_M = 0.0884
RUN_UP_STANDING_M = 0.7957 + RUN_UP_ANKLE_M
"""Standing ankle and mid-hip height of the run-up set's one skeleton: thigh 0.399 m and
shank 0.397 m (its description) over an ankle that stands about 9 cm high."""


@dataclass(frozen=True, slots=True)
class Clip:
    """A clip's movement on the fine grid, its contacts and its jump, in clip time."""

    name: str
    task: str
    source_rate_hz: float
    motion: BodyMotion
    contacts: tuple[Contact, ...]
    jump: JumpPlan | None
    blend_in_s: tuple[float, float]
    blend_out_s: tuple[float, float]
    standing_height_m: float
    ankle_height_m: float
    uncertainty_s: float
    step_uncertainty_m: float
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Frames:
    """A clip as recorded: positions (n, 3) and segment-to-world matrices (n, 3, 3), z up."""

    time_s: FloatArray
    pelvis_matrix: FloatArray
    hips_m: dict[Side, FloatArray]
    knees_m: dict[Side, FloatArray]
    ankles_m: dict[Side, FloatArray]
    balls_m: dict[Side, FloatArray]
    tips_m: dict[Side, FloatArray]
    shank_matrix: dict[Side, FloatArray]

    @property
    def pelvis_m(self) -> FloatArray:
        """Mid-hip, the pelvis origin."""
        return (self.hips_m[Side.LEFT] + self.hips_m[Side.RIGHT]) / 2.0

    def between(self, start_s: float, end_s: float) -> _Frames:
        """The frames of a span of time."""
        use = (self.time_s >= start_s) & (self.time_s <= end_s)
        cut: dict[str, Any] = {}
        for field in fields(self):
            value = getattr(self, field.name)
            cut[field.name] = (
                {side: v[use] for side, v in value.items()}
                if isinstance(value, dict)
                else value[use]
            )
        return _Frames(**cut)


def _local_mean(matrices: FloatArray, vectors: FloatArray) -> FloatArray:
    """Mean of world vectors (n, 3) seen from the segment, as unit vector."""
    mean = np.einsum("nji,nj->ni", matrices, vectors).mean(axis=0)
    result: FloatArray = mean / np.linalg.norm(mean)
    return result


def _pelvis_axes(frames: _Frames) -> FloatArray:
    """Nominal pelvis axes in the segment's own: left through the hips, up on average."""
    left = _local_mean(frames.pelvis_matrix, frames.hips_m[Side.LEFT] - frames.hips_m[Side.RIGHT])
    world_up = np.tile([0.0, 0.0, 1.0], (len(frames.time_s), 1))
    up = _local_mean(frames.pelvis_matrix, world_up)
    up = up - (up @ left) * left
    up /= np.linalg.norm(up)
    return np.column_stack([np.cross(left, up), left, up])


def _shank_axes(frames: _Frames, side: Side) -> FloatArray:
    """Nominal shank axes in the segment's own: up to the knee, forward to the ball on average."""
    matrices = frames.shank_matrix[side]
    up = _local_mean(matrices, frames.knees_m[side] - frames.ankles_m[side])
    forward = _local_mean(matrices, frames.balls_m[side] - frames.ankles_m[side])
    forward = forward - (forward @ up) * up
    forward /= np.linalg.norm(forward)
    return np.column_stack([forward, np.cross(up, forward), up])


def _smooth(time_s: FloatArray, values: FloatArray, rms: float, fine_s: FloatArray) -> FloatArray:
    """Quintic smoothing spline of each column; ``rms`` is the total residual over columns."""
    columns = values.shape[1]
    allowed = len(time_s) * rms**2 / columns
    return np.column_stack(
        [UnivariateSpline(time_s, values[:, i], k=5, s=allowed)(fine_s) for i in range(columns)]
    )


def _smooth_rotation(
    time_s: FloatArray, matrices: FloatArray, rms_rad: float, fine_s: FloatArray
) -> Rotation:
    # A small turn by an angle moves the quaternion by half of it.
    quat = continuous_quaternions(Rotation.from_matrix(matrices))
    return Rotation.from_quat(_smooth(time_s, quat, rms_rad / 2, fine_s))


def _to_motion(frames: _Frames, rms_m: float, rms_rad: float) -> BodyMotion:
    time_s = frames.time_s
    fine_s = time_s[0] + np.arange(int((time_s[-1] - time_s[0]) * GRID_HZ + 1e-6) + 1) / GRID_HZ

    def segment(origin_m: FloatArray, matrices: FloatArray) -> Segment:
        return Segment(
            _smooth(time_s, origin_m, rms_m, fine_s),
            _smooth_rotation(time_s, matrices, rms_rad, fine_s),
        )

    return BodyMotion(
        fine_s,
        segment(frames.pelvis_m, frames.pelvis_matrix @ _pelvis_axes(frames)),
        {
            side: segment(
                frames.ankles_m[side], frames.shank_matrix[side] @ _shank_axes(frames, side)
            )
            for side in Side
        },
    )


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def _number(text: str) -> float | None:
    return float(text) if text else None


def run_up_names(data: Path) -> list[str]:
    """Names of the run-up clips, in the order of their table."""
    return [row["clip"] for row in _rows(data / RUN_UP_SET / "jumps.csv")]


def run_up_clip(data: Path, name: str, early_s: float = 0.45, blend_s: float = 1.2) -> Clip:
    """One run-up jump at 30 Hz.

    Parameters
    ----------
    data : Path
        Folder of the open data sets.
    name : str
        The clip's name in ``jumps.csv``.
    early_s : float
        How long before the first counted strike the blend from standing ends.
    blend_s : float
        Length of that blend.
    """
    folder = data / RUN_UP_SET
    row = next(r for r in _rows(folder / "jumps.csv") if r["clip"] == name)
    contacts = tuple(
        Contact(Side(r["foot"]), _number(r["strike_s"]), _number(r["off_s"]))
        for r in _rows(folder / "contacts.csv")
        if r["clip"] == name
    )
    with np.load(folder / f"{name}.npz") as file:
        raw = {key: np.asarray(file[key], dtype=float) for key in file.files}

    def sides(joint: str) -> dict[Side, FloatArray]:
        return {side: raw[f"{side[0]}_{joint}"] for side in Side}

    frames = _Frames(
        raw["t"],
        raw["pelvis_rot"],
        sides("hip_pos"),
        sides("knee_pos"),
        sides("ankle_pos"),
        sides("toe_pos"),
        sides("tip_pos"),
        sides("shank_rot"),
    )
    jump = _jump_near(contacts, float(row["takeoff_s"]), two="two-foot" in row["takeoff"])
    counted = int(row["runup_contacts"])
    jump = JumpPlan(jump.plant, counted - len(jump.plant))
    plant_s = jump.plant[0].strike_s
    assert plant_s is not None
    strikes = sorted(c.strike_s for c in contacts if c.strike_s is not None)
    first_s = [s for s in strikes if s <= plant_s][-1 - jump.run_up_steps]
    landing_s = float(row["landing_s"])
    start_s = max(first_s - early_s - blend_s, 0.0)
    return Clip(
        name=name,
        task="approachjump",
        source_rate_hz=30.0,
        motion=_to_motion(frames, 0.001, 0.003),
        contacts=contacts,
        jump=jump,
        blend_in_s=(start_s, first_s - early_s),
        blend_out_s=(landing_s + 1.25, min(landing_s + 2.25, float(frames.time_s[-1]) - 0.01)),
        standing_height_m=RUN_UP_STANDING_M,
        ankle_height_m=RUN_UP_ANKLE_M,
        uncertainty_s=0.04,
        step_uncertainty_m=0.05,
        notes=(
            "30 Hz game-like capture; content above about 10 Hz is missing, peaks are blunt",
            "contact instants from foot height and speed, no force plate",
            "standing pose is constructed, standing height from leg length (about 0.03 m)",
            "pelvis pitch is relative to the mean attitude of the clip (about 0.1 rad)",
        ),
    )


def _leg_length_m(frames: _Frames, side: Side) -> float:
    thigh = np.linalg.norm(frames.hips_m[side] - frames.knees_m[side], axis=1)
    shank = np.linalg.norm(frames.knees_m[side] - frames.ankles_m[side], axis=1)
    return float(np.median(thigh + shank))


def _jump_near(contacts: tuple[Contact, ...], take_off_s: float, *, two: bool) -> JumpPlan:
    """The plant contacts that end at a take-off known to about a frame."""
    last: dict[Side, Contact] = {}
    for c in contacts:
        if c.off_s is not None and c.off_s <= take_off_s + 0.05:
            kept = last.get(c.side)
            if kept is None or (kept.off_s or 0.0) < c.off_s:
                last[c.side] = c
    plant = sorted(last.values(), key=lambda c: c.off_s or 0.0)[-(2 if two else 1) :]
    return JumpPlan(tuple(sorted(plant, key=lambda c: c.strike_s or 0.0)), 0)


def cut_names(data: Path) -> list[tuple[str, str, int]]:
    """(clip, task, number) of every 120 Hz part: ten standing jumps, the walk, the run."""
    count = len(_rows(data / STANDING_SET / "jumps_from_markers.csv"))
    jumps = [("01_01", "standingjump", number) for number in range(count)]
    return [*jumps, ("02_01", "walk", 0), ("02_03", "run", 0)]


def marker_clip(data: Path, name: str, task: str, number: int) -> Clip:
    """One 120 Hz part: a standing jump by its number in the clip, or a whole walk or run."""
    folder = data / STANDING_SET
    whole = _marker_frames(folder / f"{name}_joints.npz")
    standing_m, ankle_m = _standing_heights(whole)
    end_s = float(whole.time_s[-1])
    off_s = landing_s = None
    if task == "standingjump":
        row = _rows(folder / "jumps_from_markers.csv")[number]
        off_s, landing_s = float(row["takeoff_s"]), float(row["landing_s"])
        blend_in_s = (max(off_s - 1.7, 0.0), max(off_s - 0.9, 0.8))
        blend_out_s = (min(landing_s + 1.0, end_s - 0.5), min(landing_s + 1.8, end_s - 0.01))
    else:
        share_s = min(1.2, 0.42 * end_s)
        blend_in_s = (0.0, 0.8 * share_s)
        blend_out_s = (end_s - share_s, end_s - 0.01)
    frames = whole.between(blend_in_s[0] - 0.5, blend_out_s[1] + 0.5)
    contacts = tuple(
        c for side in Side for c in _found_contacts(frames, side, _usual_low_m(whole, side))
    )
    jump = None
    if off_s is not None:
        jump = _jump_near(contacts, off_s, two=True)
        jump = JumpPlan(tuple(Contact(c.side, None, c.off_s) for c in jump.plant), 0)
        contacts = _without_earlier(contacts, jump)
    return Clip(
        name=name,
        task=task,
        source_rate_hz=120.0,
        motion=_to_motion(frames, 0.0015, 0.004),
        contacts=contacts,
        jump=jump,
        blend_in_s=blend_in_s,
        blend_out_s=blend_out_s,
        standing_height_m=standing_m,
        ankle_height_m=ankle_m,
        uncertainty_s=0.017,
        step_uncertainty_m=0.03,
        notes=(
            "skeleton fitted to optical markers; impact peaks are blunt",
            "contact instants from foot height and speed, no force plate",
            "standing pose is constructed, standing height from quiet parts or leg length",
        ),
    )


def _without_earlier(contacts: tuple[Contact, ...], jump: JumpPlan) -> tuple[Contact, ...]:
    """Drop what came before the push-off from standing."""
    first_s = min(c.off_s for c in jump.plant if c.off_s is not None)
    later = tuple(c for c in contacts if c.strike_s is not None and c.strike_s > first_s)
    return jump.plant + later


def _marker_frames(path: Path) -> _Frames:
    turn = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])  # y up to z up
    with np.load(path) as file:
        names = [str(name) for name in file["names"]]
        position = file["pos_m"] @ turn.T
        matrix = turn @ file["rot"]
        time_s = np.arange(len(position)) / float(file["fs"])

    def sides(bone: str, values: FloatArray) -> dict[Side, FloatArray]:
        return {side: values[:, names.index(side[0] + bone)] for side in Side}

    return _Frames(
        time_s,
        matrix[:, names.index("root")],
        sides("hipjoint", position),
        sides("femur", position),
        sides("tibia", position),
        sides("foot", position),
        sides("toes", position),
        sides("tibia", matrix),
    )


def _standing_heights(frames: _Frames) -> tuple[float, float]:
    """Heights of pelvis origin and ankle in quiet standing.

    From frames with a slow pelvis and near-straight legs; for clips without any, from the
    leg length.
    """
    ankle_m = float(np.median([np.percentile(frames.ankles_m[side][:, 2], 20) for side in Side]))
    velocity = np.gradient(frames.pelvis_m, frames.time_s, axis=0)
    slow = np.linalg.norm(velocity, axis=1) < 0.08
    if slow.sum() > 60:
        return float(np.percentile(frames.pelvis_m[slow, 2], 75)), ankle_m
    legs_m = np.mean([_leg_length_m(frames, side) for side in Side])
    return float(0.99 * legs_m + ankle_m), ankle_m


def _usual_low_m(frames: _Frames, side: Side) -> FloatArray:
    """Usual lowest height of ankle, ball and tip (5th percentile over the clip)."""
    points = (frames.ankles_m[side], frames.balls_m[side], frames.tips_m[side])
    return np.array([np.percentile(p[:, 2], 5) for p in points])


def _found_contacts(frames: _Frames, side: Side, low_m: FloatArray) -> list[Contact]:
    """Contacts of one foot: a point of it near the ground and slow; upsampled to 1200 Hz."""
    fine_s = np.arange(frames.time_s[0], frames.time_s[-1], 1.0 / GRID_HZ)
    down = np.zeros(len(fine_s), dtype=bool)
    points = (frames.ankles_m[side], frames.balls_m[side], frames.tips_m[side])
    for point, low in zip(points, low_m, strict=True):
        path = _smooth(frames.time_s, point, 0.0015, fine_s)
        speed = np.linalg.norm(np.gradient(path, fine_s, axis=0), axis=1)
        down |= (path[:, 2] < low + NEAR_GROUND_M) & (speed < PLANTED_SPEED_MPS)
    contacts = []
    for first, last in _spells(~_closed(~down, SHORTEST_GAP_S), SHORTEST_CONTACT_S):
        strike = None if first == 0 else float(fine_s[first])
        off = None if last >= len(fine_s) - 1 else float(fine_s[last])
        contacts.append(Contact(side, strike, off))
    return contacts


def _closed(up: BoolArray, shortest_s: float) -> BoolArray:
    """Remove spells of ``up`` shorter than a duration."""
    kept = np.zeros_like(up)
    for first, last in _spells(up, shortest_s):
        kept[first : last + 1] = True
    return kept


def _spells(flags: BoolArray, shortest_s: float) -> list[tuple[int, int]]:
    """First and last index of each run of true values that is long enough."""
    padded = np.concatenate([[False], flags, [False]]).astype(int)
    edges = np.flatnonzero(np.diff(padded))
    pairs: list[Any] = list(zip(edges[::2], edges[1::2] - 1, strict=True))
    return [(int(a), int(b)) for a, b in pairs if (b - a + 1) / GRID_HZ >= shortest_s]
