"""Legs that no sensor shows: joint centres, and the thigh's constant length as a fact.

The thigh carries no sensor but joins hip and knee at constant length at every instant, in
stance, swing and flight alike. That needs no foot event and puts both feet and the pelvis
into one frame; the use of constant thigh length to reconstruct legs from pelvis and shank
sensors follows L. Sy et al., IEEE Trans. Biomed. Eng. 68(4):1293-1304, 2021.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from imujump.model import FloatArray, Placement, Side
from imujump.pipeline.body import SHANK_LEVER_M, Window
from imujump.pipeline.drift import DriftProblem
from imujump.pipeline.error_growth import STATES
from imujump.pipeline.orientation import main_turning_axis
from imujump.pipeline.strapdown import Strapdown
from imujump.pipeline.vectors import cross

HIP_FORWARD_M, HIP_SIDE_M, HIP_DOWN_M = 0.08, 0.085, 0.05
"""Hip joint seen from a sensor on the sacrum. The hip joint lies about 0.10 m in front of the
sacral skin and 0.08 m below its level, 0.08-0.09 m beside the midline (regressions of
Harrington et al., J. Biomech. 40:595, 2007, at adult size, from memory); a belt sensor sits a
little lower and stands off by its own thickness."""

SHANK_LENGTH_M, THIGH_LENGTH_M, BONE_SPREAD_M = 0.40, 0.41, 0.05
"""Ankle-knee and knee-hip distance of an adult of 1.65-1.80 m (0.246 and 0.245 of stature,
Drillis and Contini 1966 as tabled by Winter, from memory); the spread covers youths and tall
players. Both are estimated in each attempt."""

KNEE_SPREAD_M = 0.04
"""Knee off the vertical above the shank sensor when standing: stance, knee bend, mounting."""

HIP_SPREAD_M = 0.02
"""Mid hip off its assumed place seen from the pelvis sensor."""

HIP_YAW_M = 0.019
"""Shift of each hip along the forward axis by a pelvis axis that is 13 degrees off, which is how
well the sensor's own axis and the direction of travel tell it together."""

LATE_SPREAD_S = 0.03
"""How late a shank's samples may be against the pelvis's before the legs have told (own choice)."""

FIRST_CLOSURE_M, CLOSURE_LIMITS_M, CLOSURE_SPREADS = 0.02, (0.015, 0.06), 3.0
"""Misfit of the rigid thigh: soft tissue, joint centres that move. After the first solution the
misfit that was seen takes the place of the assumed one, three times as large, as it lasts for a
good part of a step and neighbouring knots repeat it (own choice)."""


@dataclass(frozen=True, slots=True)
class Legs:
    """Joint centres and thigh length, estimated along with the drift.

    ``thigh_m`` is one length for both legs; ``hip_m`` (3,) mid hip in pelvis sensor axes;
    ``hip_yaw_m`` the forward shift of the left hip (and backward of the right); ``knee_m``
    the knee (3,) in each shank's sensor axes.
    """

    thigh_m: float
    hip_m: FloatArray
    hip_yaw_m: float
    knee_m: Mapping[Side, FloatArray]


def outward(side: Side | None) -> float:
    """Sign of a side along the axis to the left."""
    return 1.0 if side is Side.LEFT else -1.0


def hip_lever(forward: FloatArray, up: FloatArray, side_m: float) -> FloatArray:
    """Hip joint (3,) in pelvis sensor axes, ``side_m`` to the left of the midline."""
    left = cross(up, forward)
    return HIP_FORWARD_M * forward + side_m * left - HIP_DOWN_M * up


def _attitude_between(old: FloatArray, new: FloatArray) -> FloatArray:
    """Small world-frame rotation vectors (n, 3) that turn ``old`` into ``new``."""
    m = new @ np.swapaxes(old, 1, 2)
    return 0.5 * np.stack(
        (m[:, 2, 1] - m[:, 1, 2], m[:, 0, 2] - m[:, 2, 0], m[:, 1, 0] - m[:, 0, 1]), axis=1
    )


def first_legs(
    window: Window, sides: tuple[Side, ...], forward: FloatArray
) -> tuple[Legs, tuple[tuple[float, float], ...]]:
    """Assumed joint centres, and the same as priors in the order of the scalars."""
    hip = hip_lever(forward, window.sensors[Placement.PELVIS].up, 0.0)
    knees = {
        side: (SHANK_LENGTH_M - SHANK_LEVER_M) * window.sensors[side.shank].up for side in sides
    }
    priors = [(THIGH_LENGTH_M, BONE_SPREAD_M), (0.0, HIP_YAW_M)]
    priors += [(float(x), HIP_SPREAD_M) for x in hip]
    for side in sides:
        priors += [(float(x), KNEE_SPREAD_M) for x in knees[side]]
    priors += [(0.0, LATE_SPREAD_S) for _ in sides]
    return Legs(THIGH_LENGTH_M, hip, 0.0, knees), tuple(priors)


def lateness_at(sides: tuple[Side, ...], side: Side) -> int:
    """Place of a shank's lateness among the unknowns in the order of `first_legs`' priors."""
    return 5 + 3 * len(sides) + sides.index(side)


def legs_found(scalars: FloatArray, sides: tuple[Side, ...]) -> Legs:
    """Joint centres and thigh length from the unknowns in the order of `first_legs`' priors."""
    knees = {side: scalars[5 + 3 * i : 8 + 3 * i] for i, side in enumerate(sides)}
    return Legs(float(scalars[0]), scalars[2:5], float(scalars[1]), knees)


def sagittal_axis(
    paths: Mapping[Placement, Strapdown], side: Side, up: FloatArray, shin: FloatArray
) -> FloatArray:
    """Axis of the shank from ankle to knee, corrected in the plane of its own swing only.

    Sideways the sensor sits beside the bone, so the found knee does not tell the axis there.
    """
    swing = main_turning_axis(paths[side.shank].gyro_radps)
    across = cross(swing - up * (swing @ up), up)
    across /= np.linalg.norm(across)
    axis = (shin @ up) * up + (shin @ across) * across
    return np.asarray(axis / np.linalg.norm(axis))


class HipAxes(NamedTuple):
    """A hip seen from mid hip in pelvis axes (3,): where it lies, and how a yaw moves it."""

    side_m: FloatArray
    yaw: FloatArray


def hip_axes(side: Side, forward: FloatArray, up: FloatArray) -> HipAxes:
    """A hip from the pelvis's forward axis and vertical (3,)."""
    return HipAxes(outward(side) * HIP_SIDE_M * cross(up, forward), outward(side) * forward)


def _changed(
    problem: DriftProblem,
    numbers: Mapping[Placement, int],
    now: Mapping[Placement, Strapdown],
    placement: Placement,
) -> tuple[FloatArray, FloatArray]:
    """How a sensor has been turned and moved (k, 3) at the knots since dead reckoning."""
    old, new = problem.paths_at_knots[numbers[placement]], now[placement]
    return _attitude_between(old.rot, new.rot), new.position_m - old.position_m


class ThighFacts(NamedTuple):
    """What the thighs' length says at each knot, as :meth:`DriftProblem.add` takes it.

    One leg's knots after the other's; ``misfit_m`` is by how much the length was missed before.
    """

    weights: FloatArray
    value: FloatArray
    sigma: FloatArray
    scalars: FloatArray
    misfit_m: FloatArray


def thigh_facts(
    problem: DriftProblem,
    now: Mapping[Placement, Strapdown],
    legs: Legs,
    hips: Mapping[Side, HipAxes],
    numbers: Mapping[Placement, int],
    closure_m: float,
) -> ThighFacts:
    """Tie hip and knee of each leg by the thigh's constant length, once a knot.

    Parameters
    ----------
    problem : DriftProblem
        Which the facts are for.
    now : mapping of Placement to Strapdown
        Corrected paths at present, at the knots only.
    legs : Legs
        Joint centres at present.
    hips : mapping of Side to HipAxes
        Where the hips lie in pelvis axes, in the order of `first_legs`' sides.
    numbers : mapping of Placement to int
        Each sensor's place in the problem.
    closure_m : float
        Standard deviation of the length.
    """
    # Arrays run over legs (l), knots (k) and axes (i, j).
    sides, count = tuple(hips), len(problem.knots)
    shanks = [side.shank for side in sides]
    pelvis, at_pelvis = now[Placement.PELVIS], STATES * numbers[Placement.PELVIS]
    turn_s = np.stack([now[p].rot for p in shanks])
    yaw_axes = np.stack([axes.yaw for axes in hips.values()])
    hip = legs.hip_m + np.stack([axes.side_m for axes in hips.values()])
    hip += legs.hip_yaw_m * yaw_axes
    knee = np.stack([legs.knee_m[side] for side in sides])
    arm_hip = np.einsum("kij,lj->lki", pelvis.rot, hip)
    arm_knee = np.einsum("lkij,lj->lki", turn_s, knee)
    thigh = pelvis.position_m + arm_hip - np.stack([now[p].position_m for p in shanks]) - arm_knee
    length = np.sqrt(np.sum(thigh * thigh, axis=2))
    e = thigh / length[:, :, None]
    at_hip, at_knee = cross(arm_hip, e), -cross(arm_knee, e)
    weights = np.zeros((len(sides), count, problem.width))
    weights[:, :, at_pelvis : at_pelvis + 3] = at_hip
    weights[:, :, at_pelvis + 6 : at_pelvis + 9] = e
    scalars = np.zeros((len(sides), count, problem.scalars))
    first = problem.sensors
    seen = np.einsum("kji,lkj->lki", pelvis.rot, e)
    seen_s = np.einsum("lkji,lkj->lki", turn_s, e)
    scalars[:, :, first] = -1.0
    scalars[:, :, first + 1] = np.einsum("lki,li->lk", seen, yaw_axes)
    scalars[:, :, first + 2 : first + 5] = seen
    turned_p, moved_p = _changed(problem, numbers, now, Placement.PELVIS)
    known = np.sum(at_hip * turned_p + e * moved_p, axis=2)
    for leg, (side, p) in enumerate(zip(sides, shanks, strict=True)):
        at = STATES * numbers[p]
        weights[leg, :, at : at + 3] = at_knee[leg]
        weights[leg, :, at + 6 : at + 9] = -e[leg]
        turned_s, moved_s = _changed(problem, numbers, now, p)
        known[leg] += np.sum(at_knee[leg] * turned_s - e[leg] * moved_s, axis=1)
        knee_at = first + 5 + 3 * leg
        scalars[leg, :, knee_at : knee_at + 3] = -seen_s[leg]
        # Samples that are told late show the knee where it was.
        swing = cross(now[p].gyro_radps, knee[leg])
        scalars[leg, :, first + lateness_at(sides, side)] = -(
            np.sum(e[leg] * now[p].velocity_mps, axis=1) + np.sum(seen_s[leg] * swing, axis=1)
        )
    # Of the present constants: thigh length, hips and knees; none is known to be late.
    known += np.einsum("lki,li->lk", seen, legs.hip_m + legs.hip_yaw_m * yaw_axes) - legs.thigh_m
    known -= np.einsum("lki,li->lk", seen_s, knee)
    misfit = length - legs.thigh_m
    # Huber weights: a few instants of soft-tissue wobble must not bend the whole path.
    outlying = np.maximum(1.0, np.abs(misfit) / (2.0 * closure_m))
    return ThighFacts(
        weights.reshape(-1, problem.width),
        (known - misfit).ravel(),
        (closure_m * np.sqrt(outlying)).ravel(),
        scalars.reshape(-1, problem.scalars),
        misfit.ravel(),
    )
