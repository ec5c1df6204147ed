"""Dead reckoning: angular rate to attitude, specific force to velocity and position."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from imujump.model import FloatArray, IntArray
from imujump.pipeline.orientation import integrate_attitude


@dataclass(frozen=True, slots=True)
class Strapdown:
    """Motion of one sensor over a window of n samples, in world axes (z up).

    Attributes
    ----------
    step_s : float
        Sample period.
    rot : FloatArray
        (n, 3, 3) ``rot_world_from_sensor``.
    force_mps2, accel_mps2 : FloatArray
        (n, 3) specific force and coordinate acceleration (gravity removed).
    velocity_mps, position_m : FloatArray
        (n, 3) of the sensor itself.
    gyro_radps : FloatArray
        (n, 3) angular rate in sensor axes.
    """

    step_s: float
    rot: FloatArray
    force_mps2: FloatArray
    accel_mps2: FloatArray
    velocity_mps: FloatArray
    position_m: FloatArray
    gyro_radps: FloatArray

    def at(self, index: IntArray) -> Strapdown:
        """The motion at some samples only."""
        return replace(
            self,
            rot=self.rot[index],
            force_mps2=self.force_mps2[index],
            accel_mps2=self.accel_mps2[index],
            velocity_mps=self.velocity_mps[index],
            position_m=self.position_m[index],
            gyro_radps=self.gyro_radps[index],
        )

    def point_position(self, lever_m: FloatArray) -> FloatArray:
        """Path (n, 3) of a point fixed to the sensor at ``lever_m`` (3,) in its axes."""
        return self.position_m + turned(self.rot, lever_m)

    def point_velocity(self, lever_m: FloatArray) -> FloatArray:
        """Velocity (n, 3) of a point fixed to the sensor at ``lever_m`` (3,)."""
        return self.velocity_mps + rotate(self.rot, cross(self.gyro_radps, lever_m))


def rotate(rot: FloatArray, vectors: FloatArray) -> FloatArray:
    """Rotate vectors (n, 3) by matrices (n, 3, 3), row by row."""
    return np.asarray(np.einsum("nij,nj->ni", rot, vectors))


def turned(rot: FloatArray, vector: FloatArray) -> FloatArray:
    """Rotate one vector (3,) by matrices (n, 3, 3): as one product, not n small ones."""
    return np.asarray((rot.reshape(-1, 3) @ vector).reshape(-1, 3))


def cross(left: FloatArray, right: FloatArray) -> FloatArray:
    """Cross products of vectors (…, 3), column by column: quicker than numpy's own."""
    x, y, z = left[..., 0], left[..., 1], left[..., 2]
    u, v, w = right[..., 0], right[..., 1], right[..., 2]
    first = y * w - z * v
    out = np.empty((*first.shape, 3))
    out[..., 0] = first
    np.subtract(z * u, x * w, out=out[..., 1])
    np.subtract(x * v, y * u, out=out[..., 2])
    return out


def cumulative_trapezoid(values: FloatArray, step_s: float) -> FloatArray:
    """Integral from the first sample along axis 0, trapezoid rule, same shape."""
    out = np.zeros_like(values)
    np.cumsum(0.5 * step_s * (values[1:] + values[:-1]), axis=0, out=out[1:])
    return out


def cross_matrix(vectors: FloatArray) -> FloatArray:
    """Matrices (…, 3, 3) that form the cross product with vectors (…, 3) from the left."""
    x, y, z = vectors[..., 0], vectors[..., 1], vectors[..., 2]
    out = np.zeros((*vectors.shape, 3))
    out[..., 0, 1], out[..., 0, 2] = -z, y
    out[..., 1, 0], out[..., 1, 2] = z, -x
    out[..., 2, 0], out[..., 2, 1] = -y, x
    return out


def dead_reckon(
    accel_mps2: FloatArray,
    gyro_radps: FloatArray,
    step_s: float,
    rot0: FloatArray,
    gravity_mps2: float,
) -> Strapdown:
    """Integrate one sensor from rest at the origin.

    Parameters
    ----------
    accel_mps2, gyro_radps : FloatArray
        (n, 3) specific force and angular rate in sensor axes, rest biases removed.
    step_s : float
        Sample period.
    rot0 : FloatArray
        (3, 3) ``rot_world_from_sensor`` of the first sample.
    gravity_mps2 : float
        Local gravity.
    """
    rot = integrate_attitude(gyro_radps, step_s, rot0)
    force = rotate(rot, accel_mps2)
    accel = force - np.array((0.0, 0.0, gravity_mps2))
    velocity = cumulative_trapezoid(accel, step_s)
    position = cumulative_trapezoid(velocity, step_s)
    return Strapdown(step_s, rot, force, accel, velocity, position, gyro_radps)
