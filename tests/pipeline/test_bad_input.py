"""Input that no attempt, or not all of one, can be measured from: a sentence, never a crash."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Analysis, Placement, SampleBatch
from imujump.pipeline.engine import Engine, analyse
from imujump.simulate.athlete import ApproachJump

from .comparing import apart, assert_complete, only_attempt, worst
from .recordings import (
    ONE_FOOT,
    TWO_FOOT,
    Arrays,
    Packets,
    changed,
    motion_of,
    only,
    recorded,
    streams,
)

LEFT, RIGHT, PELVIS = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS


def told(analysis: Analysis, *words: str) -> str:
    """Return the one warning that holds all the words."""
    for warning in analysis.warnings:
        assert warning.endswith("."), warning
        assert "\n" not in warning
    found = [w for w in analysis.warnings if all(word in w for word in words)]
    assert len(found) == 1, analysis.warnings
    return found[0]


def within(recording: Packets, first_s: float, last_s: float) -> Packets:
    """Only the packets that arrived within a span."""
    kept = tuple(b for b in recording.batches() if first_s <= b.arrival_s <= last_s)
    return Packets(recording.info, kept)


def whole() -> Packets:
    found = recorded(ONE_FOOT)
    return Packets(found.info, found.packets)


def zeros(placement: Placement, arrays: Arrays) -> Arrays:
    return arrays[0], 0.0 * arrays[1], 0.0 * arrays[2]


def one_value(placement: Placement, arrays: Arrays) -> Arrays:
    ticks, accel, gyro = arrays
    return ticks, np.tile(accel[700], (len(ticks), 1)), np.tile(gyro[700], (len(ticks), 1))


def without_gyro(placement: Placement, arrays: Arrays) -> Arrays:
    return arrays[0], arrays[1], np.full_like(arrays[2], np.nan)


def test_only_zeros() -> None:
    analysis = analyse(changed(whole(), zeros))
    assert analysis.attempts == ()
    for name in ("left shank", "right shank", "pelvis"):
        assert "restart" in told(analysis, name, "only zeros")
    assert len(analysis.warnings) == 3


def test_every_sensor_stuck_at_one_value() -> None:
    analysis = analyse(changed(whole(), one_value))
    assert analysis.attempts == ()
    assert len(analysis.warnings) == 3
    told(analysis, "pelvis", "one value only", "restart")


@cache
def without(placement: Placement) -> Analysis:
    return analyse(only(whole(), [p for p in Placement if p is not placement]))


@pytest.mark.parametrize("spoil", [zeros, one_value, without_gyro])
@pytest.mark.parametrize("dead", [LEFT, PELVIS])
def test_a_dead_sensor_is_told_and_left_out(
    spoil: Callable[[Placement, Arrays], Arrays], dead: Placement
) -> None:
    """The others measure as if it had not been worn."""

    def change(placement: Placement, arrays: Arrays) -> Arrays:
        return spoil(placement, arrays) if placement is dead else arrays

    analysis = analyse(changed(whole(), change))
    told(analysis, str(dead).replace("_", " "))
    alone = only_attempt(without(dead))
    attempt = only_attempt(analysis)
    assert_complete(attempt)
    # The recording begins with the first sensor: zero, and so the common grid, may differ.
    assert worst(apart(alone, attempt)) < 0.1


def test_a_sensor_that_freezes_on_the_way() -> None:
    def freeze(placement: Placement, arrays: Arrays) -> Arrays:
        if placement is LEFT:
            arrays[1][1500:], arrays[2][1500:] = arrays[1][1500], arrays[2][1500]
        return arrays

    analysis = analyse(changed(whole(), freeze))
    told(analysis, "left shank", "one value for 3.")
    # 7.5 s: one second after the landing.
    attempt = only_attempt(analysis)
    assert attempt.take_off_side is ONE_FOOT.side
    assert_complete(attempt)


def test_runs_of_nan() -> None:
    """Six short runs a sensor, all channels or one, in the stand, the run-up and the flight."""

    def holes(placement: Placement, arrays: Arrays) -> Arrays:
        for at in (150, 760, 1000, 1320, 1700):
            arrays[1][at : at + 8] = np.nan
            arrays[2][at + 40 : at + 46, 1] = np.nan
        return arrays

    analysis = analyse(changed(whole(), holes))
    attempt = only_attempt(analysis)
    assert attempt.take_off_side is ONE_FOOT.side
    assert attempt.take_off_style is ONE_FOOT.style
    assert_complete(attempt)
    for report in analysis.sensors:
        assert report.missing_s == pytest.approx(5 * 14 / 200.0, abs=1e-9)


@pytest.mark.parametrize("jump", [ONE_FOOT, TWO_FOOT], ids=["one_foot", "two_foot"])
def test_swapped_legs_are_told(jump: ApproachJump) -> None:
    swapped = analyse(recorded(jump, legs_swapped=True))
    sentence = told(swapped, "swapped")
    assert "left" in sentence
    assert "right" in sentence
    assert not any("swapped" in w for w in analyse(recorded(jump)).warnings)


def test_three_seconds_of_standing() -> None:
    analysis = analyse(within(whole(), 0.0, 3.0))
    assert analysis.attempts == ()
    assert analysis.duration_s == pytest.approx(3.0, abs=0.1)
    told(analysis, "too short")


@pytest.mark.parametrize("length_s", [0.01, 0.1, 0.5, 1.0])
def test_hardly_any_data(length_s: float) -> None:
    analysis = analyse(within(whole(), 0.0, 0.02 + length_s))
    assert analysis.attempts == ()
    assert analysis.warnings


def test_three_seconds_about_the_jump() -> None:
    (mark,) = motion_of(ONE_FOOT).jumps
    analysis = analyse(within(whole(), mark.toe_off_s - 1.5, mark.toe_off_s + 1.5))
    assert analysis.attempts == ()
    told(analysis, "stood still", "stand still for 3 s")


def test_no_standing_before_the_run_up() -> None:
    (mark,) = motion_of(ONE_FOOT).jumps
    analysis = analyse(within(whole(), mark.start_s + 0.5, np.inf))
    assert analysis.attempts == ()
    told(analysis, "stood still", "stand still for 3 s")


def test_empty_recording() -> None:
    analysis = analyse(Packets(whole().info, ()))
    assert analysis.attempts == ()
    assert analysis.duration_s == 0.0
    assert len(analysis.warnings) == 3
    told(analysis, "pelvis", "no samples")


def test_no_sensor_at_all() -> None:
    analysis = analyse(Packets(replace(whole().info, sensors=()), ()))
    told(analysis, "no sensor")


@pytest.mark.parametrize("silent", [Placement.RIGHT_SHANK, Placement.PELVIS])
def test_a_placement_that_never_sends(silent: Placement) -> None:
    recording = whole()
    kept = tuple(b for b in recording.batches() if b.placement is not silent)
    analysis = analyse(Packets(recording.info, kept))
    told(analysis, str(silent).replace("_", " "), "no samples")
    report = next(r for r in analysis.sensors if r.placement is silent)
    assert report.missing_s == analysis.duration_s
    assert_complete(only_attempt(analysis))


def test_only_accelerometers() -> None:
    analysis = analyse(changed(whole(), without_gyro))
    assert analysis.attempts == ()
    for name in ("left shank", "right shank", "pelvis"):
        told(analysis, name, "gyro")


@pytest.mark.parametrize("worn", [LEFT, RIGHT])
def test_one_shank_alone(worn: Placement) -> None:
    analysis = analyse(only(whole(), [worn]))
    assert analysis.attempts == ()
    told(analysis, "one shank sensor alone")


@pytest.mark.parametrize(
    ("accel_factor", "gyro_factor", "words"),
    [
        (1.0 / STANDARD_GRAVITY_MPS2, 1.0, ("pelvis", "accelerometer", "unit")),
        (1000.0, 1.0, ("pelvis", "accelerometer", "unit")),
        (1.0, 180.0 / np.pi, ("left shank", "gyroscope", "unit")),
    ],
    ids=["g", "mm/s²", "deg/s"],
)
def test_wrong_units_are_told(
    accel_factor: float, gyro_factor: float, words: tuple[str, ...]
) -> None:
    def scale(placement: Placement, arrays: Arrays) -> Arrays:
        return arrays[0], arrays[1] * accel_factor, arrays[2] * gyro_factor

    recording = changed(whole(), scale)
    told(analyse(recording), *words)


def test_damaged_numbers() -> None:
    """Infinite or absurd samples count as missing."""

    def damage(placement: Placement, arrays: Arrays) -> Arrays:
        arrays[1][900] = np.inf
        arrays[2][1100, 2] = -np.inf
        arrays[1][1200, 0] = 1e300
        return arrays

    analysis = analyse(changed(whole(), damage))
    assert only_attempt(analysis).take_off_side is ONE_FOOT.side
    for report in analysis.sensors:
        assert report.missing_s == pytest.approx(3 / 200.0)


@settings(max_examples=5, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
@example(seed=7600)  # samples that are no numbers in a movement between two rests
def test_nothing_crashes_on_noise(seed: int) -> None:
    """Noise of any colour and size, with holes, in every sensor."""
    generator = np.random.default_rng(seed)

    def noise(placement: Placement, arrays: Arrays) -> Arrays:
        ticks = arrays[0]
        n = len(ticks)
        walk = np.cumsum(generator.normal(size=(n, 6)), axis=0) * generator.uniform(0, 0.5)
        white = generator.normal(size=(n, 6)) * 10.0 ** generator.uniform(-3, 3)
        both = walk + white
        both[generator.random((n, 6)) < 0.02] = np.nan
        still = slice(0, int(generator.integers(0, n)))
        both[still] *= 1e-3
        both[still, 2] += STANDARD_GRAVITY_MPS2
        return ticks, both[:, :3].copy(), both[:, 3:].copy()

    analysis = analyse(changed(whole(), noise))
    for attempt in analysis.attempts:
        assert_complete(attempt)


class TestMisuse:
    def packets(self) -> list[SampleBatch]:
        return streams(whole())[PELVIS]

    def test_a_packet_twice(self) -> None:
        engine = Engine(whole().info)
        first, second, *_ = self.packets()
        engine.push(first)
        engine.push(second)
        for again in (first, second):
            with pytest.raises(ValueError, match=r"pelvis: ticks fall .* in order"):
                engine.push(again)

    def test_a_placement_not_in_the_head(self) -> None:
        engine = Engine(only(whole(), [LEFT]).info)
        with pytest.raises(ValueError, match="pelvis"):
            engine.push(self.packets()[0])

    def test_after_the_end(self) -> None:
        engine = Engine(whole().info)
        assert engine.finish() == engine.finish()
        with pytest.raises(ValueError, match="finish"):
            engine.push(self.packets()[0])

    def test_shapes_that_do_not_fit(self) -> None:
        engine = Engine(whole().info)
        packet = self.packets()[0]
        with pytest.raises(ValueError, match="shape"):
            engine.push(replace(packet, accel_mps2=packet.accel_mps2[:-1]))

    def test_ticks_that_fall_within_a_packet(self) -> None:
        engine = Engine(whole().info)
        packet = self.packets()[0]
        ticks = packet.ticks.copy()
        ticks[3] = ticks[2]
        with pytest.raises(ValueError, match="increase"):
            engine.push(replace(packet, ticks=ticks))


def test_an_empty_packet_changes_nothing() -> None:
    recording = whole()
    packets = []
    for packet in recording.packets:
        none = slice(0, 0)
        packets += [
            packet,
            replace(
                packet,
                ticks=packet.ticks[none],
                accel_mps2=packet.accel_mps2[none],
                gyro_radps=packet.gyro_radps[none],
            ),
        ]
    assert repr(analyse(Packets(recording.info, tuple(packets)))) == repr(analyse(recording))
