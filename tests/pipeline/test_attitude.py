"""Attitude against scipy's rotations, and against a general-purpose attitude library."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable

import imufusion
import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement
from imujump.pipeline.orientation import (
    ComplexArray,
    heading_rotation,
    integrate_attitude,
    level_rotation,
    matrix_from_quaternion,
    quaternion_product,
    rotation_increments,
    rotation_vector_quaternion,
)
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.imu import SensorErrors

from .recordings import ONE_FOOT, TWO_FOOT, motion_of, recorded, streams

RATE_HZ = 200.0

vectors = arrays(np.float64, (7, 3), elements=st.floats(-3.0, 3.0))


def scipy_order(q: ComplexArray) -> FloatArray:
    """Reorder rows w + x i, y + z i to scipy's columns x, y, z, w."""
    return np.stack((q[0].imag, q[1].real, q[1].imag, q[0].real), axis=1)


@given(vectors)
def test_rotation_vectors_become_scipy_s_quaternions_and_matrices(vectors: FloatArray) -> None:
    q = rotation_vector_quaternion(vectors)
    true = Rotation.from_rotvec(vectors)
    np.testing.assert_allclose(np.linalg.norm(q, axis=0), 1.0, atol=1e-14)
    np.testing.assert_allclose(matrix_from_quaternion(q), true.as_matrix(), atol=1e-14)


@given(vectors, vectors)
def test_products_are_scipy_s(left: FloatArray, right: FloatArray) -> None:
    p, q = rotation_vector_quaternion(left), rotation_vector_quaternion(right)
    true = Rotation.from_quat(scipy_order(p)) * Rotation.from_quat(scipy_order(q))
    np.testing.assert_allclose(
        matrix_from_quaternion(quaternion_product(p, q)), true.as_matrix(), atol=1e-13
    )


@settings(max_examples=20, deadline=None)
@given(
    arrays(np.float64, st.tuples(st.integers(2, 70), st.just(3)), elements=st.floats(-20.0, 20.0))
)
def test_integration_is_the_running_product_of_its_increments(gyro: FloatArray) -> None:
    """The doubling scheme against scipy multiplying one increment after another."""
    start = Rotation.from_rotvec((0.3, -0.7, 1.1))
    found = integrate_attitude(gyro, 1.0 / RATE_HZ, start.as_matrix())
    now = start
    for k, step in enumerate(rotation_increments(gyro, 1.0 / RATE_HZ)):
        now = now * Rotation.from_rotvec(step)
        np.testing.assert_allclose(found[k + 1], now.as_matrix(), atol=1e-12)
    np.testing.assert_allclose(found[0], start.as_matrix(), atol=1e-15)


def test_a_constant_rate_turns_about_its_axis() -> None:
    rate = np.array((1.0, -2.0, 0.5))
    found = integrate_attitude(np.tile(rate, (2001, 1)), 0.005, np.eye(3))
    true = Rotation.from_rotvec(np.arange(2001)[:, None] * 0.005 * rate)
    np.testing.assert_allclose(found, true.as_matrix(), atol=1e-11)


def test_coning_is_followed() -> None:
    """A body whose axis sweeps a cone: the classic hard case, known in closed form.

    The attitude is Rz(wt) Ry(a) Rz(-wt); its rate is taken by central differences of scipy's
    rotations. Half-angle 20 degrees, 2 turns a second, 200 Hz, 10 s. Plain trapezoids leave out
    a coning term of dt²/12 |w0 × w1| = dt²/12 (w sin a)² sin(w dt) a step, 0.28 degrees in all,
    and overestimate the swept angle by (w dt)²/12, which comes to as much again. The first is
    modelled, the second is the limit of a rate that is linear between samples.
    """
    a, w, h = math.radians(20.0), 4.0 * math.pi, 1.0 / RATE_HZ

    def attitude(t: FloatArray) -> Rotation:
        turn = Rotation.from_rotvec(w * t[:, None] * (0.0, 0.0, 1.0))
        return turn * Rotation.from_rotvec((0.0, a, 0.0)) * turn.inv()

    t, d = np.arange(2001) * h, 1e-6
    gyro = (attitude(t - d).inv() * attitude(t + d)).as_rotvec() / (2.0 * d)
    found = integrate_attitude(gyro, h, attitude(t[:1]).as_matrix()[0])

    def off_deg(rot: FloatArray) -> float:
        apart = attitude(t).inv() * Rotation.from_matrix(rot)
        return float(np.degrees(apart.magnitude().max()))

    coning_deg = math.degrees(2000 * h**2 / 12.0 * (w * math.sin(a)) ** 2 * math.sin(w * h))
    assert coning_deg == pytest.approx(0.277, abs=0.001)
    assert off_deg(found) == pytest.approx(coning_deg, rel=0.02)
    plain = attitude(t[:1])
    bare = [plain.as_matrix()[0]]
    for step in 0.5 * h * (gyro[1:] + gyro[:-1]):
        plain = plain * Rotation.from_rotvec(step)
        bare.append(plain.as_matrix()[0])
    assert off_deg(np.array(bare)) == pytest.approx(2.0 * coning_deg, rel=0.02)


@given(arrays(np.float64, 3, elements=st.floats(-1.0, 1.0)).filter(lambda v: v @ v > 1e-3))
@example(np.array((1.4e-6, -1.5e-5, -0.33)))
@example(np.array((0.0, 3e-9, -0.5)))
def test_levelling_is_scipy_s_shortest_rotation(up: FloatArray) -> None:
    rot = level_rotation(up)
    unit = up / np.linalg.norm(up)
    np.testing.assert_allclose(rot @ unit, (0.0, 0.0, 1.0), atol=1e-7)
    np.testing.assert_allclose(rot @ rot.T, np.eye(3), atol=1e-7)
    assert np.linalg.det(rot) == pytest.approx(1.0, abs=1e-7)
    angle = math.acos(min(1.0, max(-1.0, float(unit[2]))))
    assert Rotation.from_matrix(rot).magnitude() == pytest.approx(angle, abs=1e-6)


def test_heading_turns_about_the_vertical() -> None:
    np.testing.assert_allclose(
        heading_rotation(0.7), Rotation.from_euler("z", 0.7).as_matrix(), atol=1e-15
    )


def true_up(jump: ApproachJump, seed: int, placement: Placement, count: int) -> FloatArray:
    """World's up in sensor axes (n, 3) when the reported samples were true.

    A two-pole low-pass at 0.4 of the rate delays by sqrt(2) / (2 pi 0.4) samples.
    """
    recording, motion = recorded(jump, errors=SensorErrors(), seed=seed), motion_of(jump)
    flaw = recording.imperfections[placement]
    delay_s = math.sqrt(2.0) / (2.0 * math.pi * 0.4) / RATE_HZ
    true_hz = RATE_HZ * (1.0 + 1e-6 * flaw.clock_skew_ppm)
    time_s = flaw.clock_offset_s + np.arange(count) / true_hz - delay_s
    frame = motion.sensor(placement, np.clip(time_s, 0.0, motion.duration_s)).frame
    up = frame.into_frame(np.tile((0.0, 0.0, 1.0), (count, 1)))
    return np.asarray(flaw.mounting.inv().apply(up))


def ours(accel: FloatArray, gyro: FloatArray, up: FloatArray) -> FloatArray:
    """World's up in sensor axes (n, 3) as the pipeline's integration has it."""
    return integrate_attitude(gyro, 1.0 / RATE_HZ, level_rotation(up))[:, 2]


def theirs(accel: FloatArray, gyro: FloatArray, up: FloatArray) -> FloatArray:
    """The same by imufusion with its usual gain and acceleration rejection.

    It takes each rate to hold since the sample before; the mean of both is the fairer input.
    """
    settings = imufusion.AhrsSettings()
    settings.sample_rate = RATE_HZ
    settings.gain = 0.5
    settings.gyroscope_range = 2000.0
    settings.acceleration_rejection = 10.0
    settings.rejection_timeout = 5.0
    filter_ = imufusion.Ahrs()
    filter_.set_settings(settings)
    mean = np.degrees(0.5 * (gyro + np.concatenate((gyro[:1], gyro[:-1]))))
    found = np.empty_like(accel)
    for k, force in enumerate(accel / STANDARD_GRAVITY_MPS2):
        filter_.update_no_magnetometer(mean[k], force)
        found[k] = filter_.get_gravity()
    return found


def test_inclination_is_no_worse_than_a_general_purpose_filter_s(
    record_property: Callable[[str, object], None], capsys: pytest.CaptureFixture[str]
) -> None:
    """Run-up to after the landing, realistic errors, six recordings, three sensors each.

    Both get the same samples with the same rest bias removed.
    """
    squares: dict[str, list[FloatArray]] = {"ours": [], "imufusion": []}
    for jump in (ONE_FOOT, TWO_FOOT):
        (mark,) = motion_of(jump).jumps
        for seed in (0, 1, 2):
            recording = recorded(jump, errors=SensorErrors(), seed=seed)
            for placement, own in streams(recording).items():
                accel = np.concatenate([b.accel_mps2 for b in own])
                gyro = np.concatenate([b.gyro_radps for b in own])
                rest = slice(round(0.5 * RATE_HZ), round(mark.start_s * RATE_HZ))
                gyro = gyro - gyro[rest].mean(axis=0)
                true = true_up(jump, seed, placement, len(accel))
                action = slice(rest.stop, round((mark.landing_s + 1.0) * RATE_HZ))
                for name, method in (("ours", ours), ("imufusion", theirs)):
                    up = method(accel[rest.start :], gyro[rest.start :], accel[rest].mean(axis=0))
                    up = np.concatenate((np.zeros((rest.start, 3)), up))
                    off = np.arccos(np.clip(np.sum(up * true, axis=1), -1.0, 1.0))
                    squares[name].append(off[action] ** 2)
    rmse = {n: float(np.degrees(np.sqrt(np.concatenate(s).mean()))) for n, s in squares.items()}
    for name, value in rmse.items():
        record_property(f"inclination_rmse_deg_{name}", value)
    with capsys.disabled():
        sys.stdout.write(
            f" inclination RMSE {rmse['ours']:.2f}° ours, {rmse['imufusion']:.2f}° imufusion "
        )
    assert rmse["ours"] <= rmse["imufusion"]
    assert rmse["ours"] < 0.5
