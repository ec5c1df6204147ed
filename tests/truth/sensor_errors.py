"""What a real sensor does to ideal signals: mounting, soft tissue, filter, errors, range."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.signal import bilinear, butter, lfilter, lfilter_zi, sosfilt, sosfilt_zi
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement

from .motion import IdealSignals

ACCEL_NOISE_G_PER_RTHZ = 120e-6
GYRO_NOISE_RADPS_PER_RTHZ = np.deg2rad(0.007)
GYRO_RANGE_DPS = 2000.0
LOWPASS_SHARE_OF_RATE = 0.4
"""Noise densities and filter of consumer-grade inertial sensors (own choice, after usual
data sheets; common practice, no source)."""


@dataclass(frozen=True, slots=True)
class OneSensor:
    """Errors of one sensor. ``mounting`` turns sensor axes into nominal segment axes."""

    mounting: Rotation
    gyro_bias_dps: FloatArray
    accel_bias_mg: FloatArray
    gyro_scale: FloatArray
    accel_scale: FloatArray
    tissue_hz: float | None = None
    tissue_damping_ratio: float | None = None


@dataclass(frozen=True, slots=True)
class SensorSet:
    """Errors of the three sensors of one recording, drawn from ``seed``."""

    seed: int
    rate_hz: int
    accel_range_g: float
    sensors: Mapping[Placement, OneSensor]


def draw_sensor_set(seed: int, *, soft_tissue: bool) -> SensorSet:
    """Draw mounting, errors, rate and range of three sensors from a seed.

    Mostly 200 Hz, some 100 and 400; range 16 or 32 g. Mounting: shank up to 20° about the
    long axis and 8° about the others, pelvis up to 15° tilt and 5° about the vertical. Gyro
    bias up to 0.7 °/s, accelerometer offset up to 5 mg, scale error up to 0.5 %. Soft tissue
    resonates at 28 to 50 Hz on the shank and at 14 to 25 Hz on the pelvis.
    """
    rng = np.random.default_rng(seed)
    rate_hz = int(rng.choice([100, 200, 400], p=[0.15, 0.65, 0.20]))
    accel_range_g = float(rng.choice([16.0, 32.0]))

    def one(placement: Placement) -> OneSensor:
        pelvis = placement is Placement.PELVIS
        limits_deg = np.array([10.0, 10.0, 5.0] if pelvis else [8.0, 8.0, 20.0])
        tilt_deg = rng.uniform(-limits_deg, limits_deg)
        if pelvis:  # a tilt of up to 15 degrees in any direction
            tilt_deg[:2] = 15.0 * np.sqrt(rng.uniform()) * _unit_circle(rng)
        return OneSensor(
            mounting=Rotation.from_rotvec(tilt_deg, degrees=True),
            gyro_bias_dps=rng.uniform(-0.7, 0.7, 3),
            accel_bias_mg=rng.uniform(-5.0, 5.0, 3),
            gyro_scale=1.0 + rng.uniform(-0.005, 0.005, 3),
            accel_scale=1.0 + rng.uniform(-0.005, 0.005, 3),
            tissue_hz=_tissue_hz(rng, pelvis=pelvis) if soft_tissue else None,
            tissue_damping_ratio=float(rng.uniform(0.33, 0.52)) if soft_tissue else None,
        )

    sensors = {placement: one(placement) for placement in Placement}
    return SensorSet(seed, rate_hz, accel_range_g, sensors)


def _unit_circle(rng: np.random.Generator) -> FloatArray:
    angle = rng.uniform(0, 2 * np.pi)
    return np.array([np.cos(angle), np.sin(angle)])


def _tissue_hz(rng: np.random.Generator, *, pelvis: bool) -> float:
    return float(rng.uniform(14.0, 25.0) if pelvis else rng.uniform(28.0, 50.0))


def measured(
    ideal: IdealSignals,
    grid_hz: float,
    sensor: OneSensor,
    sensor_set: SensorSet,
    rng: np.random.Generator,
) -> FloatArray:
    """One sensor's samples.

    Parameters
    ----------
    ideal : IdealSignals
        Nominal segment axes on a grid of ``grid_hz``, a whole multiple of the rate.
    grid_hz : float
        Rate of the ideal signals.
    sensor, sensor_set : OneSensor, SensorSet
        The errors.
    rng : numpy.random.Generator
        Draws the white noise.

    Returns
    -------
    ndarray (m, 6)
        Accelerometer m/s² and gyro rad/s in sensor axes at the sensor's rate.

    Raises
    ------
    ValueError
        If ``grid_hz`` is not a multiple of the sensor's rate.
    """
    every = round(grid_hz / sensor_set.rate_hz)
    if abs(every * sensor_set.rate_hz - grid_hz) > 1e-6:
        raise ValueError(f"grid_hz is {grid_hz}, must be a multiple of {sensor_set.rate_hz}")
    accel = ideal.accel_mps2
    if sensor.tissue_hz is not None and sensor.tissue_damping_ratio is not None:
        accel = on_tissue(ideal, grid_hz, sensor.tissue_hz, sensor.tissue_damping_ratio)
    to_sensor = sensor.mounting.inv()
    both = np.hstack([to_sensor.apply(accel), to_sensor.apply(ideal.gyro_radps)])
    low = butter(2, LOWPASS_SHARE_OF_RATE * sensor_set.rate_hz, fs=grid_hz, output="sos")
    start = sosfilt_zi(low)[:, :, None] * both[0]
    both = sosfilt(low, both, axis=0, zi=start)[0][::every]

    g = STANDARD_GRAVITY_MPS2
    bandwidth_rthz = np.sqrt(sensor_set.rate_hz / 2.0)
    accel = both[:, :3] * sensor.accel_scale + sensor.accel_bias_mg * 1e-3 * g
    gyro = both[:, 3:] * sensor.gyro_scale + np.deg2rad(sensor.gyro_bias_dps)
    accel = accel + rng.normal(0, ACCEL_NOISE_G_PER_RTHZ * g * bandwidth_rthz, accel.shape)
    gyro = gyro + rng.normal(0, GYRO_NOISE_RADPS_PER_RTHZ * bandwidth_rthz, gyro.shape)
    return np.hstack(
        [
            _sixteen_bits(accel, sensor_set.accel_range_g * g),
            _sixteen_bits(gyro, np.deg2rad(GYRO_RANGE_DPS)),
        ]
    )


def on_tissue(ideal: IdealSignals, grid_hz: float, hz: float, damping_ratio: float) -> FloatArray:
    """Specific force (n, 3) of a sensor that sits on a spring and damper on the bone.

    In bone axes the sensor's shift u obeys u'' + 2 d w u' + w² u = -f with the bone point's
    specific force f. The frame turns with rate r, so the sensor feels
    f + u'' + 2 r x u' + r' x u + r x (r x u): its path stays within millimetres of the
    bone's and integration does not drift. The sensor does not turn against the bone.
    """
    omega = 2 * np.pi * hz
    below = [1.0, 2 * damping_ratio * omega, omega**2]

    def driven(above: list[float]) -> FloatArray:
        b, a = bilinear(above, below, grid_hz)
        start = lfilter_zi(b, a)[:, None] * -ideal.accel_mps2[0]
        result: FloatArray = lfilter(b, a, -ideal.accel_mps2, axis=0, zi=start)[0]
        return result

    shift, speed, accel = driven([1.0]), driven([1.0, 0.0]), driven([1.0, 0.0, 0.0])
    rate = ideal.gyro_radps
    turning = np.gradient(rate, 1.0 / grid_hz, axis=0)
    felt: FloatArray = (
        ideal.accel_mps2
        + accel
        + 2.0 * np.cross(rate, speed)
        + np.cross(turning, shift)
        + np.cross(rate, np.cross(rate, shift))
    )
    return felt


def _sixteen_bits(values: FloatArray, limit: float) -> FloatArray:
    step = limit / 32768.0
    result: FloatArray = np.clip(np.round(values / step), -32768, 32767) * step
    return result


def measure_all(
    signals: Mapping[Placement, IdealSignals], grid_hz: float, sensor_set: SensorSet
) -> dict[Placement, FloatArray]:
    """Samples (m, 6) of all three sensors."""
    rng = np.random.default_rng([sensor_set.seed, 1])
    return {
        placement: measured(ideal, grid_hz, sensor_set.sensors[placement], sensor_set, rng)
        for placement, ideal in signals.items()
    }


def describe(sensor_set: SensorSet) -> dict[str, Any]:
    """The sensor errors as they stand in the truth file."""
    tissue = {
        str(placement): {
            "frequency_hz": round(s.tissue_hz, 2),
            "damping_ratio": round(s.tissue_damping_ratio or 0.0, 3),
        }
        for placement, s in sensor_set.sensors.items()
        if s.tissue_hz is not None
    }
    # Group delay of a 2-pole Butterworth filter at 0 Hz: sqrt(2) / (2 pi fc).
    cutoff_hz = LOWPASS_SHARE_OF_RATE * sensor_set.rate_hz
    return {
        "seed": sensor_set.seed,
        "sampling_hz": sensor_set.rate_hz,
        "accel_range_g": sensor_set.accel_range_g,
        "gyro_range_dps": GYRO_RANGE_DPS,
        "accel_noise_ug_rthz": ACCEL_NOISE_G_PER_RTHZ * 1e6,
        "gyro_noise_dps_rthz": float(np.rad2deg(GYRO_NOISE_RADPS_PER_RTHZ)),
        "int16": True,
        "lowpass": {
            "type": "2-pole Butterworth, causal",
            "cutoff_hz": cutoff_hz,
            "delay_at_low_frequency_s": round(np.sqrt(2) / (2 * np.pi * cutoff_hz), 5),
        },
        "soft_tissue": tissue or None,
        "sensors": {
            str(placement): {
                "mounting_matrix": s.mounting.as_matrix().round(6).tolist(),
                "mounting_rotvec_deg": s.mounting.as_rotvec(degrees=True).round(3).tolist(),
                "gyro_bias_dps": s.gyro_bias_dps.round(4).tolist(),
                "accel_bias_mg": s.accel_bias_mg.round(3).tolist(),
                "gyro_scale": s.gyro_scale.round(5).tolist(),
                "accel_scale": s.accel_scale.round(5).tolist(),
            }
            for placement, s in sensor_set.sensors.items()
        },
        "mounting_convention": "v_nominal = mounting_matrix @ v_sensor; nominal axes x forward,"
        " y left, z up of the segment",
    }
