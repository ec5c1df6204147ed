"""A simulated sensor check: standing, walking, standing, stamping, with sensors at fault."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from scipy.signal import bilinear, butter, sosfilt, tf2sos

from imujump.capture.sensor_check import CheckSamples
from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement, SampleBatch
from imujump.simulate.imu import SensorErrors, record
from imujump.simulate.movements import Stand, Walk
from imujump.simulate.session import compose

FINE_HZ = 4000.0
TIGHT_HZ = {Placement.PELVIS: 18.0, Placement.LEFT_SHANK: 35.0, Placement.RIGHT_SHANK: 40.0}


def stamp(
    rest: FloatArray,
    rate_hz: float,
    generator: np.random.Generator,
    ring_hz: float,
    damping: float,
    peak_mps2: float,
) -> FloatArray:
    """Two stamps (n, 6) in 7 s, felt along the vertical by a sensor that rests at ``rest`` (6,)."""
    time_s = np.arange(round(7.0 * FINE_HZ)) / FINE_HZ
    force = np.zeros_like(time_s)
    for at_s in (1.0, 4.0):
        # The foot is lifted, comes down hard, and the body settles.
        since = time_s - at_s
        force += peak_mps2 * np.sin(np.pi * np.clip(since / 0.012, 0.0, 1.0))
        force += 3.0 * np.sin(np.pi * np.clip((since + 0.35) / 0.35, 0.0, 1.0))
        settling = np.exp(-since / 0.08) * np.sin(2.0 * np.pi * 3.0 * since)
        force += np.where(since > 0.0, 4.0 * settling, 0.0)
    w = 2.0 * math.pi * ring_hz
    b, a = bilinear([2.0 * damping * w, w * w], [1.0, 2.0 * damping * w, w * w], fs=FINE_HZ)
    felt = sosfilt(tf2sos(b, a), force)
    felt = sosfilt(butter(2, 0.4 * rate_hz, fs=FINE_HZ, output="sos"), felt)
    samples = np.arange(round(7.0 * rate_hz))
    out = np.tile(rest, (len(samples), 1))
    along = rest[:3] / np.linalg.norm(rest[:3])
    out[:, :3] += np.outer(np.interp(samples / rate_hz, time_s, felt), along)
    out[:, :3] += generator.normal(0.0, 0.015, (len(samples), 3))
    out[:, 3:] += generator.normal(0.0, 0.002, (len(samples), 3))
    return out


def check_session(
    seed: int = 0,
    *,
    rate_hz: float = 200.0,
    ring: Mapping[Placement, tuple[float, float]] | None = None,
    errors: SensorErrors | None = None,
    walk_m: float = 8.0,
) -> dict[Placement, CheckSamples]:
    """Samples of a check; ``ring`` gives straps' frequency (Hz) and damping ratio."""
    generator = np.random.default_rng(seed)
    motion = compose([Stand(4.0), Walk(walk_m), Stand(3.0)], generator)
    sizes = replace(errors or SensorErrors(), clock_skew_ppm=0.0, clock_offset_s=0.0)
    recording = record(motion, generator, rate_hz=rate_hz, errors=sizes)
    parts: dict[Placement, list[SampleBatch]] = {}
    for batch in recording.batches():
        parts.setdefault(batch.placement, []).append(batch)
    samples = {}
    for info in recording.info.sensors:
        own = parts[info.placement]
        accel = np.concatenate([batch.accel_mps2 for batch in own])
        gyro = np.concatenate([batch.gyro_radps for batch in own])
        tail = np.hstack((accel, gyro))[-round(1.0 * rate_hz) :].mean(axis=0)
        ring_hz, damping = (ring or {}).get(info.placement, (TIGHT_HZ[info.placement], 0.4))
        peak = 15.0 if info.placement is Placement.PELVIS else 60.0
        stamped = stamp(tail, rate_hz, generator, ring_hz, damping, peak)
        both = np.vstack((np.hstack((accel, gyro)), stamped))
        time_s = np.arange(len(both)) / rate_hz
        samples[info.placement] = CheckSamples(info, time_s, both[:, :3].copy(), both[:, 3:].copy())
    return samples


def exchanged(
    samples: Mapping[Placement, CheckSamples], one: Placement, other: Placement
) -> dict[Placement, CheckSamples]:
    """The same sensors with two names exchanged."""
    swap = {one: other, other: one}
    return {p: replace(samples[swap.get(p, p)], info=samples[p].info) for p in samples}


def changed(
    samples: Mapping[Placement, CheckSamples],
    place: Placement,
    *,
    accel: FloatArray | float = 1.0,
    bias_radps: float = 0.0,
    dead: int | None = None,
    turned: FloatArray | None = None,
    limit_g: float | None = None,
) -> dict[Placement, CheckSamples]:
    """One sensor at fault: scale, bias, a dead channel, turned axes, or a small range."""
    sensor = samples[place]
    values = np.hstack((sensor.accel_mps2 * accel, sensor.gyro_radps))
    values[:, 5] += bias_radps
    if dead is not None:
        values[:, dead] = 0.0
    if turned is not None:
        values = np.hstack((values[:, :3] @ turned, values[:, 3:] @ turned))
    info = sensor.info
    if limit_g is not None:
        limit = limit_g * STANDARD_GRAVITY_MPS2
        values[:, :3] = np.clip(values[:, :3], -limit, limit)
        info = replace(info, accel_range_mps2=limit)
    fresh = CheckSamples(info, sensor.time_s, values[:, :3].copy(), values[:, 3:].copy())
    return {**samples, place: fresh}
