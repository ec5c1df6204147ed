"""Dead reckoning: angular rate to attitude, specific force to velocity and position."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from imujump.model import FloatArray, IntArray
from imujump.pipeline.orientation import integrate_attitude
from imujump.pipeline.vectors import cross, rotate, turned


@dataclass(frozen=True, slots=True, eq=False)
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


def cumulative_trapezoid(values: FloatArray, step_s: float) -> FloatArray:
    """Integral from the first sample along axis 0, trapezoid rule, same shape."""
    out = np.empty_like(values)
    out[0] = 0.0
    steps = values[1:] + values[:-1]
    steps *= 0.5 * step_s
    steps.cumsum(axis=0, out=out[1:])
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
