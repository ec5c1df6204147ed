"""Motion to samples: what three imperfect sensors on straps report.

Order of effects: specific force and angular rate at the sensor's place; ringing of strap and
soft tissue (acceleration); the sensor's low-pass; sampling by its own clock; mounting; scale
and bias with slow drift; white noise; clipping; 16-bit steps; packets, with gaps.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

import numpy as np
from scipy.signal import bilinear, butter, sosfilt, sosfilt_zi, tf2sos
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import (
    FloatArray,
    IntArray,
    Mark,
    Placement,
    RecordingInfo,
    SampleBatch,
    SensorInfo,
)
from imujump.simulate.motion import Motion

CHUNK = 20_000
"""Instants evaluated at once, to keep memory flat (own choice)."""

INTERNAL_HZ = 800.0
"""Least rate at which the motion is evaluated before the sensor's low-pass (own choice: an
impact burst of 20 ms holds nothing above a fifth of it)."""

MILLI_G_MPS2 = 1e-3 * STANDARD_GRAVITY_MPS2


@dataclass(frozen=True, slots=True)
class SensorErrors:
    """Sizes of a sensor's imperfections; drawn values are uniform within plus and minus these.

    Defaults, unless noted, are those stated in the sensor model of the open virtual
    recordings (README of ``../shared/data/virtual_recordings``), typical of consumer
    MEMS sensors.

    Attributes
    ----------
    accel_noise_mps2_per_rthz, gyro_noise_radps_per_rthz : float
        Noise densities.
    accel_bias_mps2, gyro_bias_radps, scale_ratio : float
        Offset and scale error of each axis.
    gyro_drift_radps_per_rts : float
        Random walk of the gyro's bias (own choice: 0.2 deg/s in 20 minutes).
    shank_twist_rad, shank_tilt_rad, pelvis_tilt_rad, pelvis_yaw_rad : float
        Mounting: about the shank's long axis and the others; of the pelvis sensor forward
        and sideways, and about the vertical.
    shank_ring_hz, pelvis_ring_hz, ring_damping : pair of float or None
        Range of the resonance of strap and soft tissue and of its damping ratio.
    lowpass_share : float or None
        Corner of the causal two-pole low-pass as a share of the rate.
    accel_range_mps2, gyro_range_radps : float
        Clipping.
    bits : int or None
        Width of the stored integers.
    clock_skew_ppm, clock_offset_s : float
        Rate error of each sensor's clock, crystal oscillators are within 20 to 50 ppm
        (common practice, no source); and spread of the sensors' start (own choice).
    latency_s, jitter_s : float
        Delay of a packet's arrival, and mean of its random part (own choice).
    """

    accel_noise_mps2_per_rthz: float = 0.12 * MILLI_G_MPS2
    gyro_noise_radps_per_rthz: float = math.radians(0.007)
    accel_bias_mps2: float = 5.0 * MILLI_G_MPS2
    gyro_bias_radps: float = math.radians(0.7)
    gyro_drift_radps_per_rts: float = math.radians(0.2) / math.sqrt(1200.0)
    scale_ratio: float = 0.005
    shank_twist_rad: float = math.radians(20.0)
    shank_tilt_rad: float = math.radians(8.0)
    pelvis_tilt_rad: float = math.radians(15.0)
    pelvis_yaw_rad: float = math.radians(5.0)
    shank_ring_hz: tuple[float, float] | None = (28.0, 50.0)
    pelvis_ring_hz: tuple[float, float] | None = (14.0, 25.0)
    ring_damping: tuple[float, float] = (0.35, 0.50)
    lowpass_share: float | None = 0.4
    accel_range_mps2: float = 32.0 * STANDARD_GRAVITY_MPS2
    gyro_range_radps: float = math.radians(2000.0)
    bits: int | None = 16
    clock_skew_ppm: float = 20.0
    clock_offset_s: float = 0.02
    latency_s: float = 0.02
    jitter_s: float = 0.008

    @classmethod
    def none(cls) -> SensorErrors:
        """Ideal sensors on one clock, mounted along their segments."""
        zero = {
            name: 0.0
            for name in cls.__slots__
            if name not in ("bits", "lowpass_share", "ring_damping")
            and not name.endswith(("_hz", "_range_mps2", "_range_radps"))
        }
        return cls(
            **zero,  # type: ignore[arg-type]
            shank_ring_hz=None,
            pelvis_ring_hz=None,
            lowpass_share=None,
            bits=None,
            accel_range_mps2=math.inf,
            gyro_range_radps=math.inf,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Imperfection:
    """One sensor's drawn imperfections. ``mounting`` turns sensor into segment axes."""

    mounting: Rotation
    accel_bias_mps2: FloatArray
    gyro_bias_radps: FloatArray
    accel_scale: FloatArray
    gyro_scale: FloatArray
    ring_hz: float | None
    ring_damping: float
    clock_skew_ppm: float
    clock_offset_s: float


@dataclass(frozen=True, slots=True)
class Gap:
    """A span of one sensor's stream that never arrived; open-ended when the sensor is lost."""

    placement: Placement
    start_s: float
    end_s: float = math.inf


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedRecording:
    """A recording in memory: a :class:`imujump.model.SampleSource` with its imperfections."""

    info: RecordingInfo
    packets: tuple[SampleBatch, ...]
    imperfections: Mapping[Placement, Imperfection] = field(default_factory=dict)

    def batches(self) -> Iterator[SampleBatch]:
        """Yield the packets in order of arrival."""
        yield from self.packets


def draw(
    errors: SensorErrors, placement: Placement, generator: np.random.Generator
) -> Imperfection:
    """Draw one sensor's imperfections."""
    if placement is Placement.PELVIS:
        limits = (errors.pelvis_tilt_rad, errors.pelvis_tilt_rad, errors.pelvis_yaw_rad)
        ring = errors.pelvis_ring_hz
    else:
        limits = (errors.shank_tilt_rad, errors.shank_tilt_rad, errors.shank_twist_rad)
        ring = errors.shank_ring_hz
    turn = generator.uniform(-1.0, 1.0, 3) * limits
    unit = generator.uniform(-1.0, 1.0, (4, 3))
    share, damping = generator.uniform(0.0, 1.0, 2)
    skew, offset = generator.uniform(-1.0, 1.0), generator.uniform(0.0, 1.0)
    low, high = errors.ring_damping
    return Imperfection(
        Rotation.from_rotvec(turn),
        unit[0] * errors.accel_bias_mps2,
        unit[1] * errors.gyro_bias_radps,
        1.0 + unit[2] * errors.scale_ratio,
        1.0 + unit[3] * errors.scale_ratio,
        None if ring is None else ring[0] + share * (ring[1] - ring[0]),
        low + damping * (high - low),
        skew * errors.clock_skew_ppm,
        offset * errors.clock_offset_s,
    )


def record(
    motion: Motion,
    generator: np.random.Generator,
    *,
    rate_hz: float = 200.0,
    errors: SensorErrors | None = None,
    placements: Sequence[Placement] = tuple(Placement),
    gaps: Sequence[Gap] = (),
    legs_swapped: bool = False,
    packet_samples: int = 10,
    started_utc: datetime | None = None,
    marks: Sequence[Mark] = (),
    tick_s: float = 1e-6,
    imperfections: Mapping[Placement, Imperfection] | None = None,
) -> SimulatedRecording:
    """Wear sensors through a motion and record them.

    Motion time 0 is the first sample of the earliest sensor, so truth times are recording
    times.

    Parameters
    ----------
    motion : Motion
        What the athlete does.
    generator : numpy.random.Generator
        Source of all chance.
    rate_hz : float
        Nominal sample rate of every sensor.
    errors : SensorErrors, optional
        Sizes of imperfections.
    placements : sequence of Placement
        Sensors worn.
    gaps : sequence of Gap
        Packets with a sample in such a span are lost.
    legs_swapped : bool
        The sensor called left is worn on the right shank, and the other way round.
    packet_samples : int
        Samples in each packet.
    started_utc : datetime, optional
        Start written in the head.
    marks : sequence of Mark
        Notes written in the head.
    tick_s : float
        Length of the device clocks' tick.
    imperfections : mapping, optional
        Each sensor's imperfections, used as they are; by default they are drawn and the
        earliest sensor starts at motion time 0.

    Returns
    -------
    SimulatedRecording
        Packets in order of arrival.

    Raises
    ------
    ValueError
        If the rate or the packet size is not positive.
    """
    if rate_hz <= 0.0 or packet_samples < 1:
        raise ValueError(
            f"rate_hz is {rate_hz} and packet_samples {packet_samples}, both must be positive"
        )
    sizes = SensorErrors() if errors is None else errors
    if imperfections is None:
        drawn = {p: draw(sizes, p, generator) for p in placements}
        first = min(d.clock_offset_s for d in drawn.values())
        drawn = {p: replace(d, clock_offset_s=d.clock_offset_s - first) for p, d in drawn.items()}
    else:
        drawn = dict(imperfections)
    packets: list[SampleBatch] = []
    sensors: list[SensorInfo] = []
    for placement in placements:
        worn = placement
        if legs_swapped and placement is not Placement.PELVIS:
            swap = {Placement.LEFT_SHANK, Placement.RIGHT_SHANK} - {placement}
            worn = swap.pop()
        time_s, accel, gyro = _signals(motion, worn, drawn[placement], sizes, rate_hz, generator)
        ticks = np.rint(np.arange(len(time_s)) / (rate_hz * tick_s)).astype(np.int64)
        # Each device counts from its own, unrelated start.
        ticks += int(generator.integers(0, 2**30))
        lost = [(g.start_s, g.end_s) for g in gaps if g.placement is placement]
        delay = sizes.latency_s + generator.exponential(
            max(sizes.jitter_s, 1e-12), len(time_s) // packet_samples + 1
        )
        packets += _packets(placement, time_s, ticks, accel, gyro, packet_samples, lost, delay)
        sensors.append(
            SensorInfo(
                placement,
                f"simulated {placement.value.replace('_', ' ')}",
                rate_hz,
                tick_s,
                sizes.accel_range_mps2 if math.isfinite(sizes.accel_range_mps2) else None,
                sizes.gyro_range_radps if math.isfinite(sizes.gyro_range_radps) else None,
            )
        )
    packets.sort(key=lambda b: b.arrival_s)
    return SimulatedRecording(
        RecordingInfo(tuple(sensors), started_utc, tuple(marks)), tuple(packets), drawn
    )


def _signals(
    motion: Motion,
    placement: Placement,
    flaw: Imperfection,
    sizes: SensorErrors,
    rate_hz: float,
    generator: np.random.Generator,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return true sample times, and specific force and rate in sensor axes as stored."""
    true_hz = rate_hz * (1.0 + 1e-6 * flaw.clock_skew_ppm)
    count = int((motion.duration_s - flaw.clock_offset_s) * true_hz) + 1
    filtered = sizes.lowpass_share is not None or flaw.ring_hz is not None
    factor = max(1, math.ceil(INTERNAL_HZ / rate_hz)) if filtered else 1
    fine_hz = true_hz * factor
    stages: list[tuple[slice, FloatArray]] = []
    if flaw.ring_hz is not None:
        stages.append((slice(0, 3), _ringing(flaw.ring_hz, flaw.ring_damping, fine_hz)))
    if sizes.lowpass_share is not None:
        corner = sizes.lowpass_share * true_hz
        stages.append((slice(0, 6), butter(2, corner, fs=fine_hz, output="sos")))
    states: list[FloatArray] = []
    out = np.empty((count, 6))
    for begin in range(0, count, max(1, CHUNK // factor)):
        end = min(count, begin + max(1, CHUNK // factor))
        t = flaw.clock_offset_s + np.arange(begin * factor, end * factor) / fine_hz
        place = motion.sensor(placement, t)
        signal = np.hstack(
            [place.specific_force_mps2(motion.gravity_mps2), place.angular_rate_radps()]
        )
        for k, (columns, sos) in enumerate(stages):
            if len(states) == k:
                states.append(sosfilt_zi(sos)[:, :, None] * signal[0, columns])
            signal[:, columns], states[k] = sosfilt(sos, signal[:, columns], axis=0, zi=states[k])
        out[begin:end] = signal[::factor]
    time_s = flaw.clock_offset_s + np.arange(count) / true_hz
    accel = flaw.mounting.inv().apply(out[:, :3])
    gyro = flaw.mounting.inv().apply(out[:, 3:])
    width = math.sqrt(0.5 * rate_hz)
    accel = accel * flaw.accel_scale + flaw.accel_bias_mps2
    accel += generator.normal(0.0, 1.0, accel.shape) * sizes.accel_noise_mps2_per_rthz * width
    gyro = gyro * flaw.gyro_scale + flaw.gyro_bias_radps
    gyro += _drift(time_s, sizes.gyro_drift_radps_per_rts, generator)
    gyro += generator.normal(0.0, 1.0, gyro.shape) * sizes.gyro_noise_radps_per_rthz * width
    return (
        time_s,
        _stored(accel, sizes.accel_range_mps2, sizes.bits),
        _stored(gyro, sizes.gyro_range_radps, sizes.bits),
    )


def _ringing(frequency_hz: float, damping: float, fine_hz: float) -> FloatArray:
    """How a mass on a damped spring follows the segment under it, as filter sections."""
    w = 2.0 * math.pi * frequency_hz
    b, a = bilinear([2.0 * damping * w, w * w], [1.0, 2.0 * damping * w, w * w], fs=fine_hz)
    return np.asarray(tf2sos(b, a))


def _drift(time_s: FloatArray, walk: float, generator: np.random.Generator) -> FloatArray:
    """Random walk of the bias, one step a second, straight between (n, 3)."""
    seconds = np.arange(math.ceil(float(time_s[-1])) + 2, dtype=np.float64)
    steps = generator.normal(0.0, 1.0, (len(seconds), 3)) * walk
    steps[0] = 0.0
    path = np.cumsum(steps, axis=0)
    return np.stack([np.interp(time_s, seconds, path[:, i]) for i in range(3)], axis=1)


def _stored(values: FloatArray, limit: float, bits: int | None) -> FloatArray:
    """Clip to the range and round to the stored integer's step."""
    if bits is None or math.isinf(limit):
        return np.clip(values, -limit, limit)
    half = 2 ** (bits - 1)
    step = limit / half
    return np.ascontiguousarray(np.clip(np.rint(values / step), -half, half - 1) * step)


def _packets(
    placement: Placement,
    time_s: FloatArray,
    ticks: IntArray,
    accel: FloatArray,
    gyro: FloatArray,
    size: int,
    lost: list[tuple[float, float]],
    delay_s: FloatArray,
) -> list[SampleBatch]:
    packets: list[SampleBatch] = []
    received, latest = 0, 0.0
    for number, begin in enumerate(range(0, len(time_s), size)):
        rows = slice(begin, min(begin + size, len(time_s)))
        if any(time_s[rows][0] < end and time_s[rows][-1] >= start for start, end in lost):
            continue
        # Packets of one sensor arrive in the order they were sent.
        latest = max(latest, round(float(time_s[rows][-1] + delay_s[number]), 6))
        packets.append(
            SampleBatch(
                placement,
                received,
                ticks[rows].copy(),
                latest,
                np.ascontiguousarray(accel[rows]),
                np.ascontiguousarray(gyro[rows]),
            )
        )
        received += len(ticks[rows])
    return packets
