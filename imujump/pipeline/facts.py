"""What is known of a sensor's motion: its noise, standing still, feet that pivot on the floor."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from imujump.model import FloatArray, IntArray, Placement
from imujump.pipeline.body import Window
from imujump.pipeline.drift import DriftProblem
from imujump.pipeline.error_growth import STATES, NoiseModel
from imujump.pipeline.strapdown import Strapdown
from imujump.pipeline.vectors import cross, cross_matrix, rotate, turned

PELVIS_NOISE = NoiseModel(
    gyro_density=3e-4,
    accel_density=0.005,
    gyro_scale=0.003,
    accel_scale=0.002,
    gyro_bias_radps=5e-4,
    accel_bias_mps2=0.03,
    clipped_accel_mps2=50.0,
    missing_accel_mps2=12.0,
    missing_gyro_radps=1.5,
    unsampled_share=0.06,
)
"""Pelvis sensor: own choice from data-sheet noise of common parts widened for soft tissue;
scale and bias sizes after the rest calibration; gap figures are the spread of the signals
themselves while running."""

SHANK_NOISE = NoiseModel(
    gyro_density=3e-4,
    accel_density=0.05,
    gyro_scale=0.003,
    accel_scale=0.004,
    gyro_bias_radps=1e-3,
    accel_bias_mps2=0.05,
    clipped_accel_mps2=80.0,
    missing_accel_mps2=40.0,
    missing_gyro_radps=5.0,
    unsampled_share=0.15,
)
"""Shank sensor: as the pelvis, with the stronger soft-tissue motion of the leg."""

PIVOT_SPEED_MPS = 0.25
"""Speed of the ankle at its slowest in a running contact: soft tissue, lever off by 1-2 cm at
200 degrees per second, skid of the shoe (own choice)."""

CONTACT_HEIGHT_M = 0.03
"""Ankle height at mid-contact against standing: heel off the floor, uneven floor (own choice)."""

REST_SPEED_MPS, SWAY_ARM_M = 0.005, 0.3
"""Sway of pelvis and shanks of a person standing still (own choice: 3 mm at 0.3 Hz), and the arm
on which a sensor that is seen to turn meanwhile moves (own choice)."""

SWAY_PERIOD_S = 0.2
"""Fidgeting in a stand lasts about this long each time (own choice)."""

UPRIGHT_RAD = 5e-3
"""The vertical of a stand, from its mean specific force (own choice)."""

FLOOR_M = 0.01
"""Unevenness of a court floor and of foot placement between two stands (own choice)."""

POSTURE_M, BENT_M_PER_RAD = 0.012, 0.2
"""Standing pelvis height repeats to within this between two stands in one posture, and less the
more a segment leans otherwise than at first: a shank and a thigh of 0.4 m that lean by 20 degrees
lower the hips by 5 cm (own choice)."""

SAME_POSTURE_RAD = 0.09
"""Two stands whose segments lean alike to within 5 degrees are in one posture (own choice)."""

START_M, START_RAD = 0.15, 0.3
"""How well a foot's place under the pelvis and a shank's heading are known before the leg
closure finds them (own choice: a staggered stance, a curved run-up)."""


def noise_model(window: Window, placement: Placement) -> NoiseModel:
    """Noise of a sensor, with what its stand left of the gyroscope's bias."""
    model = PELVIS_NOISE if placement is Placement.PELVIS else SHANK_NOISE
    left_radps = window.sensors[placement].gyro_bias_radps
    return replace(model, gyro_bias_radps=float(np.hypot(model.gyro_bias_radps, left_radps)))


def changed_postures_rad(window: Window) -> list[float]:
    """Largest change of any segment's lean between the first stand and each, rad."""
    changes = []
    for sensor in window.sensors.values():
        means = np.array([sensor.accel_mps2[a : b + 1].mean(axis=0) for a, b in window.rests])
        ups = means / np.linalg.norm(means, axis=1, keepdims=True)
        changes.append(np.arccos(np.clip(ups @ ups[0], -1.0, 1.0)))
    return [float(largest) for largest in np.max(changes, axis=0)]


@dataclass(frozen=True, slots=True)
class Stand:
    """A sensor while the athlete stands: samples told about, and how sure they are.

    ``upright_rad`` is the standard deviation of the mean vertical, ``speed_mps`` of the speed,
    ``height_m`` of the height against the first stand's.
    """

    samples: tuple[int, ...]
    upright_rad: float
    speed_mps: float
    height_m: float


def stands_of(window: Window, placement: Placement, postures_rad: list[float]) -> tuple[Stand, ...]:
    """All stands of a window as one sensor sees them; see :func:`changed_postures_rad`."""
    sensor, stands = window.sensors[placement], []
    for rest, (first, last) in enumerate(window.rests):
        part = slice(first, last + 1)
        shaken = float(np.linalg.norm(sensor.accel_mps2[part].std(axis=0))) / window.gravity_mps2
        looks = max((last - first) * window.step_s / SWAY_PERIOD_S, 1.0)
        turning = float(np.linalg.norm(sensor.gyro_radps[part].std(axis=0)))
        height_m = FLOOR_M
        if placement is Placement.PELVIS:
            height_m = math.hypot(POSTURE_M, BENT_M_PER_RAD * postures_rad[rest])
        stands.append(
            Stand(
                tuple(np.linspace(first, last, 4).astype(np.int64).tolist()),
                math.hypot(UPRIGHT_RAD, shaken / math.sqrt(looks)),
                math.hypot(REST_SPEED_MPS, SWAY_ARM_M * turning),
                height_m,
            )
        )
    return tuple(stands)


def rest_facts(
    problem: DriftProblem,
    stands: tuple[Stand, ...],
    number: int,
    path: Strapdown,
    start_m: FloatArray | None = None,
) -> None:
    """Standing: upright at the start, no velocity, the same height in every stand.

    With ``start_m`` the sensor's place and heading at the start are only roughly known.
    """
    start = np.zeros(3) if start_m is None else start_m
    origin_m, heading_rad = (1e-4, 1e-5) if start_m is None else (START_M, START_RAD)
    # Upright, heading and place at the start; then no velocity throughout each stand.
    upright_rad, looks = stands[0].upright_rad, len(stands[0].samples)
    index = np.array([stand.samples for stand in stands]).ravel()
    speeds_mps = np.repeat([stand.speed_mps for stand in stands], 3 * looks)
    problem.pin(
        number,
        np.concatenate((np.zeros(6, dtype=np.int64), np.repeat(index, 3))),
        np.concatenate(((0, 1, 2, 6, 7, 8), np.tile((3, 4, 5), len(index)))),
        np.concatenate((np.zeros(3), start, -path.velocity_mps[index].ravel())),
        np.concatenate(((upright_rad, upright_rad, heading_rad), (origin_m,) * 3, speeds_mps)),
    )
    # The facts of one stand share its height.
    heights_m = np.repeat([1e-3, *(2.0 * stand.height_m for stand in stands[1:])], looks)
    problem.pin(number, index, 8, -path.position_m[index, 2], heights_m, number)


def pivot_facts(
    problem: DriftProblem, number: int, path: Strapdown, lever: FloatArray, index: IntArray
) -> None:
    """Mid-contact: the ankle is at rest, and about as high above the floor as standing."""
    if not len(index):
        return
    count = len(index)
    arm = turned(path.rot[index], lever)
    swing = rotate(path.rot[index], cross(path.gyro_radps[index], lever))
    # Four facts at each instant: the height, then the three parts of the velocity.
    weights, value = np.zeros((4, count, STATES)), np.empty((4, count))
    weights[0, :, 8] = 1.0
    weights[0, :, 0], weights[0, :, 1] = arm[:, 1], -arm[:, 0]
    value[0] = -(path.position_m[index, 2] + arm[:, 2] + np.linalg.norm(lever))
    weights[1:, :, 0:3] = -cross_matrix(swing).swapaxes(0, 1)
    weights[1:, :, 3:6] = np.eye(3)[:, None, :]
    value[1:] = -(path.velocity_mps[index] + swing).T
    sigma = np.repeat((CONTACT_HEIGHT_M, PIVOT_SPEED_MPS), (count, 3 * count))
    scalars = np.zeros((4 * count, problem.scalars))
    scalars[:count, number] = -1.0
    problem.add_between(
        number, np.tile(index, 4), weights.reshape(-1, STATES), value.ravel(), sigma, scalars
    )
