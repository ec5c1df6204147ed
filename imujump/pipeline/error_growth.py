"""How the errors of dead reckoning grow from one instant to another.

The error state of a sensor holds the errors of attitude, velocity and position (nine numbers,
world axes). Derivatives: attitude' = -R b_g; velocity' = attitude × f - R b_a; position' =
velocity, with f the specific force in world axes, R the sensor's attitude and b_g, b_a the
constant biases of gyroscope and accelerometer. The derivatives are linear, so running
integrals from the window's start give the growth between any two samples by differences.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imujump.model import BoolArray, FloatArray, IntArray
from imujump.pipeline.strapdown import Strapdown, cumulative_trapezoid
from imujump.pipeline.vectors import cross, cross_matrix, lengths, turned

ATTITUDE, VELOCITY, POSITION = slice(0, 3), slice(3, 6), slice(6, 9)
STATES = 9
BIASES = 6


@dataclass(frozen=True, slots=True)
class NoiseModel:
    """How fast dead reckoning goes wrong.

    Attributes
    ----------
    gyro_density : float
        White noise of the gyroscope, rad/s/√Hz.
    accel_density : float
        White noise of the accelerometer incl. soft tissue, m/s²/√Hz.
    gyro_scale, accel_scale : float
        Relative scale error (one standard deviation).
    gyro_bias_radps, accel_bias_mps2 : float
        Standard deviation of the constant biases left after the rest calibration.
    clipped_accel_mps2, missing_accel_mps2 : float
        Standard deviation of a sample's specific force when it was clipped or lost.
    missing_gyro_radps : float
        Standard deviation of the angular rate while samples are missing.
    unsampled_share : float
        Velocity lost per sample, as a part of sample period times second difference of
        acceleration: an impact shorter than a few samples is not integrated truly. The
        trapezoid rule itself errs by 1/12 of that; the rest is for low-pass and aliasing.
    """

    gyro_density: float
    accel_density: float
    gyro_scale: float
    accel_scale: float
    gyro_bias_radps: float
    accel_bias_mps2: float
    clipped_accel_mps2: float
    missing_accel_mps2: float
    missing_gyro_radps: float
    unsampled_share: float


class Propagation:
    """Exact growth of the error state of one sensor between any two samples.

    Parameters
    ----------
    path : Strapdown
        Dead reckoning of the sensor.
    """

    def __init__(self, path: Strapdown) -> None:
        h = path.step_s
        self._path = path
        self._time = np.arange(len(path.rot)) * h
        self._force1 = cumulative_trapezoid(path.force_mps2, h)
        self._force2 = cumulative_trapezoid(self._force1, h)
        self._rot1 = cumulative_trapezoid(path.rot, h)
        self._rot2 = cumulative_trapezoid(self._rot1, h)
        # Column by column of R: the velocity that a unit gyroscope bias makes up.
        mixed = -cross_matrix(path.force_mps2) @ self._rot1
        self._mixed1 = cumulative_trapezoid(mixed, h)
        self._mixed2 = cumulative_trapezoid(self._mixed1, h)

    def between(self, start: IntArray, end: IntArray) -> tuple[FloatArray, FloatArray]:
        """State transitions (m, 9, 9) and bias effects (m, 9, 6) from start to end."""
        m = len(start)
        dt = (self._time[end] - self._time[start])[:, None, None]
        phi = np.zeros((m, STATES, STATES))
        phi[:] = np.eye(STATES)
        force1 = self._force1[end] - self._force1[start]
        force2 = self._force2[end] - self._force2[start] - dt[:, 0] * self._force1[start]
        f1, f2 = -cross_matrix(force1), -cross_matrix(force2)
        phi[:, VELOCITY, ATTITUDE] = f1
        phi[:, POSITION, ATTITUDE] = f2
        phi[:, POSITION, VELOCITY] = dt * np.eye(3)
        bias = np.zeros((m, STATES, BIASES))
        r0 = self._rot1[start]
        r1 = self._rot1[end] - r0
        r2 = self._rot2[end] - self._rot2[start] - dt * r0
        m1 = self._mixed1[end] - self._mixed1[start] - f1 @ r0
        m2 = self._mixed2[end] - self._mixed2[start] - dt * self._mixed1[start] - f2 @ r0
        bias[:, ATTITUDE, 0:3] = -r1
        bias[:, VELOCITY, 0:3] = -m1
        bias[:, POSITION, 0:3] = -m2
        bias[:, VELOCITY, 3:6] = -r1
        bias[:, POSITION, 3:6] = -r2
        return phi, bias

    def everywhere(self, knots: IntArray, states: FloatArray, bias: FloatArray) -> FloatArray:
        """Error states (n, 9) at every sample from those at knots (k, 9) and the biases (6,).

        Between two knots the errors grow from the earlier one; what is missing at the later
        one, the noise of the segment, is spread evenly over it. The first and the last sample
        are knots.
        """
        found = self._grown_by(bias)
        # In a segment: errors = what biases and its tilt sum up to + offset + pace * elapsed time.
        start, end = knots[:-1], knots[1:]
        length_s = (self._time[end] - self._time[start])[:, None]
        tilt = states[:-1, ATTITUDE] - found[start, ATTITUDE]
        ends = np.concatenate((start, end))
        carried = found[ends]
        self._add_tilt(carried, np.concatenate((tilt, tilt)), ends)
        offset = states[:-1] - carried[: len(start)]
        pace = (states[1:] - carried[len(start) :] - offset) / length_s
        # Of the position's pace the velocity's offset is one part, the noise is the other.
        samples = end - start
        samples[-1] += 1
        elapsed_s = self._time - np.repeat(self._time[start], samples)
        self._add_tilt(found, np.repeat(tilt, samples, axis=0), slice(None))
        found += np.repeat(offset, samples, axis=0)
        found += elapsed_s[:, None] * np.repeat(pace, samples, axis=0)
        return found

    def _add_tilt(self, errors: FloatArray, tilt: FloatArray, index: IntArray | slice) -> None:
        """Add to errors (m, 9) what a constant tilt (m, 3) sums up to from the start on."""
        errors[:, VELOCITY] += cross(tilt, self._force1[index])
        errors[:, POSITION] += cross(tilt, self._force2[index])

    def _grown_by(self, bias: FloatArray) -> FloatArray:
        """Error states (n, 9) that biases (6,) make up from the start on."""
        gyro, accel = bias[:3], bias[3:]
        grown = np.empty((len(self._time), STATES))
        grown[:, ATTITUDE] = -turned(self._rot1, gyro)
        grown[:, VELOCITY] = -turned(self._mixed1, gyro) - turned(self._rot1, accel)
        grown[:, POSITION] = -turned(self._mixed2, gyro) - turned(self._rot2, accel)
        return grown


class Noise:
    """Covariance that dead reckoning adds to the error state between two samples.

    Scale errors act over a segment in one direction, so they add linearly within it,
    whereas sample noise adds in variance.
    """

    def __init__(
        self, path: Strapdown, model: NoiseModel, missing: BoolArray, clipped: BoolArray
    ) -> None:
        self._model, self._step_s = model, path.step_s
        speed, force = lengths(path.gyro_radps), lengths(path.accel_mps2)
        bend = np.zeros(len(force))
        bend[1:-1] = lengths(np.diff(path.accel_mps2, n=2, axis=0))
        rough = (model.unsampled_share * bend) ** 2 * path.step_s
        lost, over = missing.astype(np.float64), (clipped & ~missing).astype(np.float64)
        each = np.stack((speed, force, rough, lost, over))
        self._sums = np.zeros((len(each), len(force) + 1))
        np.cumsum(each * path.step_s, axis=1, out=self._sums[:, 1:])

    def between(self, start: IntArray, end: IntArray) -> FloatArray:
        """Covariances (m, 9, 9) from start to the later end."""
        return _by_axis(*self._grown(start, end))

    def information(self, start: IntArray, end: IntArray) -> FloatArray:
        """Inverses (m, 9, 9) of the same."""
        q_att, q_vel, q_both, q_pos = self._grown(start, end)
        size = q_vel * q_pos - q_both**2
        return _by_axis(1.0 / q_att, q_pos / size, -q_both / size, q_vel / size)

    def _grown(self, start: IntArray, end: IntArray) -> tuple[FloatArray, ...]:
        """Variances (m,) of attitude and velocity, their share with position, and position's."""
        model = self._model
        dt = (end - start) * self._step_s
        speed, force, rough, lost, over = self._sums[:, end] - self._sums[:, start]
        q_att = model.gyro_density**2 * dt + (model.gyro_scale * speed) ** 2
        q_att += (model.missing_gyro_radps * lost) ** 2
        q_vel = model.accel_density**2 * dt + (model.accel_scale * force) ** 2 + rough
        q_vel += (model.missing_accel_mps2 * lost) ** 2 + (model.clipped_accel_mps2 * over) ** 2
        # White acceleration over dt: position variance q dt²/3, covariance q dt/2.
        return q_att, q_vel, q_vel * dt / 2.0, q_vel * dt**2 / 3.0 + 1e-10


def _by_axis(
    attitude: FloatArray, velocity: FloatArray, both: FloatArray, position: FloatArray
) -> FloatArray:
    """Matrices (m, 9, 9) that are alike on all three axes and tie velocity to position."""
    out = np.zeros((len(attitude), STATES, STATES))
    axis = np.arange(3)
    out[:, axis, axis] = attitude[:, None]
    out[:, axis + 3, axis + 3] = velocity[:, None]
    out[:, axis + 6, axis + 6] = position[:, None]
    out[:, axis + 3, axis + 6] = out[:, axis + 6, axis + 3] = both[:, None]
    return out
