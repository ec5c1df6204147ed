"""Wear and record: ideal signals to the packets that three badly treated sensors deliver.

Sensors are named by their part in the jump: the shank that plants (two-foot: first), the
other shank, the pelvis.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement, RecordingInfo, SampleBatch, SensorInfo, Side
from tests.pipeline.recordings import Packets
from tests.truth.motion import IdealSignals
from tests.truth.sensor_errors import GYRO_RANGE_DPS, SensorSet, draw_sensor_set, measured

from .subjects import Subject

TICK_S = 1e-6
PACKET_SAMPLES = 10
MILLI_G_MPS2 = 1e-3 * STANDARD_GRAVITY_MPS2

LATENCY_S, JITTER_S = 0.02, 0.008
"""Delay of a radio packet and the mean of its random part (own choice, as in
:class:`imujump.simulate.imu.SensorErrors`)."""


class Role(StrEnum):
    """A sensor's part in the jump."""

    PLANT = "plant shank"
    OTHER = "other shank"
    PELVIS = "pelvis"

    def placement(self, plant_side: Side) -> Placement:
        """Where the sensor is worn when ``plant_side`` plants."""
        if self is Role.PELVIS:
            return Placement.PELVIS
        return (plant_side if self is Role.PLANT else plant_side.other).shank


class Phase(StrEnum):
    """Where in a jump a gap is placed; it is centred there."""

    STEP = "step"
    PLANT = "plant"
    FLIGHT = "flight"

    def middle_s(self, subject: Subject) -> float:
        """Instant at which the phase is half over; the step is the penultimate."""
        begin, end = {
            Phase.STEP: subject.penultimate_s,
            Phase.PLANT: (subject.plant_s, subject.toe_off_s),
            Phase.FLIGHT: (subject.toe_off_s, subject.landing_s),
        }[self]
        return 0.5 * (begin + end)


@dataclass(frozen=True, slots=True)
class Loss:
    """Samples of some sensors that never arrive, centred in a phase of the jump."""

    roles: tuple[Role, ...]
    phase: Phase
    length_s: float


@dataclass(frozen=True, slots=True)
class Wearing:
    """How the sensors are worn and what they are like. The defaults are the usual conditions.

    Attributes
    ----------
    rate_hz, accel_range_g : int, float
        Of all sensors.
    turned : mapping of Role to Rotation
        Mounting in place of the drawn one; takes sensor axes to nominal axes.
    ring_hz : mapping of Role to float
        Resonance of the strap in place of the drawn one.
    ring_damping_ratio : float or None
        Its damping in place of the drawn one.
    up_m : mapping of Role to float
        How far the sensor sits further up its segment than meant.
    gyro_drift_dps_per_min, accel_drift_mg_per_min : float
        Bias that grows steadily along all axes.
    losses : tuple of Loss
        Gaps.
    without : Role or None
        A sensor not worn.
    swapped : bool
        Left and right shank sensor exchanged.
    own_clocks : bool
        Sensors count from unrelated starts, run up to 50 ppm apart, start up to 20 ms apart and
        send over a jittery radio. Otherwise they share a clock and arrivals are exact.
    late_s : mapping of Role to float
        Link that delays a sensor's packets and clock without anyone knowing.
    """

    rate_hz: int = 200
    accel_range_g: float = 32.0
    turned: Mapping[Role, Rotation] = field(default_factory=dict)
    ring_hz: Mapping[Role, float] = field(default_factory=dict)
    ring_damping_ratio: float | None = None
    up_m: Mapping[Role, float] = field(default_factory=dict)
    gyro_drift_dps_per_min: float = 0.0
    accel_drift_mg_per_min: float = 0.0
    losses: tuple[Loss, ...] = ()
    without: Role | None = None
    swapped: bool = False
    own_clocks: bool = False
    late_s: Mapping[Role, float] = field(default_factory=dict)


def moved_up(ideal: IdealSignals, up_m: float, grid_hz: float) -> IdealSignals:
    """Signals of a sensor ``up_m`` further up the same rigid segment.

    f' = f + w' x d + w x (w x d), with the point's shift d and the segment's rate w.
    """
    shift = np.array([0.0, 0.0, up_m])
    rate = ideal.gyro_radps
    turning = np.gradient(rate, 1.0 / grid_hz, axis=0)
    felt = ideal.accel_mps2 + np.cross(turning, shift) + np.cross(rate, np.cross(rate, shift))
    return IdealSignals(felt, rate)


def sensors_of(subject: Subject, wearing: Wearing, seed: int) -> SensorSet:
    """Sensor errors drawn from ``seed``, with what the wearing prescribes in their place."""
    drawn = draw_sensor_set(seed, soft_tissue=True)
    sensors = dict(drawn.sensors)
    for role in Role:
        placement = role.placement(subject.side)
        one = sensors[placement]
        if role in wearing.turned:
            one = replace(one, mounting=wearing.turned[role])
        if role in wearing.ring_hz:
            damping = wearing.ring_damping_ratio or one.tissue_damping_ratio
            one = replace(one, tissue_hz=wearing.ring_hz[role], tissue_damping_ratio=damping)
        sensors[placement] = one
    return SensorSet(seed, wearing.rate_hz, wearing.accel_range_g, sensors)


def record(subject: Subject, wearing: Wearing, seed: int) -> Packets:
    """Record a jump.

    Recording time 0 is the movement's time 0: the first sensor begins there.
    """
    generator = np.random.default_rng([seed, 7])
    sensor_set = sensors_of(subject, wearing, seed)
    starts = generator.uniform(0.0, 0.02, len(Placement)) if wearing.own_clocks else np.zeros(3)
    first_row = np.rint((starts - starts.min()) * subject.grid_hz).astype(int)
    sensors, packets = [], []
    for role, first in zip(Role, first_row.tolist(), strict=True):
        placement = role.placement(subject.side)
        if wearing.without is role:
            continue
        ideal = subject.signals[placement]
        if role in wearing.up_m:
            ideal = moved_up(ideal, wearing.up_m[role], subject.grid_hz)
        ideal = IdealSignals(ideal.accel_mps2[first:], ideal.gyro_radps[first:])
        one = sensor_set.sensors[placement]
        samples = measured(ideal, subject.grid_hz, one, sensor_set, generator)
        time_s = first / subject.grid_hz + np.arange(len(samples)) / wearing.rate_hz
        samples[:, :3] += wearing.accel_drift_mg_per_min * MILLI_G_MPS2 * time_s[:, None] / 60.0
        samples[:, 3:] += math.radians(wearing.gyro_drift_dps_per_min) * time_s[:, None] / 60.0
        kept = np.ones(len(time_s), dtype=bool)
        for loss in wearing.losses:
            if role in loss.roles:
                kept &= np.abs(time_s - loss.phase.middle_s(subject)) > 0.5 * loss.length_s
        named = placement
        if wearing.swapped and placement.side is not None:
            named = placement.side.other.shank
        late_s = wearing.late_s.get(role, 0.0)
        packets += _packets(
            named, time_s[kept], samples[kept], late_s, wearing.own_clocks, generator
        )
        sensors.append(
            SensorInfo(
                named,
                f"campaign {named}",
                float(wearing.rate_hz),
                TICK_S,
                wearing.accel_range_g * STANDARD_GRAVITY_MPS2,
                math.radians(GYRO_RANGE_DPS),
            )
        )
    packets.sort(key=lambda b: b.arrival_s)
    return Packets(RecordingInfo(tuple(sensors)), tuple(packets))


def _packets(
    placement: Placement,
    time_s: FloatArray,
    samples: FloatArray,
    late_s: float,
    own_clock: bool,
    generator: np.random.Generator,
) -> list[SampleBatch]:
    told_s = time_s + late_s
    begin = 0
    if own_clock:
        told_s = told_s * (1.0 + 1e-6 * generator.uniform(-25.0, 25.0))
        begin = int(generator.integers(0, 2**30))
    ticks = np.rint(told_s / TICK_S).astype(np.int64) + begin
    packets: list[SampleBatch] = []
    latest_s = 0.0
    for first in range(0, len(ticks), PACKET_SAMPLES):
        rows = slice(first, first + PACKET_SAMPLES)
        arrival_s = float(time_s[rows][-1]) + late_s
        if own_clock:
            arrival_s += LATENCY_S + float(generator.exponential(JITTER_S))
        latest_s = max(latest_s, arrival_s)
        packets.append(
            SampleBatch(
                placement,
                first,
                ticks[rows].copy(),
                latest_s,
                np.ascontiguousarray(samples[rows, :3]),
                np.ascontiguousarray(samples[rows, 3:]),
            )
        )
    return packets
