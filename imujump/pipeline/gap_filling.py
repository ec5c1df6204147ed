"""Long gaps, bridged anew by what the motion before and after them says.

A straight line through a gap can be far off: then the paths behind it are too, and their
correction is no longer a small one. The first solution tells how each sensor turned and moved
over the gap as a whole; samples that do the same take the line's place, and are still marked as
missing.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from imujump.model import BoolArray, FloatArray
from imujump.pipeline.body import Body, SensorWindow, Window
from imujump.pipeline.orientation import integrate_attitude
from imujump.pipeline.stillness import spans
from imujump.pipeline.strapdown import Strapdown, cumulative_trapezoid
from imujump.pipeline.vectors import rotate

LONG_GAP_S = 0.035
"""A gap from this length on is bridged anew: shorter ones hide less than half an impact's or a
swing's turn (own choice)."""


def long_gaps(missing: BoolArray, step_s: float) -> list[tuple[int, int]]:
    """Last sample before and first after each long gap that has samples on both sides."""
    gaps = spans(missing, max(round(LONG_GAP_S / step_s), 2))
    return [(a - 1, b + 1) for a, b in gaps if a > 0 and b < len(missing) - 1]


def has_long_gaps(window: Window) -> bool:
    """Whether any sensor has a long gap."""
    return any(long_gaps(sensor.missing, window.step_s) for sensor in window.sensors.values())


def refilled(window: Window, body: Body) -> Window:
    """The window with its long gaps bridged as the body moved.

    Parameters
    ----------
    window : Window
        Samples, gaps bridged in some way.
    body : Body
        Motion found from them.
    """
    sensors = {
        p: _refilled(sensor, body.paths[p], window.gravity_mps2)
        for p, sensor in window.sensors.items()
    }
    return replace(window, sensors=sensors)


def _refilled(sensor: SensorWindow, path: Strapdown, gravity_mps2: float) -> SensorWindow:
    gaps = long_gaps(sensor.missing, path.step_s)
    if not gaps:
        return sensor
    accel, gyro = sensor.accel_mps2.copy(), sensor.gyro_radps.copy()
    for before, after in gaps:
        span = slice(before, after + 1)
        gyro[span] = _turning(gyro[span], path.rot[span], path.step_s)
        rot = integrate_attitude(gyro[span], path.step_s, path.rot[before])
        accel[span] = _pushing(accel[span], rot, path, before, gravity_mps2)
    return replace(sensor, accel_mps2=accel, gyro_radps=gyro)


def _turning(gyro_radps: FloatArray, rot: FloatArray, step_s: float) -> FloatArray:
    """Rates (n, 3) over a gap, ends included, that turn from the first attitude to the last."""
    inner = len(gyro_radps) - 2
    out = gyro_radps.copy()
    turned = integrate_attitude(out, step_s, rot[0])
    left = Rotation.from_matrix(turned[-1].T @ rot[-1]).as_rotvec()
    # The turn that is left over, seen from each sample's own axes.
    own = np.einsum("nji,j->ni", turned[1:-1], turned[-1] @ left)
    out[1:-1] += own / (inner * step_s)
    return out


def _pushing(
    accel_mps2: FloatArray, rot: FloatArray, path: Strapdown, before: int, gravity_mps2: float
) -> FloatArray:
    """Specific force (n, 3) over a gap that brings it to the velocity and place after it.

    A constant and a linear part are added, in world axes.
    """
    h, n = path.step_s, len(accel_mps2)
    up = np.array((0.0, 0.0, gravity_mps2))
    shapes = np.zeros((n, 2))
    shapes[1:-1, 0] = 1.0
    shapes[1:-1, 1] = np.linspace(-1.0, 1.0, n - 2)
    speeds = cumulative_trapezoid(shapes, h)
    gains = np.stack((speeds[-1], cumulative_trapezoid(speeds, h)[-1]))
    speed = cumulative_trapezoid(rotate(rot, accel_mps2) - up, h)
    start_mps = path.velocity_mps[before]
    place_m = cumulative_trapezoid(speed, h)[-1] + start_mps * h * (n - 1)
    wanted_mps = path.velocity_mps[before + n - 1] - start_mps
    wanted_m = path.position_m[before + n - 1] - path.position_m[before]
    lacks = np.stack((wanted_mps - speed[-1], wanted_m - place_m))
    push = shapes @ np.linalg.solve(gains, lacks)
    return np.asarray(accel_mps2 + np.einsum("nji,nj->ni", rot, push))
