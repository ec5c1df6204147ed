"""The generators' own physics: sensors at rest, integration, errors, blends."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement, Side

from .motion import (
    BodyMotion,
    IdealSignals,
    Segment,
    all_ideal_signals,
    ideal_signals,
    mirrored,
    sensor_offset_m,
)
from .sensor_errors import draw_sensor_set, measure_all, measured, on_tissue
from .standing import StandingPlan, movement_weight, with_standing

GRID_HZ = 1200.0


def _still(seconds: float = 3.0) -> BodyMotion:
    time_s = np.arange(int(seconds * GRID_HZ) + 1) / GRID_HZ
    turn = Rotation.from_euler("zyx", [0.4, 0.1, -0.2])

    def segment(height_m: float) -> Segment:
        place = np.tile([1.0, 2.0, height_m], (len(time_s), 1))
        return Segment(place, Rotation.concatenate([turn] * len(time_s)))

    return BodyMotion(time_s, segment(0.9), {side: segment(0.09) for side in Side})


def test_a_still_body_feels_gravity_and_no_turn() -> None:
    for signals in all_ideal_signals(_still(), 9.80665).values():
        norm = np.linalg.norm(signals.accel_mps2, axis=1)
        # Spline rounding: path digits 1e-16 m / (1/1200 s)² = 1e-10, times a few.
        np.testing.assert_allclose(norm, 9.80665, atol=1e-6)
        np.testing.assert_allclose(signals.gyro_radps, 0.0, atol=1e-9)


def test_steady_circling_feels_centripetal_force() -> None:
    """Textbook: radius r at rate w pulls w² r inwards and turns the gyro by w."""
    radius_m, rate_radps = 0.4, 7.0
    time_s = np.arange(2401) / GRID_HZ
    angle = rate_radps * time_s
    path = np.column_stack([radius_m * np.cos(angle), radius_m * np.sin(angle), 0 * angle])
    segment = Segment(path, Rotation.from_euler("z", angle[:, None]))
    signals = ideal_signals(time_s, segment, np.zeros(3), 9.80665)
    inner = slice(20, -20)  # the spline's ends know less
    expected = [-(rate_radps**2) * radius_m, 0.0, 9.80665]
    np.testing.assert_allclose(signals.accel_mps2[inner].mean(axis=0), expected, atol=1e-4)
    np.testing.assert_allclose(signals.accel_mps2[inner] - expected, 0.0, atol=1e-3)
    np.testing.assert_allclose(
        signals.gyro_radps[inner], [[0.0, 0.0, rate_radps]] * 2361, atol=1e-6
    )


def test_mirroring_swaps_sides_and_keeps_forward_tilt() -> None:
    motion = _still()
    twin = mirrored(motion)
    assert twin.shanks[Side.LEFT].position_m[0, 1] == -motion.shanks[Side.RIGHT].position_m[0, 1]
    yaw, pitch, roll = motion.pelvis.rotation[0].as_euler("zyx")
    np.testing.assert_allclose(twin.pelvis.rotation[0].as_euler("zyx"), [-yaw, pitch, -roll])


def test_the_blend_weight_starts_and_ends_smoothly() -> None:
    plan = StandingPlan((1.0, 2.0), (4.0, 5.0), 3.0, 3.0, 0.9, 0.09)
    time_s = np.linspace(0.0, 6.0, 6001)
    weight = movement_weight(time_s, plan)
    assert weight[time_s <= 1.0].max() == 0.0
    assert weight[(time_s >= 2.0) & (time_s <= 4.0)].min() == 1.0
    second = np.gradient(np.gradient(weight, time_s), time_s)
    # Degree 7 has a bounded third derivative of 52.5 / T³, so one step changes w'' by 0.05.
    assert np.abs(np.diff(second)).max() < 0.06


def test_standing_parts_are_still_and_the_middle_is_the_movement() -> None:
    time_s = np.arange(int(6.0 * GRID_HZ) + 1) / GRID_HZ
    moving = Segment(
        np.column_stack([2.0 * time_s, 0 * time_s, 0.9 + 0.02 * np.sin(9 * time_s)]),
        Rotation.from_euler("y", (0.1 * np.sin(5 * time_s))[:, None]),
    )
    shank = Segment(moving.position_m - [0.0, 0.0, 0.8], moving.rotation)
    motion = BodyMotion(time_s, moving, {side: shank for side in Side})
    plan = StandingPlan((1.0, 2.0), (4.0, 5.0), 3.0, 3.0, 0.9, 0.09)
    whole, weight = with_standing(motion, plan, np.random.default_rng(1))
    start, end = whole.at(3.0 + 1.0), whole.at(3.0 + 3.0)
    np.testing.assert_allclose(
        whole.pelvis.position_m[start:end], moving.position_m[whole.at(2.0) : whole.at(4.0)]
    )
    assert np.ptp(whole.pelvis.position_m[: whole.at(3.0)], axis=0).max() == 0.0
    speed = np.gradient(whole.pelvis.position_m[:, 0], 1 / GRID_HZ)
    # The pelvis' speed is the weight times the movement's, so it never overshoots.
    np.testing.assert_allclose(speed, 2.0 * weight, atol=2e-3)


def test_errorless_parts_of_the_sensor_model_follow_its_figures() -> None:
    sensor_set = draw_sensor_set(3, soft_tissue=True)
    for placement, samples in measure_all(all_ideal_signals(_still()), GRID_HZ, sensor_set).items():
        sensor = sensor_set.sensors[placement]
        unscaled = samples[:, :3].mean(axis=0) - sensor.accel_bias_mg * 1e-3 * STANDARD_GRAVITY_MPS2
        norm = np.linalg.norm(unscaled / sensor.accel_scale)
        assert norm == pytest.approx(STANDARD_GRAVITY_MPS2, abs=0.005)  # noise over 600 samples
        turn_dps = np.rad2deg(samples[:, 3:].mean(axis=0))
        np.testing.assert_allclose(turn_dps, sensor.gyro_bias_dps, atol=0.02)


def test_soft_tissue_shakes_the_sensor_but_moves_it_only_millimetres() -> None:
    """A bone that bounces and rocks; the shaken sensor's integrated path stays with it."""
    time_s = np.arange(int(8.0 * GRID_HZ) + 1) / GRID_HZ
    bounce = 0.04 * np.sin(2 * np.pi * 3.0 * time_s) * (1 - np.exp(-((time_s / 0.5) ** 4)))
    rock = 0.2 * np.sin(2 * np.pi * 3.0 * time_s + 1.0) * (1 - np.exp(-((time_s / 0.5) ** 4)))
    place = np.column_stack([0 * time_s, 0 * time_s, 0.9 + bounce])
    segment = Segment(place, Rotation.from_rotvec(np.outer(rock, [0.0, 1.0, 0.0])))
    ideal = ideal_signals(time_s, segment, np.zeros(3), STANDARD_GRAVITY_MPS2)
    shaken = on_tissue(ideal, GRID_HZ, 16.0, 0.35)
    # At 3 Hz a spring of 16 Hz amplifies by about 1 / (1 - (3/16)²), 3.6 %.
    ratio = np.ptp(shaken[4800:, 2]) / np.ptp(ideal.accel_mps2[4800:, 2])
    assert 1.01 < ratio < 1.08
    extra = segment.rotation.apply(shaken - ideal.accel_mps2)
    drift = np.cumsum(np.cumsum(extra, axis=0), axis=0) / GRID_HZ**2
    # The spring sags g / w² = 1 mm at rest; shaking and rocking add no more than a few.
    assert np.abs(drift).max() < 0.004


def test_samples_lag_by_the_filter_and_stop_at_the_range() -> None:
    sensor_set = draw_sensor_set(5, soft_tissue=False)
    sensor = sensor_set.sensors[Placement.PELVIS]
    time_s = np.arange(4801) / GRID_HZ
    wave = 20.0 * np.sin(2 * np.pi * 2.0 * time_s)
    ideal = IdealSignals(np.column_stack([0 * wave, 0 * wave, 0 * wave]), np.outer(wave, [0, 0, 1]))
    samples = measured(ideal, GRID_HZ, sensor, sensor_set, np.random.default_rng(0))
    along = sensor.mounting.apply(
        samples[:, 3:] / sensor.gyro_scale - np.deg2rad(sensor.gyro_bias_dps)
    )[:, 2]
    sample_s = np.arange(len(along)) / sensor_set.rate_hz
    phase = np.angle(np.sum(along * np.exp(-2j * np.pi * 2.0 * sample_s))) + np.pi / 2
    lag_s = -phase / (2 * np.pi * 2.0)
    # Group delay of a 2-pole Butterworth filter at 0 Hz, sqrt(2) / (2 pi fc) with fc 0.4 fs.
    expected_s = np.sqrt(2) / (2 * np.pi * 0.4 * sensor_set.rate_hz)
    assert lag_s == pytest.approx(expected_s, abs=0.0005)
    hard = IdealSignals(np.full((4801, 3), 900.0), np.full((4801, 3), 90.0))
    clipped = measured(hard, GRID_HZ, sensor, sensor_set, np.random.default_rng(0))
    assert np.abs(clipped[:, :3]).max() <= sensor_set.accel_range_g * STANDARD_GRAVITY_MPS2
    assert np.rad2deg(np.abs(clipped[:, 3:]).max()) <= 2000.0 + 1e-9


def test_a_drawn_set_repeats_and_stays_within_its_limits() -> None:
    for seed in range(40):
        drawn = draw_sensor_set(seed, soft_tissue=True)
        again = draw_sensor_set(seed, soft_tissue=True)
        for placement in Placement:
            one = drawn.sensors[placement]
            np.testing.assert_array_equal(
                one.mounting.as_quat(), again.sensors[placement].mounting.as_quat()
            )
            turn_deg = np.abs(one.mounting.as_rotvec(degrees=True))
            limit_deg = [15.0, 15.0, 5.0] if placement is Placement.PELVIS else [8.0, 8.0, 20.0]
            assert np.all(turn_deg <= limit_deg)
            assert np.abs(one.gyro_bias_dps).max() <= 0.7


def test_shank_sensors_sit_on_the_outside() -> None:
    assert sensor_offset_m(Placement.LEFT_SHANK)[1] > 0 > sensor_offset_m(Placement.RIGHT_SHANK)[1]
