"""The sensor model's effects, one by one, against what each is defined to do."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement, Side
from imujump.simulate.imu import Gap, SensorErrors, SimulatedRecording, record
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose

from .jumps import one_foot

IDEAL = SensorErrors.none()


def stream(recording: SimulatedRecording, placement: Placement) -> tuple[np.ndarray, ...]:
    batches = [b for b in recording.batches() if b.placement is placement]
    ticks = np.concatenate([b.ticks for b in batches])
    return (
        ticks,
        np.concatenate([b.accel_mps2 for b in batches]),
        np.concatenate([b.gyro_radps for b in batches]),
    )


def test_ideal_sensors_report_the_motion() -> None:
    motion = one_foot()
    recording = record(motion, np.random.default_rng(0), errors=IDEAL, rate_hz=200.0)
    for placement in Placement:
        ticks, accel, gyro = stream(recording, placement)
        place = motion.sensor(placement, np.arange(len(ticks)) / 200.0)
        np.testing.assert_allclose(accel, place.specific_force_mps2(), atol=1e-9)
        np.testing.assert_allclose(gyro, place.angular_rate_radps(), atol=1e-9)
        assert set(np.diff(ticks)) == {5000}


def test_same_seed_same_recording_and_another_seed_another() -> None:
    motion = one_foot()
    a, b, c = (record(motion, np.random.default_rng(seed), rate_hz=100.0) for seed in (3, 3, 4))
    for one, two in zip(a.packets, b.packets, strict=True):
        assert one.placement is two.placement
        assert one.arrival_s == two.arrival_s
        np.testing.assert_array_equal(one.ticks, two.ticks)
        np.testing.assert_array_equal(one.accel_mps2, two.accel_mps2)
        np.testing.assert_array_equal(one.gyro_radps, two.gyro_radps)
    assert any(
        not np.array_equal(one.accel_mps2, two.accel_mps2)
        for one, two in zip(a.packets, c.packets, strict=False)
    )


def test_noise_has_the_stated_density() -> None:
    """White noise of density d sampled at f has standard deviation d sqrt(f / 2)."""
    motion = compose([Stand(120.0, sway_m=0.0)], np.random.default_rng(0))
    default = SensorErrors()
    errors = replace(
        IDEAL,
        accel_noise_mps2_per_rthz=default.accel_noise_mps2_per_rthz,
        gyro_noise_radps_per_rthz=default.gyro_noise_radps_per_rthz,
    )
    recording = record(motion, np.random.default_rng(1), errors=errors, rate_hz=200.0)
    _, accel, gyro = stream(recording, Placement.PELVIS)
    # 24 000 samples estimate a deviation within 0.5 % (one sigma, 1 / sqrt(2 n)).
    expected = default.accel_noise_mps2_per_rthz * math.sqrt(100.0)
    assert accel.std(axis=0) == pytest.approx(expected, rel=0.03)
    expected = default.gyro_noise_radps_per_rthz * math.sqrt(100.0)
    assert gyro.std(axis=0) == pytest.approx(expected, rel=0.03)


def test_clipping_and_integer_steps() -> None:
    """16 bits over plus and minus 4 g: steps of 8 g / 65536, none beyond the range."""
    limit = 4.0 * STANDARD_GRAVITY_MPS2
    errors = replace(IDEAL, accel_range_mps2=limit, bits=16)
    recording = record(one_foot(), np.random.default_rng(0), errors=errors)
    _, accel, _ = stream(recording, Placement.LEFT_SHANK)
    assert np.abs(accel).max() == pytest.approx(limit, rel=1e-3)
    assert (np.abs(accel) > 0.999 * limit).sum() > 3
    steps = accel / (2.0 * limit / 65536.0)
    np.testing.assert_allclose(steps, np.rint(steps), atol=1e-6)
    info = {s.placement: s for s in recording.info.sensors}
    assert info[Placement.LEFT_SHANK].accel_range_mps2 == pytest.approx(limit)


def test_mounting_bias_and_scale_can_be_undone() -> None:
    """With the drawn values known, the segment's signals come back to rounding."""
    default = SensorErrors()
    errors = replace(
        IDEAL,
        shank_twist_rad=default.shank_twist_rad,
        shank_tilt_rad=default.shank_tilt_rad,
        accel_bias_mps2=default.accel_bias_mps2,
        gyro_bias_radps=default.gyro_bias_radps,
        scale_ratio=default.scale_ratio,
    )
    motion = one_foot()
    recording = record(motion, np.random.default_rng(7), errors=errors)
    flaw = recording.imperfections[Placement.RIGHT_SHANK]
    _, accel, gyro = stream(recording, Placement.RIGHT_SHANK)
    place = motion.sensor(Placement.RIGHT_SHANK, np.arange(len(accel)) / 200.0)
    back = flaw.mounting.apply((accel - flaw.accel_bias_mps2) / flaw.accel_scale)
    np.testing.assert_allclose(back, place.specific_force_mps2(), atol=1e-9)
    back = flaw.mounting.apply((gyro - flaw.gyro_bias_radps) / flaw.gyro_scale)
    np.testing.assert_allclose(back, place.angular_rate_radps(), atol=1e-9)
    assert flaw.mounting.magnitude() > 0.02
    bound = math.sqrt(default.shank_twist_rad**2 + 2.0 * default.shank_tilt_rad**2)
    assert flaw.mounting.magnitude() <= bound


def test_low_pass_delays_as_a_two_pole_butterworth_does() -> None:
    """Group delay at low frequency sqrt(2) / (2 pi fc): 2.81 ms at fc = 80 Hz.

    The same figure stands in the open virtual recordings' truth files (2.81 ms at 200 Hz).
    """
    motion = one_foot()
    errors = replace(IDEAL, lowpass_share=0.4)
    recording = record(motion, np.random.default_rng(0), errors=errors)
    _, _, gyro = stream(recording, Placement.PELVIS)
    t = np.arange(len(gyro)) / 200.0
    delays = np.arange(0.0, 0.006, 1e-5)
    rates = [
        motion.sensor(Placement.PELVIS, np.clip(t - d, 0.0, None)).angular_rate_radps()
        for d in delays[::20]
    ]
    misfit = [float(((r - gyro) ** 2).sum()) for r in rates]
    best = np.polynomial.Polynomial.fit(delays[::20], misfit, 2)
    assert best.deriv().roots()[0] == pytest.approx(
        math.sqrt(2.0) / (2.0 * math.pi * 80.0), abs=2e-4
    )


def test_ringing_follows_slow_motion_and_overshoots_fast() -> None:
    motion = one_foot()
    errors = replace(IDEAL, shank_ring_hz=(35.0, 35.0), ring_damping=(0.3, 0.3))
    recording = record(motion, np.random.default_rng(0), errors=errors, rate_hz=400.0)
    _, accel, gyro = stream(recording, Placement.LEFT_SHANK)
    place = motion.sensor(Placement.LEFT_SHANK, np.arange(len(accel)) / 400.0)
    true = place.specific_force_mps2()
    np.testing.assert_allclose(accel[:150], true[:150], atol=0.01)
    np.testing.assert_allclose(gyro, place.angular_rate_radps(), atol=1e-9)
    assert np.abs(accel - true).max() > 10.0
    assert accel.sum(axis=0) == pytest.approx(true.sum(axis=0), abs=1.0 * 400.0 * 0.05)


def test_gaps_drop_packets_and_leave_a_jump_of_ticks() -> None:
    gaps = [Gap(Placement.PELVIS, 2.0, 2.06), Gap(Placement.LEFT_SHANK, 3.0)]
    recording = record(one_foot(), np.random.default_rng(0), errors=IDEAL, gaps=gaps)
    ticks, *_ = stream(recording, Placement.PELVIS)
    time_s = (ticks - ticks[0]) * 1e-6
    assert not ((time_s >= 2.0) & (time_s < 2.06)).any()
    assert np.diff(time_s).max() == pytest.approx(0.105)  # two packets of ten and one step
    ticks, *_ = stream(recording, Placement.LEFT_SHANK)
    assert (ticks[-1] - ticks[0]) * 1e-6 < 3.0
    for placement in Placement:
        batches = [b for b in recording.batches() if b.placement is placement]
        counts = np.cumsum([0] + [len(b.ticks) for b in batches])
        assert [b.first_index for b in batches] == counts[:-1].tolist()


def test_clocks_drift_apart_by_their_skew() -> None:
    motion = compose([Stand(60.0)], np.random.default_rng(0))
    errors = replace(IDEAL, clock_skew_ppm=200.0, clock_offset_s=0.05)
    recording = record(motion, np.random.default_rng(2), errors=errors, rate_hz=100.0)
    counts = {}
    for placement in Placement:
        flaw = recording.imperfections[placement]
        ticks, *_ = stream(recording, placement)
        counts[placement] = len(ticks)
        true_hz = 100.0 * (1.0 + 1e-6 * flaw.clock_skew_ppm)
        expected = int((motion.duration_s - flaw.clock_offset_s) * true_hz) + 1
        assert counts[placement] == expected
        # By its own clock a device samples exactly at its nominal rate.
        assert set(np.diff(ticks)) == {10_000}
    offsets = [f.clock_offset_s for f in recording.imperfections.values()]
    assert min(offsets) == 0.0
    assert max(offsets) > 0.0


def test_packets_arrive_in_order_and_after_their_last_sample() -> None:
    recording = record(one_foot(), np.random.default_rng(0))
    arrivals = [b.arrival_s for b in recording.batches()]
    assert arrivals == sorted(arrivals)
    for placement in Placement:
        flaw = recording.imperfections[placement]
        number = 0
        for batch in (b for b in recording.batches() if b.placement is placement):
            number += len(batch.ticks)
            last = flaw.clock_offset_s + (number - 1) / (200.0 * (1 + 1e-6 * flaw.clock_skew_ppm))
            assert batch.arrival_s >= last + SensorErrors().latency_s - 1e-6


def test_swapped_legs_swap_the_streams() -> None:
    motion = one_foot()
    plain, swapped = (
        record(motion, np.random.default_rng(0), errors=IDEAL, legs_swapped=swap)
        for swap in (False, True)
    )
    for side in Side:
        np.testing.assert_array_equal(
            stream(plain, side.shank)[1], stream(swapped, side.other.shank)[1]
        )


def test_bad_rate_is_refused() -> None:
    with pytest.raises(ValueError, match="rate_hz"):
        record(one_foot(), np.random.default_rng(0), rate_hz=0.0)
