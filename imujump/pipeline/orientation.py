"""Attitude of one sensor from its angular rate, started from gravity at rest.

Quaternions w + x i + y j + z k live here and nowhere else, as two rows (2, n) of complex numbers,
w + x i and y + z i: a product is then four of numpy's instead of sixteen. The rest of the pipeline
sees rotation matrices. A run-up lasts a few seconds, so a gyroscope whose bias was taken at rest
drifts by a tenth of a degree, while the accelerometer is bent by the run for the whole time:
gravity is therefore used only where the athlete stands (see :mod:`imujump.pipeline.facts`), not
blended in sample by sample.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from imujump.model import FloatArray
from imujump.pipeline.vectors import UP, cross, cross_matrix, lengths

ComplexArray = NDArray[np.complex128]


def quaternion_product(left: ComplexArray, right: ComplexArray) -> ComplexArray:
    """Hamilton product of two arrays of quaternions, column by column.

    Parameters
    ----------
    left, right : ComplexArray
        (2, n) both.

    Returns
    -------
    ComplexArray
        (2, n) products ``left * right``.

    Notes
    -----
    With a quaternion as u + v j of complex u and v, and j u = conj(u) j:
    (a + b j) (u + v j) = a u - b conj(v) + (a v + b conj(u)) j.

    Examples
    --------
    >>> i, j = np.array([[1.0j], [0.0]]), np.array([[0.0j], [1.0]])
    >>> quaternion_product(i, j)[1]  # k
    array([0.+1.j])
    """
    out: ComplexArray = left[0] * right
    crossed = left[1] * right.conj()
    out[0] -= crossed[1]
    out[1] += crossed[0]
    return out


def rotation_vector_quaternion(rotvec_rad: FloatArray) -> ComplexArray:
    """Unit quaternions (2, n) of rotation vectors (n, 3), rad."""
    half = 0.5 * lengths(rotvec_rad)
    q = np.empty((2, len(half)), dtype=np.complex128)
    # np.sinc(x) is sin(pi x)/(pi x): smooth through zero.
    share = 0.5 * np.sinc(half / np.pi)
    q[0].real, q[0].imag = np.cos(half), share * rotvec_rad[:, 0]
    q[1].real, q[1].imag = share * rotvec_rad[:, 1], share * rotvec_rad[:, 2]
    return q


def matrix_from_quaternion(q: ComplexArray) -> FloatArray:
    """Rotation matrices (n, 3, 3) of unit quaternions (2, n)."""
    w, x, y, z = q[0].real, q[0].imag, q[1].real, q[1].imag
    out = np.empty((len(w), 3, 3))
    out[:, 0, 0], out[:, 1, 1] = 1 - 2 * (y * y + z * z), 1 - 2 * (x * x + z * z)
    out[:, 2, 2] = 1 - 2 * (x * x + y * y)
    out[:, 0, 1], out[:, 1, 0] = 2 * (x * y - w * z), 2 * (x * y + w * z)
    out[:, 0, 2], out[:, 2, 0] = 2 * (x * z + w * y), 2 * (x * z - w * y)
    out[:, 1, 2], out[:, 2, 1] = 2 * (y * z - w * x), 2 * (y * z + w * x)
    return out


def rotation_increments(gyro_radps: FloatArray, step_s: float) -> FloatArray:
    """Rotation vectors from each sample to the next, midpoint rule with coning term.

    Parameters
    ----------
    gyro_radps : FloatArray
        (n, 3) angular rate in sensor axes.
    step_s : float
        Sample period.

    Returns
    -------
    FloatArray
        (n - 1, 3) rotation vectors, rad. The rate is taken as linear between samples;
        the cross product is the first coning term of that model, ``dt²/12 w0 × w1``
        (J. E. Bortz, IEEE Trans. Aerosp. Electron. Syst. 7(1), 1971, from memory).
    """
    now, after = gyro_radps[:-1], gyro_radps[1:]
    return 0.5 * step_s * (now + after) + step_s**2 / 12.0 * cross(now, after)


def integrate_attitude(gyro_radps: FloatArray, step_s: float, rot0: FloatArray) -> FloatArray:
    """Attitude of every sample, from a known first one.

    Parameters
    ----------
    gyro_radps : FloatArray
        (n, 3) angular rate in sensor axes, bias removed.
    step_s : float
        Sample period.
    rot0 : FloatArray
        (3, 3) ``rot_world_from_sensor`` of the first sample.

    Returns
    -------
    FloatArray
        (n, 3, 3) ``rot_world_from_sensor``.

    Notes
    -----
    The running product of n rotations is formed by doubling: after k passes each entry
    holds the product of its last 2^k increments, so log2(n) vectorised passes suffice.
    """
    n = len(gyro_radps)
    q = np.empty((2, n), dtype=np.complex128)
    q[:, 0] = 1.0, 0.0
    q[:, 1:] = rotation_vector_quaternion(rotation_increments(gyro_radps, step_s))
    span = 1
    while span < n:
        q[:, span:] = quaternion_product(q[:, :-span], q[:, span:])
        span *= 2
    q /= np.sqrt(np.sum(q.real**2 + q.imag**2, axis=0))
    return np.ascontiguousarray(rot0 @ matrix_from_quaternion(q))


def main_turning_axis(gyro_radps: FloatArray) -> FloatArray:
    """Axis (3,) about which a sensor turns most over rates (n, 3); its sign is arbitrary.

    For a shank of a walking or running person it lies across the plane of the leg's swing.
    """
    return np.asarray(np.linalg.eigh(gyro_radps.T @ gyro_radps)[1][:, -1])


def level_rotation(up_sensor: FloatArray) -> FloatArray:
    """Shortest rotation (3, 3) that turns the sensor-frame direction ``up`` to world z.

    The heading it leaves is arbitrary: that of the sensor itself, as nearly as levelling
    allows.
    """
    up = up_sensor / np.linalg.norm(up_sensor)
    axis = cross(up, UP)
    cos, sin_squared = float(up[2]), float(axis @ axis)
    if cos < 0.0 and sin_squared < 1e-30:  # upside down: any horizontal axis serves
        return np.diag((1.0, -1.0, -1.0))
    turn = cross_matrix(axis)
    # 1 / (1 + cos), which near upside down is told by the sine alone.
    share = 1.0 / (1.0 + cos) if cos > 0.0 else (1.0 - cos) / sin_squared
    return np.asarray(np.eye(3) + turn + share * turn @ turn)


def heading_rotation(angle_rad: float) -> FloatArray:
    """Rotation (3, 3) about world z by ``angle_rad``, counter-clockwise seen from above."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array(((c, -s, 0.0), (s, c, 0.0), (0.0, 0.0, 1.0)))
