"""Streams, looks and upkeep on samples drawn to be known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imujump.model import FloatArray, IntArray, Placement, SampleBatch, SensorInfo
from imujump.pipeline.clock_course import steady
from imujump.pipeline.screening import LOOK_S, SPAN_S, Looks, look
from imujump.pipeline.streams import SensorStream, frozen, repeats
from imujump.pipeline.upkeep import Upkeep

PELVIS = Placement.PELVIS
RATE_HZ, TICK_S = 100.0, 1e-4
PERIOD = 100
REST = np.array((0.0, 0.0, 9.81, 0.0, 0.0, 0.0))
INFO = SensorInfo(PELVIS, "P", RATE_HZ, TICK_S)


def batch(ticks: IntArray, arrival_s: float, values: FloatArray | None = None) -> SampleBatch:
    """Samples whose six channels count up with time, unless given."""
    if values is None:
        values = np.outer(ticks * TICK_S, np.arange(1.0, 7.0))
    ticks = np.asarray(ticks, dtype=np.int64)
    return SampleBatch(PELVIS, 0, ticks, arrival_s, values[:, :3].copy(), values[:, 3:].copy())


def filled(
    count: int,
    *,
    info: SensorInfo = INFO,
    without: slice = slice(0, 0),
    delay_s: float = 0.0,
    values: FloatArray | None = None,
    first_tick: int = 0,
) -> SensorStream:
    """Stream received in packets of ten, a run of samples left out."""
    stream = SensorStream(info)
    keep = np.ones(count, dtype=bool)
    keep[without] = False
    index = np.flatnonzero(keep)
    for first in range(0, len(index), 10):
        part = index[first : first + 10]
        ticks = part * PERIOD
        packet = batch(
            ticks, ticks[-1] * TICK_S + delay_s, None if values is None else values[part]
        )
        stream.append(replace(packet, ticks=packet.ticks + first_tick))
    stream.settle()
    return stream


class TestGrid:
    def test_straight_lines_are_read_off_exactly(self) -> None:
        stream = filled(200)
        samples = stream.on_grid(0.503, 0.004, 100, np.inf)
        grid = 0.503 + 0.004 * np.arange(100)
        np.testing.assert_allclose(samples.accel_mps2, np.outer(grid, (1, 2, 3)), atol=1e-12)
        np.testing.assert_allclose(samples.gyro_radps, np.outer(grid, (4, 5, 6)), atol=1e-12)
        assert not samples.missing.any()

    def test_gaps_and_ends_are_bridged_and_flagged(self) -> None:
        stream = filled(100, without=slice(40, 50))
        samples = stream.on_grid(-0.05, 0.01, 120, np.inf)
        grid = -0.05 + 0.01 * np.arange(120)
        lost = (grid < -1e-9) | (grid > 0.99 + 1e-9) | ((grid > 0.391) & (grid < 0.499))
        np.testing.assert_array_equal(samples.missing, lost)
        np.testing.assert_allclose(samples.accel_mps2[44:56, 0], grid[44:56], atol=1e-12)

    def test_nan_counts_as_missing(self) -> None:
        values = np.outer(np.arange(100.0), np.ones(6))
        values[30:33, 4] = np.nan
        samples = filled(100, values=values).on_grid(0.0, 0.01, 100, np.inf)
        np.testing.assert_array_equal(np.flatnonzero(samples.missing), (30, 31, 32))
        np.testing.assert_allclose(samples.gyro_radps[:, 1], np.arange(100.0), atol=1e-9)

    def test_late_samples_do_not_count(self) -> None:
        samples = filled(100, delay_s=0.5).on_grid(0.0, 0.01, 100, 0.995)
        # Packets arrive with their last sample plus 0.5 s: those up to sample 49.
        np.testing.assert_array_equal(np.flatnonzero(~samples.missing), np.arange(50))

    def test_frozen_samples_count_as_missing(self) -> None:
        values = np.outer(np.arange(200.0), np.ones(6))
        values[80:140] = values[80]
        samples = filled(200, values=values).on_grid(0.0, 0.01, 200, np.inf)
        np.testing.assert_array_equal(np.flatnonzero(samples.missing), np.arange(80, 140))

    def test_nothing_there(self) -> None:
        samples = SensorStream(INFO).on_grid(0.0, 0.01, 5, np.inf)
        assert samples.missing.all()
        assert not samples.accel_mps2.any()


def test_repeats_are_told_from_a_sensor_at_rest() -> None:
    row = np.array((0.1, 0.2, 9.8, 0.01, 0.0, 0.0))
    moving, rest, dead = np.tile(row, (4, 1)), np.tile(row, (4, 1)), np.zeros((4, 6))
    rest[:, 3:] = 0.0  # a gyroscope that suppresses its noise
    assert repeats(moving).tolist() == [False, True, True, True]
    assert not repeats(rest).any()
    assert repeats(dead).tolist() == [False, True, True, True]
    assert frozen(moving, 4).all()
    assert not frozen(moving, 5).any()
    assert not frozen(np.array([[np.nan] * 6] * 9), 2).any()


def test_dropping_keeps_what_is_younger() -> None:
    stream = filled(100)
    stream.drop_before(0.5)
    time, values, arrival = stream.kept()
    assert len(time) == len(values) == len(arrival) == len(stream) == 50
    assert time[0] == pytest.approx(0.5)
    assert (stream.first_time_s, stream.length_s) == (0.0, pytest.approx(0.99))


def test_as_of_shows_what_was_there_then() -> None:
    stream = filled(100, delay_s=0.2)
    by_time = stream.as_of(0.5, np.inf)
    assert by_time.last_time_s == pytest.approx(0.5)
    by_arrival = stream.as_of(np.inf, 0.75)
    # The packet that ends at 0.49 s arrived at 0.69 s, the next one at 0.79 s.
    assert by_arrival.last_time_s == pytest.approx(0.49)
    assert stream.as_of(-1.0, np.inf).last_time_s is None
    assert len(stream) == 100


def test_arrival_of_the_first_sample_past_an_instant() -> None:
    stream = filled(100, delay_s=0.2)
    assert stream.arrival_of_time(0.495) == pytest.approx(0.79)
    assert stream.arrival_of_time(0.49) == pytest.approx(0.69)
    assert stream.arrival_of_time(1.0) is None


def test_a_host_clock_set_back_does_not_order_packets_anew() -> None:
    stream = SensorStream(INFO)
    for first, arrival_s in ((0, 5.0), (10, 4.0), (20, 6.0)):
        stream.append(batch(np.arange(first, first + 10) * PERIOD, arrival_s))
    stream.settle()
    assert stream.kept()[2].tolist() == [5.0] * 20 + [6.0] * 10


class TestLooks:
    def quiet(self, count: int) -> FloatArray:
        generator = np.random.default_rng(0)
        return generator.normal(0.0, 0.01, (count, 6)) + REST

    def test_rest_fall_and_movement(self) -> None:
        values = self.quiet(1000)
        values[300:360, :3] *= 0.05
        values[600:660, 3] += 4.0
        looks = Looks()
        look(filled(1000, values=values), looks, steady(0.0))
        centres = LOOK_S * np.arange(len(looks))
        half = SPAN_S / 2.0

        def around(first: int, last: int) -> np.ndarray:
            return (centres > first / RATE_HZ - half) & (centres < last / RATE_HZ + half)

        still = np.array([looks[k].still for k in range(len(looks))])
        force = np.array([looks[k].force_mps2 for k in range(len(looks))])
        fallen = (centres > 3.0 + half) & (centres < 3.6 - half)
        inside = (centres >= 0.2) & (centres <= 9.7) & ~fallen
        np.testing.assert_array_equal(still[inside], ~(around(300, 360) | around(600, 660))[inside])
        assert fallen.sum() >= 3
        np.testing.assert_allclose(force[fallen], 0.05 * 9.81, atol=0.01)
        np.testing.assert_allclose(force[inside & ~around(300, 360)], 9.81, atol=0.02)
        assert looks[0].seen is False  # half of its span lies before the first sample

    def test_a_look_is_complete_with_the_first_sample_past_its_span(self) -> None:
        stream = filled(100, values=self.quiet(100), delay_s=0.3)
        looks = Looks()
        look(stream, looks, steady(0.0))
        # Samples end at 0.99 s: look 8 ends at 0.92 s, look 9 would at 1.02 s.
        assert len(looks) == 9
        assert looks[8].arrival_s == pytest.approx(0.99 + 0.3)
        assert looks[3].arrival_s == pytest.approx(0.49 + 0.3)

    def test_gaps_nan_and_frozen_spans_are_not_seen(self) -> None:
        values = self.quiet(1200)
        values[300:340, 5] = np.nan
        values[600:680] = values[600]
        looks = Looks()
        look(filled(1200, values=values, without=slice(900, 940)), looks, steady(0.0))
        unseen = [LOOK_S * k for k in range(len(looks)) if not looks[k].seen]
        assert unseen[0] == 0.0  # half of its span lies before the first sample
        for first in (3.0, 9.0):
            # A quarter of the span may be missing.
            assert [t for t in unseen if first - 0.2 < t < first + 0.6] == pytest.approx(
                [t for t in LOOK_S * np.arange(len(looks)) if first - 0.06 < t < first + 0.46]
            )
        assert {round(t, 1) for t in unseen if 5.5 < t < 7.3} == {6.2, 6.3, 6.4, 6.5, 6.6}

    @settings(max_examples=25, deadline=None)
    @given(st.data())
    def test_looks_do_not_depend_on_when_they_are_taken(self, data: st.DataObject) -> None:
        """Random gaps and NaN, packets pushed in random lumps: same looks to the last bit."""
        seed = data.draw(st.integers(0, 10**6))
        generator = np.random.default_rng(seed)
        values = self.quiet(900) + generator.normal(size=(900, 6)) * (generator.random() < 0.5)
        values[generator.random(900) < 0.03, 2] = np.nan
        index = np.flatnonzero(generator.random(900) < 0.97)
        gap = int(generator.integers(0, 800))
        index = index[(index < gap) | (index > gap + int(generator.integers(0, 90)))]
        at_once, piecewise = Looks(), Looks()
        whole, stream = SensorStream(INFO), SensorStream(INFO)
        for first in range(0, len(index), 10):
            part = index[first : first + 10]
            packet = batch(part * PERIOD, part[-1] / RATE_HZ, values[part])
            whole.append(packet)
            stream.append(packet)
            if generator.random() < 0.4:
                stream.settle()
                look(stream, piecewise, steady(-0.037))
                stream.drop_before(0.037 + LOOK_S * len(piecewise) - 0.2)
        whole.settle()
        stream.settle()
        look(whole, at_once, steady(-0.037))
        look(stream, piecewise, steady(-0.037))
        assert len(at_once) == len(piecewise)
        assert [at_once[k] for k in range(len(at_once))] == [
            piecewise[k] for k in range(len(at_once))
        ]

    def test_dropped_looks_are_gone(self) -> None:
        looks = Looks()
        for _ in range(1000):
            looks.add_unseen()
        looks.drop_before(700)
        assert (len(looks), looks.dropped) == (1000, 700)
        with pytest.raises(IndexError, match="dropped"):
            looks[699]


class TestUpkeep:
    def upkeep(self, stream_parts: list[SampleBatch], info: SensorInfo = INFO) -> Upkeep:
        upkeep, stream = Upkeep(info), SensorStream(info)
        for part in stream_parts:
            stream.append(part)
            received = stream.settle()
            assert received is not None
            upkeep.take(received)
        return upkeep

    def values(self, count: int) -> FloatArray:
        generator = np.random.default_rng(1)
        return generator.normal(0.0, 0.1, (count, 6)) + REST

    def test_missing_time_is_counted_once(self) -> None:
        values = self.values(1000)
        values[100:103, 0] = np.nan
        index = np.concatenate((np.arange(500), np.arange(530, 1000)))
        parts = [
            batch(part * PERIOD, 0.0, values[part]) for part in np.split(index, (7, 300, 500, 700))
        ]
        report = self.upkeep(parts).report(9.99 + 0.4, 0.4, 12.0)
        # 30 lost, 3 NaN; 0.4 s before the first and 1.61 s after the last sample.
        assert report.missing_s == pytest.approx(0.30 + 0.03 + 0.4 + 1.61)

    def test_samples_at_a_stated_range_are_counted(self) -> None:
        values = self.values(300)
        values[100:105, 1] = 16 * 9.81
        info = replace(INFO, accel_range_mps2=16 * 9.81)
        upkeep = self.upkeep([batch(np.arange(300) * PERIOD, 0.0, values)], info)
        assert upkeep.report(2.99, 0.0, 2.99).clipped_samples == 5

    def test_an_unstated_range_is_known_by_its_usual_size(self) -> None:
        values = self.values(300)
        values[100:105, 1] = 16 * 9.80665
        upkeep = self.upkeep([batch(np.arange(300) * PERIOD, 0.0, values)])
        assert upkeep.report(2.99, 0.0, 2.99).clipped_samples == 5
        values[100:105, 1] = 12.5 * 9.80665
        upkeep = self.upkeep([batch(np.arange(300) * PERIOD, 0.0, values)])
        assert upkeep.report(2.99, 0.0, 2.99).clipped_samples == 0

    @pytest.mark.parametrize("cuts", [(), (150,), (205, 300), tuple(range(1, 1000, 9))])
    def test_frozen_time_is_told_however_cut(self, cuts: tuple[int, ...]) -> None:
        values = self.values(1000)
        values[200:500] = values[200]
        values[700:750] = values[700]  # too short to be told
        parts = [
            batch(part * PERIOD, 0.0, values[part]) for part in np.split(np.arange(1000), cuts)
        ]
        (sentence,) = self.upkeep(parts).warnings()
        assert sentence == "pelvis: the sensor showed one value for 3.0 s in all; restart it."

    def test_a_working_sensor_gives_no_sentence(self) -> None:
        assert (
            self.upkeep([batch(np.arange(1000) * PERIOD, 0.0, self.values(1000))]).warnings() == []
        )
