"""Speeds, heights, angles and distances of the linked body, each with its uncertainty.

The drift part of each standard deviation comes from the least-squares solution behind the
path; what no sensor shows (joint centres, soft tissue, posture) is added as a stated constant.
"""

from __future__ import annotations

import math

import numpy as np

from imujump.model import FloatArray, Placement, Side
from imujump.pipeline.body import Body
from imujump.pipeline.error_growth import STATES
from imujump.pipeline.orientation import main_turning_axis
from imujump.pipeline.vectors import UP, cross, rotate, turned

LEVER_SPREAD_M = 0.03
"""Distance of the assumed from the true mid hip or ankle: body size, mounting (own choice)."""


def drift_sigma(body: Body, placement: Placement, parts: list[tuple[float, FloatArray]]) -> float:
    """Standard deviation of a weighted sum of one sensor's error states.

    Parameters
    ----------
    body : Body
        Solved motion.
    placement : Placement
        The sensor.
    parts : list of (sample number, weights (9,))
        Weights on attitude, velocity and position errors at each instant.
    """
    return joint_drift_sigma(body, [(placement, index, weights) for index, weights in parts])


def joint_drift_sigma(body: Body, parts: list[tuple[Placement, float, FloatArray]]) -> float:
    """Standard deviation of a weighted sum of error states of several sensors.

    All sensors must come from one solution, as the two shanks do.
    """
    solution = body.solutions[parts[0][0]]
    knots = solution.problem.knots
    weights = np.zeros((1, len(knots), solution.problem.width))
    for placement, index, own in parts:
        k, share = solution.spread_weights(index)
        at = slice(STATES * body.numbers[placement], STATES * (body.numbers[placement] + 1))
        weights[0, k, at] += (1.0 - share) * own
        weights[0, k + 1, at] += share * own
    return float(solution.sigmas(weights)[0])


def axis_weights(first: int, direction: FloatArray) -> FloatArray:
    """Weights (9,) that pick a direction (3,) of the state beginning at ``first``."""
    weights = np.zeros(STATES)
    weights[first : first + 3] = direction
    return weights


def at(values: FloatArray, index: float) -> FloatArray:
    """Values (n, …) at a fractional sample number, linear between samples."""
    k = min(max(math.floor(index), 0), len(values) - 2)
    share = min(max(float(index) - k, 0.0), 1.0)
    return np.asarray((1.0 - share) * values[k] + share * values[k + 1])


def horizontal(vector: FloatArray) -> FloatArray:
    """Unit vector (3,) of a vector's horizontal part; x when it has none."""
    flat = np.array((vector[0], vector[1], 0.0))
    size = float(np.linalg.norm(flat))
    return flat / size if size > 1e-9 else np.array((1.0, 0.0, 0.0))


def pelvis_speed(body: Body) -> FloatArray:
    """Horizontal speed (n,) of mid hip, m/s."""
    velocity = body.joint_velocity(Placement.PELVIS)
    return np.asarray(np.hypot(velocity[:, 0], velocity[:, 1]))


def pelvis_height(body: Body) -> FloatArray:
    """Height (n,) of the pelvis sensor over its standing height, m."""
    z = body.paths[Placement.PELVIS].position_m[:, 2]
    return np.asarray(z - z[0])


def velocity_sigma(body: Body, index: float, direction: FloatArray) -> float:
    """Standard deviation of mid-hip velocity along a direction (3,), m/s."""
    rate = float(np.linalg.norm(at(body.paths[Placement.PELVIS].gyro_radps, index)))
    drift = drift_sigma(body, Placement.PELVIS, [(index, axis_weights(3, direction))])
    return float(np.hypot(drift, LEVER_SPREAD_M * rate))


def height_sigma(body: Body, index: float) -> float:
    """Standard deviation of pelvis height over standing, drift only, m."""
    return drift_sigma(
        body,
        Placement.PELVIS,
        [(index, axis_weights(6, UP)), (0.0, axis_weights(6, -UP))],
    )


def ankle_distance(
    body: Body, start: tuple[Side, float], end: tuple[Side, float], direction: FloatArray
) -> tuple[float, float]:
    """Distance between two ankle places along a direction, and its standard deviation, m.

    Parameters
    ----------
    body : Body
        Solved motion.
    start, end : (Side, sample number)
        Foot and instant.
    direction : FloatArray
        (3,) horizontal unit vector.
    """
    places = [at(body.joint_position(side.shank), index) for side, index in (start, end)]
    distance = float((places[1] - places[0]) @ direction)
    sigma = joint_drift_sigma(
        body,
        [
            (start[0].shank, start[1], axis_weights(6, -direction)),
            (end[0].shank, end[1], axis_weights(6, direction)),
        ],
    )
    return distance, sigma


def turned_rad(body: Body, placement: Placement, start: float, end: float) -> float:
    """Angle by which a sensor turned between two samples, rad."""
    rot = body.paths[placement].rot
    trace = float(np.sum(rot[int(start)] * rot[int(end)]))
    return float(np.arccos(np.clip(0.5 * (trace - 1.0), -1.0, 1.0)))


def pelvis_pitch(body: Body) -> FloatArray:
    """Forward tilt (n,) of the pelvis against standing, rad."""
    forward = body.forward
    assert forward is not None
    return np.asarray(-np.arcsin(np.clip(body.paths[Placement.PELVIS].rot[:, 2] @ forward, -1, 1)))


def pelvis_yaw(body: Body) -> FloatArray:
    """Heading (n,) of the pelvis, unwrapped, positive to the left, rad."""
    forward = body.forward
    assert forward is not None
    seen = turned(body.paths[Placement.PELVIS].rot, forward)
    return np.asarray(np.unwrap(np.arctan2(seen[:, 1], seen[:, 0])))


def shank_lean(body: Body, side: Side, index: float, direction: FloatArray) -> float:
    """Angle of a shank from vertical along a direction (3,), foot ahead of the knee positive, rad.

    Without a pelvis sensor the direction of travel is too rough for that: then the plane is
    the one of the shank's own swing, and the direction only tells which side is ahead.
    """
    path = body.paths[side.shank]
    rot = at(path.rot, index)
    if Placement.PELVIS not in body.paths:
        swing = main_turning_axis(path.gyro_radps)
        ahead = horizontal(cross(rot @ swing, UP))
        direction = ahead if ahead @ direction > 0.0 else -ahead
    axis = rot @ body.up[side.shank]
    return float(np.arctan2(-(axis @ direction), axis[2]))


def forward_swing(body: Body, side: Side, direction: FloatArray) -> FloatArray:
    """Angular rate (n,) of a shank, foot swinging forward positive, rad/s."""
    path = body.paths[side.shank]
    rate = rotate(path.rot, path.gyro_radps)
    left = cross(UP, direction)
    return np.asarray(-(rate @ left))
