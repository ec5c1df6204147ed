"""Ideal sensors against MuJoCo 4 (a general-purpose physics engine), played back.

The pelvis is driven through three slides and three hinges whose positions, velocities and
accelerations are the motion's own polynomials, so that the engine does all rotation
arithmetic by itself; each shank through a free joint. ``mj_inverse`` then yields what
accelerometer and gyro sites read. MuJoCo's free joint takes the world's axes for linear and
the body's axes for angular velocity and acceleration (its documentation, "Floating objects").
"""

from __future__ import annotations

from collections.abc import Callable

import mujoco
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement, Side
from imujump.simulate.motion import Motion

from .jumps import one_foot, two_foot

ACCEL_BOUND_MPS2 = 1e-9
GYRO_BOUND_RADPS = 1e-9
"""Rounding only: 6e-13 m/s² and 1e-14 rad/s were measured."""


def _model(motion: Motion) -> mujoco.MjModel:
    def site(placement: Placement) -> str:
        x, y, z = motion.body.sensor_offset_m(placement)
        return (
            '<geom size="0.05" mass="1" contype="0" conaffinity="0"/>'
            f'<site name="{placement}" pos="{x} {y} {z}"/>'
        )

    slides = "".join(f'<joint type="slide" axis="{a}"/>' for a in ("1 0 0", "0 1 0", "0 0 1"))
    hinges = "".join(f'<joint type="hinge" axis="{a}"/>' for a in ("0 0 1", "0 1 0", "1 0 0"))
    sensors = "".join(f'<accelerometer site="{p}"/><gyro site="{p}"/>' for p in Placement)
    return mujoco.MjModel.from_xml_string(
        f"""<mujoco><option gravity="0 0 {-STANDARD_GRAVITY_MPS2}"/><worldbody>
        <body>{slides}{hinges}{site(Placement.PELVIS)}</body>
        <body><freejoint/>{site(Placement.LEFT_SHANK)}</body>
        <body><freejoint/>{site(Placement.RIGHT_SHANK)}</body>
        </worldbody><sensor>{sensors}</sensor></mujoco>"""
    )


@pytest.mark.parametrize("make", [one_foot, two_foot])
def test_ideal_sensors_agree_with_the_engine(make: Callable[[], Motion]) -> None:
    motion = make()
    t = np.arange(0.0, motion.duration_s, 1.0 / 211.0)
    pelvis, angles = motion.pelvis(t).position, motion.pelvis_angles(t)
    legs = [motion.shank(side, t) for side in Side]
    qpos = np.hstack(
        [pelvis.value, angles.value]
        + [
            part
            for leg in legs
            for part in (
                leg.position.value,
                Rotation.from_matrix(leg.frame.matrix()).as_quat(scalar_first=True),
            )
        ]
    )
    qvel = np.hstack(
        [pelvis.rate, angles.rate]
        + [a for leg in legs for a in (leg.position.rate, leg.frame.angular_rate_radps())]
    )
    qacc = np.hstack(
        [pelvis.second, angles.second]
        + [
            a
            for leg in legs
            for a in (leg.position.second, leg.frame.angular_acceleration_radps2())
        ]
    )
    model = _model(motion)
    data = mujoco.MjData(model)
    read = np.empty((len(t), 18))
    for i in range(len(t)):
        data.qpos, data.qvel, data.qacc = qpos[i], qvel[i], qacc[i]
        mujoco.mj_inverse(model, data)
        read[i] = data.sensordata
    for k, placement in enumerate(Placement):
        ideal = motion.sensor(placement, t)
        accel = np.abs(ideal.specific_force_mps2() - read[:, 6 * k : 6 * k + 3])
        gyro = np.abs(ideal.angular_rate_radps() - read[:, 6 * k + 3 : 6 * k + 6])
        assert accel.max() < ACCEL_BOUND_MPS2, placement
        assert gyro.max() < GYRO_BOUND_RADPS, placement
        # The check means something only where there is something to feel.
        assert np.abs(read[:, 6 * k : 6 * k + 3]).max() > 40.0


@pytest.mark.parametrize("make", [one_foot, two_foot])
@pytest.mark.parametrize("placement", list(Placement))
def test_rates_integrate_to_the_path(make: Callable[[], Motion], placement: Placement) -> None:
    """What the engine was given are the path's own derivatives.

    Gauss-Legendre quadrature (numpy) of acceleration and velocity over spans of 2 ms gives
    back velocity and position; chained rotations by the angular rate give the attitude.
    """
    motion = make()
    span_s = 0.002
    edges = np.arange(0.3, motion.duration_s - 0.1, span_s)
    nodes, weights = np.polynomial.legendre.leggauss(5)
    inner = (edges[:-1, None] + 0.5 * span_s * (nodes + 1.0)).ravel()
    at, within = motion.sensor(placement, edges), motion.sensor(placement, inner)

    def integral(values: np.ndarray) -> np.ndarray:
        return 0.5 * span_s * np.einsum("ijk,j->ik", values.reshape(-1, 5, 3), weights)

    moved = integral(within.position.rate) - np.diff(at.position.value, axis=0)
    gained = integral(within.position.second) - np.diff(at.position.rate, axis=0)
    assert np.abs(moved).max() < 1e-6
    # Acceleration has kinks (jumps of jerk of some 1e4 m/s³) between the nodes, which cost
    # up to jerk * span² / 32 or so each.
    assert np.abs(gained).max() < 2e-3
    assert np.abs(np.cumsum(gained, axis=0)).max() < 5e-3
    turn = Rotation.from_rotvec(integral(within.frame.angular_rate_radps()))
    start = Rotation.from_matrix(at.frame.matrix()[:-1])
    end = Rotation.from_matrix(at.frame.matrix()[1:])
    assert ((start * turn).inv() * end).magnitude().max() < 2e-6
