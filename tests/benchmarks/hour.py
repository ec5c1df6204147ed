"""A long recording made in memory: standing, walking and approach jumps, again and again.

Two minutes are made once and served repeatedly, so that the recording's length costs no
memory and the measured memory is that of the analysis.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import (
    FloatArray,
    Placement,
    RecordingInfo,
    SampleBatch,
    SensorInfo,
    TakeOffStyle,
)
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.body import Body
from imujump.simulate.motion import Motion
from imujump.simulate.script import Script

RATE_HZ = 200.0
BLOCK_SAMPLES = int(120 * RATE_HZ)
BATCH_SAMPLES = 20
ACCEL_RANGE_MPS2 = 16 * STANDARD_GRAVITY_MPS2
GYRO_RANGE_RADPS = 34.9
NOISE_MPS2 = 0.02
NOISE_RADPS = 0.002

STANDING_PITCH_RAD = {
    Placement.LEFT_SHANK: 0.22,
    Placement.RIGHT_SHANK: 0.22,
    Placement.PELVIS: 0.0,
}
"""Pitch of each segment in standing, as in the simulated jumps, so that parts join smoothly."""

Signals = dict[Placement, tuple[FloatArray, FloatArray]]
"""Specific force and angular rate (n, 3) of each sensor, in segment axes."""


def still(seconds: float) -> Signals:
    """Stand upright."""
    zero = np.zeros(round(seconds * RATE_HZ))
    return {
        place: _sagittal(zero, zero, zero + STANDING_PITCH_RAD[place], zero) for place in Placement
    }


def walk(seconds: float, stride_hz: float = 0.9, swing_rad: float = 0.55) -> Signals:
    """Walk from rest to rest: planar swing of both shanks, a bobbing pelvis."""
    n = round(seconds * RATE_HZ)
    time_s = np.arange(n) / RATE_HZ
    envelope = np.clip(np.minimum(time_s, time_s[::-1]) / 1.5, 0.0, 1.0)
    envelope = envelope**2 * (3.0 - 2.0 * envelope)
    phase = 2.0 * np.pi * stride_hz * time_s
    made: Signals = {}
    for place, offset in ((Placement.LEFT_SHANK, 0.0), (Placement.RIGHT_SHANK, np.pi)):
        swing = np.sin(phase + offset) + 0.3 * np.sin(2 * phase + offset)
        pitch = STANDING_PITCH_RAD[place] + envelope * swing_rad * swing
        lever_m = 0.35
        x = 0.3 * envelope * np.sin(phase + offset + 0.6) - lever_m * np.sin(pitch)
        z = lever_m * (1.0 - np.cos(pitch))
        thud = 12.0 * envelope * np.exp(-(((phase + offset) % (2 * np.pi)) ** 2) / 0.02)
        made[place] = _sagittal(x, z, pitch, thud)
    bob = 0.02 * envelope * np.sin(2.0 * phase)
    sway = 0.03 * envelope * np.sin(2.0 * phase + 0.7)
    made[Placement.PELVIS] = _sagittal(sway, bob, 0.04 * envelope * np.sin(2.0 * phase), 0.0 * bob)
    return made


def _sagittal(
    x_m: FloatArray, z_m: FloatArray, pitch_rad: FloatArray, thud_mps2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Turn a planar path and pitch (n,) into what an ideal sensor reads."""
    step = 1.0 / RATE_HZ
    ax = np.gradient(np.gradient(x_m, step), step)
    az = np.gradient(np.gradient(z_m, step), step) + STANDARD_GRAVITY_MPS2 + thud_mps2
    sin, cos = np.sin(pitch_rad), np.cos(pitch_rad)
    accel = np.column_stack([cos * ax - sin * az, np.zeros_like(ax), sin * ax + cos * az])
    rate = np.zeros_like(accel)
    rate[:, 1] = np.gradient(pitch_rad, step)
    return accel, rate


def jump(technique: ApproachJump) -> Signals:
    """Simulate one approach jump, from quiet standing to quiet standing."""
    script = Script(Body())
    technique.write(script)
    motion = Motion(script)
    time_s = np.arange(round(script.time_s * RATE_HZ)) / RATE_HZ
    sensors = {place: motion.sensor(place, time_s) for place in Placement}
    return {
        place: (sensor.specific_force_mps2(), sensor.angular_rate_radps())
        for place, sensor in sensors.items()
    }


def training_block() -> Signals:
    """Make two minutes: a one-foot and a two-foot jump with walking and standing between.

    That is 60 jumps an hour; 36 to 62 were counted in youth volleyball (Bahr 2014,
    doi 10.1136/bjsports-2014-093593).
    """
    one_foot = jump(ApproachJump(stand_after_s=3.0))
    two_foot = jump(ApproachJump(style=TakeOffStyle.TWO_FOOT, stand_after_s=3.0))
    parts = joined(still(2.0), walk(26.0), one_foot, walk(24.0), two_foot, walk(22.0))
    rest_s = BLOCK_SAMPLES / RATE_HZ - len(parts[Placement.PELVIS][0]) / RATE_HZ
    return as_measured(joined(parts, still(rest_s)))


def joined(*parts: Signals) -> Signals:
    """Put parts one after the other."""
    return {
        place: (
            np.concatenate([part[place][0] for part in parts]),
            np.concatenate([part[place][1] for part in parts]),
        )
        for place in Placement
    }


def as_measured(signals: Signals, seed: int = 20260314) -> Signals:
    """Add noise from a fixed seed and clip at the sensors' ranges."""
    random = np.random.default_rng(seed)
    made: Signals = {}
    for place, (accel, rate) in signals.items():
        noisy = accel + random.normal(0.0, NOISE_MPS2, accel.shape)
        turned = rate + random.normal(0.0, NOISE_RADPS, rate.shape)
        made[place] = (
            np.clip(noisy, -ACCEL_RANGE_MPS2, ACCEL_RANGE_MPS2),
            np.clip(turned, -GYRO_RANGE_RADPS, GYRO_RANGE_RADPS),
        )
    return made


@dataclass(frozen=True)
class RepeatedBlock:
    """Serves two minutes of three sensors on one clock, again and again.

    A :class:`imujump.model.SampleSource`.
    """

    block: Signals
    repeats: int

    @property
    def info(self) -> RecordingInfo:
        """The head of the recording."""
        return RecordingInfo(
            tuple(
                SensorInfo(
                    place, str(place), RATE_HZ, 1.0 / RATE_HZ, ACCEL_RANGE_MPS2, GYRO_RANGE_RADPS
                )
                for place in Placement
            )
        )

    def batches(self) -> Iterator[SampleBatch]:
        """Yield batches of 0.1 s, as packets come from a radio, the three sensors in turn."""
        for repeat in range(self.repeats):
            for first in range(0, BLOCK_SAMPLES, BATCH_SAMPLES):
                rows = slice(first, first + BATCH_SAMPLES)
                index = repeat * BLOCK_SAMPLES + first
                ticks = np.arange(index, index + BATCH_SAMPLES, dtype=np.int64)
                arrival_s = (index + BATCH_SAMPLES) / RATE_HZ
                for place, (accel, rate) in self.block.items():
                    yield SampleBatch(place, index, ticks, arrival_s, accel[rows], rate[rows])

    def channels(self) -> FloatArray:
        """Give all channels as one array (n, 18)."""
        block = np.hstack([np.hstack(self.block[place]) for place in Placement])
        return np.tile(block, (self.repeats, 1))
