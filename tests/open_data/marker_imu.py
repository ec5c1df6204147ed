"""An ideal accelerometer and gyroscope carried by a cluster of optical markers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import make_interp_spline
from scipy.signal import butter, sosfiltfilt
from scipy.spatial.transform import Rotation, RotationSpline

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray


@dataclass(frozen=True, slots=True)
class ClusterImu:
    """Signals (n, 3) at the cluster's centroid, in its axes, and how rigid it was."""

    accel_mps2: FloatArray
    gyro_radps: FloatArray
    rot_world_from_sensor: Rotation
    fit_rms_m: float


def cluster_imu(
    markers_m: FloatArray, up: FloatArray, rate_hz: float, cutoff_hz: float = 20.0
) -> ClusterImu:
    """Turn marker paths (n, k, 3), k >= 3, into specific force and angular rate.

    Each frame's rotation is the least-squares fit of the mean shape; sensor axes are the
    world's in the first frame. Markers are first low-passed at ``cutoff_hz`` without phase
    shift, then centroid and rotation are differentiated as quintic and cubic splines.
    Gravity is the standard value; the laboratory's own is not known.
    """
    smooth = butter(2, cutoff_hz, fs=rate_hz, output="sos")
    markers_m = sosfiltfilt(smooth, markers_m, axis=0)
    centre_m = markers_m.mean(axis=1)
    arms_m = markers_m - centre_m[:, None, :]

    shape_m = arms_m[0]
    for _ in range(3):
        # Refit on the mean shape, so that the first frame's noise does not set it.
        rotation = Rotation.concatenate(
            [Rotation.align_vectors(frame, shape_m)[0] for frame in arms_m]
        )
        turned_back = np.stack(
            [r.inv().apply(frame) for r, frame in zip(rotation, arms_m, strict=True)]
        )
        shape_m = turned_back.mean(axis=0)
    residual_m = turned_back - shape_m

    time_s = np.arange(len(markers_m)) / rate_hz
    world_mps2 = make_interp_spline(time_s, centre_m, k=5).derivative(2)(time_s)
    rate_world = RotationSpline(time_s, rotation)(time_s, 1)
    return ClusterImu(
        rotation.inv().apply(world_mps2 + STANDARD_GRAVITY_MPS2 * up),
        rotation.inv().apply(rate_world),
        rotation,
        float(np.sqrt(np.mean(np.sum(residual_m**2, axis=2)))),
    )
