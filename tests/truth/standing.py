"""Standing still before and after a movement, joined to it by smooth blends.

The pose runs from standing to moving with a weight that has three continuous derivatives;
the pelvis' horizontal velocity is scaled by that weight and integrated, so that speeds stay
those of the signals. Feet slide during a blend: nothing about steps is true there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from imujump.model import FloatArray, Side

from .motion import BodyMotion, Segment, yaw_rad


@dataclass(frozen=True, slots=True)
class StandingPlan:
    """When the figure stands, and in which pose.

    Times are the movement's own. Blends run over ``blend_in_s`` and ``blend_out_s`` (start,
    end); before and after them the figure stands for ``still_start_s`` and ``still_end_s``.
    """

    blend_in_s: tuple[float, float]
    blend_out_s: tuple[float, float]
    still_start_s: float
    still_end_s: float
    pelvis_height_m: float
    shank_end_height_m: float
    hip_half_width_m: float = 0.09
    sway_m: float = 0.0

    @property
    def shift_s(self) -> float:
        """What to add to a movement time for the recording's time."""
        return self.still_start_s - self.blend_in_s[0]

    @property
    def duration_s(self) -> float:
        """Length of the recording."""
        return self.blend_out_s[1] - self.blend_in_s[0] + self.still_start_s + self.still_end_s


def smooth_step(u: FloatArray) -> FloatArray:
    """0 to 1 over u = 0 to 1 with three zero derivatives at both ends (degree 7)."""
    v = np.clip(u, 0.0, 1.0)
    result: FloatArray = v**4 * (35.0 - 84.0 * v + 70.0 * v**2 - 20.0 * v**3)
    return result


def movement_weight(time_s: FloatArray, plan: StandingPlan) -> FloatArray:
    """Share of the movement in the pose: 0 while standing, 1 between the blends."""
    start, end = plan.blend_in_s
    rise = smooth_step((time_s - start) / (end - start))
    start, end = plan.blend_out_s
    return rise * smooth_step((end - time_s) / (end - start))


def _turned(from_rotation: Rotation, to: Rotation, weight: FloatArray) -> Rotation:
    """Rotate from one constant rotation towards a moving one by a share of the way."""
    difference = (from_rotation.inv() * to).as_rotvec()
    angle = np.linalg.norm(difference, axis=1)
    axis_jump = np.sum(difference[1:] * difference[:-1], axis=1) < 0
    if np.any(axis_jump & (angle[1:] > 2.0) & (weight[1:] > 0) & (weight[1:] < 1)):
        raise ValueError("standing pose and movement differ by half a turn; choose another yaw")
    return from_rotation * Rotation.from_rotvec(weight[:, None] * difference)


def with_standing(
    motion: BodyMotion, plan: StandingPlan, rng: np.random.Generator
) -> tuple[BodyMotion, FloatArray]:
    """Embed a movement between two stands.

    Parameters
    ----------
    motion : BodyMotion
        Must cover both blends; outside its grid its first and last pose are held, which
        only happens at weight 0.
    plan : StandingPlan
        When and how the figure stands.
    rng : numpy.random.Generator
        Draws the sway.

    Returns
    -------
    BodyMotion, ndarray
        The whole recording, time from 0, on a grid of the same rate, and the weight (n,) of
        the movement at each instant.
    """
    step_s = (motion.time_s[-1] - motion.time_s[0]) / (len(motion.time_s) - 1)
    first = motion.at(plan.blend_in_s[0])
    count = round(plan.duration_s / step_s) + 1
    lead = round(plan.still_start_s / step_s)
    pick = np.clip(np.arange(count) - lead + first, 0, len(motion.time_s) - 1)
    own_time = motion.time_s[first] + (np.arange(count) - lead) * step_s
    weight = movement_weight(own_time, plan)

    path = motion.pelvis.position_m
    velocity = np.gradient(path[:, :2], step_s, axis=0, edge_order=2)
    weighted: FloatArray = np.asarray(velocity[pick] * weight[:, None], dtype=np.float64)
    centre = np.zeros((count, 2))
    centre[1:] = np.cumsum((weighted[1:] + weighted[:-1]) * step_s / 2, axis=0)
    # Between the blends the integral must be the path itself: fix the integration constant
    # at full weight and use the path there, free of rounding by the trapezoid rule.
    full = np.flatnonzero(weight >= 1.0)
    lo, hi = int(full[0]), int(full[-1])
    centre[:lo] += path[pick[lo], :2] - centre[lo]
    centre[hi + 1 :] += path[pick[hi], :2] - centre[hi]
    centre[lo : hi + 1] = path[pick[lo : hi + 1], :2]

    yaw = yaw_rad(motion.pelvis.rotation)
    middle = count // 2
    before = np.arange(count) < middle
    heading = np.where(
        before,
        np.mean(yaw[motion.at(plan.blend_in_s[0]) : motion.at(plan.blend_in_s[1]) + 1]),
        np.mean(yaw[motion.at(plan.blend_out_s[0]) : motion.at(plan.blend_out_s[1]) + 1]),
    )
    sway, tilt = _sway(own_time, plan, rng)

    def blended(segment: Segment, stand: FloatArray) -> Segment:
        """Blend one segment; ``stand`` (3,) is its place in the standing figure's axes."""
        rel = segment.position_m[pick].copy()
        rel[:, :2] -= path[pick, :2]
        place = np.empty((count, 3))
        turned: list[Rotation] = []
        for part in (before, ~before):
            facing = Rotation.from_euler("z", heading[part][0])
            place[part] = facing.apply(stand)
            rotation = segment.rotation[pick[part]]
            turned.append(_turned(facing, rotation, weight[part]))
        position = weight[:, None] * rel + (1.0 - weight[:, None]) * place
        position[:, :2] += centre
        return Segment(position, Rotation.concatenate(turned))

    half = plan.hip_half_width_m
    pelvis = blended(motion.pelvis, np.array([0.0, 0.0, plan.pelvis_height_m]))
    pelvis = Segment(pelvis.position_m + sway * (1.0 - weight[:, None]), pelvis.rotation)
    lean = Rotation.from_rotvec(tilt * (1.0 - weight[:, None]))
    shanks = {}
    for side, segment in motion.shanks.items():
        lateral = half if side is Side.LEFT else -half
        shank = blended(segment, np.array([0.0, lateral, plan.shank_end_height_m]))
        shanks[side] = Segment(shank.position_m, lean * shank.rotation)
    return BodyMotion(np.arange(count) * step_s, pelvis, shanks), weight


def _sway(
    time_s: FloatArray, plan: StandingPlan, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Postural sway as an inverted pendulum: pelvis shift (n, 3) and shank tilt (n, 3).

    Slow sines of 0.15 to 0.6 Hz (own choice; quiet standing sways mostly below 1 Hz, common
    practice, no source). Shanks tilt about their lower end by shift / pelvis height.
    """
    shift = np.zeros((len(time_s), 3))
    for axis in (0, 1):
        for frequency_hz in rng.uniform(0.15, 0.6, 3):
            phase = rng.uniform(0, 2 * np.pi)
            shift[:, axis] += np.sin(2 * np.pi * frequency_hz * time_s + phase)
    shift *= plan.sway_m / 3.0
    tilt = np.zeros_like(shift)
    tilt[:, 0] = -shift[:, 1] / plan.pelvis_height_m
    tilt[:, 1] = shift[:, 0] / plan.pelvis_height_m
    return shift, tilt
