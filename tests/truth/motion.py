"""Body movement on a fine time grid, and what ideal body-worn sensors measure of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import make_interp_spline
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement, Side

PELVIS_SENSOR_OFFSET_M = np.array([-0.10, 0.0, 0.05])
"""Sacrum seen from mid-hip, pelvis axes (own choice: 10 cm behind, 5 cm above)."""

SHANK_SENSOR_HEIGHT_M = 0.10
SHANK_SENSOR_LATERAL_M = 0.05
"""Lateral shank, 10 cm above the ankle, 5 cm off the bone's axis (own choice)."""

MIRROR = np.diag([1.0, -1.0, 1.0])


@dataclass(frozen=True, slots=True)
class Segment:
    """One rigid segment: its origin's path and its nominal axes in the world.

    ``position_m`` (n, 3), world, z up. ``rotation`` turns nominal segment axes (x forward,
    y left, z up along the segment) into world axes.
    """

    position_m: FloatArray
    rotation: Rotation

    def point(self, offset_m: FloatArray) -> FloatArray:
        """World path (n, 3) of a point fixed at ``offset_m`` (3,) in segment axes."""
        moved: FloatArray = self.position_m + self.rotation.apply(offset_m)
        return moved


@dataclass(frozen=True, slots=True)
class BodyMotion:
    """Pelvis and both shanks on one even time grid.

    The pelvis origin is mid-hip. A shank's origin is its lower end (ankle, or foot point
    of a figure without feet).
    """

    time_s: FloatArray
    pelvis: Segment
    shanks: Mapping[Side, Segment]

    def at(self, time_s: float) -> int:
        """Index of the grid instant nearest to ``time_s``."""
        step_s = (self.time_s[-1] - self.time_s[0]) / (len(self.time_s) - 1)
        return int(np.clip(round((time_s - self.time_s[0]) / step_s), 0, len(self.time_s) - 1))


@dataclass(frozen=True, slots=True)
class IdealSignals:
    """Specific force and angular rate of one sensor in nominal axes, free of any error."""

    accel_mps2: FloatArray
    gyro_radps: FloatArray


def sensor_offset_m(placement: Placement) -> FloatArray:
    """Sensor position from the segment origin, nominal segment axes (3,)."""
    if placement is Placement.PELVIS:
        return PELVIS_SENSOR_OFFSET_M
    lateral_m = SHANK_SENSOR_LATERAL_M * (1 if placement is Placement.LEFT_SHANK else -1)
    return np.array([0.0, lateral_m, SHANK_SENSOR_HEIGHT_M])


def segment_of(motion: BodyMotion, placement: Placement) -> Segment:
    """The segment that carries the sensor."""
    if placement is Placement.PELVIS:
        return motion.pelvis
    return motion.shanks[Side.LEFT if placement is Placement.LEFT_SHANK else Side.RIGHT]


def continuous_quaternions(rotation: Rotation) -> FloatArray:
    """Scalar-last quaternions (n, 4) without sign jumps between neighbours."""
    quat = rotation.as_quat()
    flips = np.cumsum(np.sum(quat[1:] * quat[:-1], axis=1) < 0) % 2
    quat[1:][flips == 1] *= -1
    result: FloatArray = quat
    return result


def body_rate_radps(quat: FloatArray, quat_rate: FloatArray) -> FloatArray:
    """Angular rate (n, 3) in segment axes from quaternions and their time derivative.

    ω = 2 · vec(conj(q) ⊗ q̇) for unit q; the caller's q may be off unit length.
    """
    norm = np.linalg.norm(quat, axis=1, keepdims=True)
    vector, scalar = quat[:, :3], quat[:, 3:]
    rate_vector, rate_scalar = quat_rate[:, :3], quat_rate[:, 3:]
    product = scalar * rate_vector - rate_scalar * vector - np.cross(vector, rate_vector)
    result: FloatArray = 2.0 * product / norm**2
    return result


def ideal_signals(
    time_s: FloatArray, segment: Segment, offset_m: FloatArray, gravity_mps2: float
) -> IdealSignals:
    """Differentiate a segment's movement into sensor signals with quintic splines."""
    path = make_interp_spline(time_s, segment.point(offset_m), k=5)
    turn = make_interp_spline(time_s, continuous_quaternions(segment.rotation), k=5)
    force_mps2 = path.derivative(2)(time_s) + np.array([0.0, 0.0, gravity_mps2])
    return IdealSignals(
        accel_mps2=segment.rotation.inv().apply(force_mps2),
        gyro_radps=body_rate_radps(turn(time_s), turn.derivative(1)(time_s)),
    )


def all_ideal_signals(
    motion: BodyMotion, gravity_mps2: float = STANDARD_GRAVITY_MPS2
) -> dict[Placement, IdealSignals]:
    """Ideal signals of the three sensors on the motion's time grid."""
    return {
        placement: ideal_signals(
            motion.time_s, segment_of(motion, placement), sensor_offset_m(placement), gravity_mps2
        )
        for placement in Placement
    }


def mirrored(motion: BodyMotion) -> BodyMotion:
    """The same movement seen in a mirror: left becomes right."""

    def flip(segment: Segment) -> Segment:
        matrices = MIRROR @ segment.rotation.as_matrix() @ MIRROR
        return Segment(segment.position_m @ MIRROR, Rotation.from_matrix(matrices))

    return replace(
        motion,
        pelvis=flip(motion.pelvis),
        shanks={side.other: flip(segment) for side, segment in motion.shanks.items()},
    )


def yaw_rad(rotation: Rotation) -> FloatArray:
    """Unwrapped heading of the forward axis about world z."""
    forward = rotation.apply([1.0, 0.0, 0.0])
    result: FloatArray = np.unwrap(np.arctan2(forward[:, 1], forward[:, 0]))
    return result


def forward_pitch_rad(rotation: Rotation) -> FloatArray:
    """Forward tilt of the segment about its left axis, positive when the front goes down."""
    forward = rotation.apply([1.0, 0.0, 0.0])
    result: FloatArray = -np.arcsin(np.clip(forward[:, 2], -1.0, 1.0))
    return result
