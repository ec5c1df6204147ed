"""However a recording is handed over, its analysis is the same to the last bit.

Packets are split into pieces, sensors interleave in any order, and the engine is told, or not,
what has arrived: reading from a file and capturing live must not differ.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from imujump.model import Analysis, Attempt, Placement, SampleBatch
from imujump.pipeline.engine import Engine, analyse
from imujump.simulate.imu import Gap, SensorErrors

from .recordings import ONE_FOOT, TWO_FOOT, Packets, recorded, streams

LEFT, RIGHT, PELVIS = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS


def whole() -> Packets:
    found = recorded(ONE_FOOT, before_s=7.0, after_s=4.0, rate_hz=100.0, packet_samples=25)
    return Packets(found.info, found.packets)


def lossy() -> Packets:
    """Lost packets, a sensor that ends, and one whose packets come five seconds late."""
    found = recorded(
        TWO_FOOT,
        before_s=7.0,
        after_s=7.0,
        rate_hz=100.0,
        packet_samples=20,
        gaps=(
            Gap(PELVIS, 10.6, 10.7),
            Gap(RIGHT, 9.0, 9.3),
            Gap(RIGHT, 20.2, 20.3),
            Gap(LEFT, 18.5),
        ),
    )
    packets = []
    for packet in found.packets:
        held_back = packet.placement is RIGHT and 15.0 < packet.arrival_s < 20.0
        packets.append(replace(packet, arrival_s=20.0) if held_back else packet)
    return Packets(found.info, tuple(sorted(packets, key=lambda b: b.arrival_s)))


def own_clocks() -> Packets:
    """Clocks that start and run differently, and a sensor switched on after 14 s."""
    errors = replace(SensorErrors(), clock_skew_ppm=60.0, clock_offset_s=0.3)
    found = recorded(
        ONE_FOOT,
        before_s=24.0,
        after_s=2.0,
        rate_hz=100.0,
        errors=errors,
        packet_samples=7,
        gaps=(Gap(RIGHT, -1.0, 14.0),),
    )
    return Packets(found.info, found.packets)


MAKERS = {"whole": whole, "lossy": lossy, "own_clocks": own_clocks}


@cache
def source(name: str) -> Packets:
    return MAKERS[name]()


@cache
def expected(name: str) -> Analysis:
    return analyse(source(name))


def pieces(packet: SampleBatch, size: int) -> list[SampleBatch]:
    """Cut a packet; every piece arrived when the packet did."""
    return [
        SampleBatch(
            packet.placement,
            packet.first_index + first,
            packet.ticks[first : first + size],
            packet.arrival_s,
            packet.accel_mps2[first : first + size],
            packet.gyro_radps[first : first + size],
        )
        for first in range(0, len(packet.ticks), size)
    ]


def hand_over(
    recording: Packets, size: int, order: np.random.Generator, told: float, stride_s: float
) -> Analysis:
    """Push pieces in a random order; tell the engine what has arrived with chance ``told``."""
    engine = Engine(recording.info, stride_s=stride_s)
    queues = {
        placement: [piece for packet in packets for piece in pieces(packet, size)][::-1]
        for placement, packets in streams(recording).items()
    }
    attempts = []
    while any(queues.values()):
        placement = order.choice([p for p in queues if queues[p]])
        # Runs of one sensor: now and then one gets far ahead of the others.
        for _ in range(int(order.geometric(0.02 if order.random() < 0.05 else 0.5))):
            if queues[Placement(placement)]:
                attempts += engine.push(queues[Placement(placement)].pop())
        if order.random() < told:
            left = [queue[-1].arrival_s for queue in queues.values() if queue]
            attempts += engine.advance(math.nextafter(min(left, default=1e9), -math.inf))
    analysis = engine.finish()
    # What was told on the way is what is told in the end.
    assert tuple(attempts) == analysis.attempts[: len(attempts)]
    return analysis


@pytest.mark.parametrize("name", MAKERS)
def test_the_recording_holds_what_it_should(name: str) -> None:
    analysis = expected(name)
    assert len(analysis.attempts) == 1
    missing = {report.placement: report.missing_s for report in analysis.sensors}
    if name == "lossy":
        assert missing[LEFT] > 2.0
        assert missing[PELVIS] >= 0.1
    if name == "own_clocks":
        assert missing[RIGHT] == pytest.approx(14.0, abs=0.3)
        # The sensor that came late is used.
        assert analysis.attempts[0].take_off_side is not None
        assert analysis.attempts[0].metrics["take_off_contact_s"].value is not None


def check(name: str, size: int, seed: int, told: float, stride_s: float) -> None:
    analysis = hand_over(source(name), size, np.random.default_rng(seed), told, stride_s)
    assert analysis == expected(name)
    # repr of a float names it exactly: this also tells 0.0 from -0.0.
    assert repr(analysis) == repr(expected(name))


CUTS = {
    "size": st.one_of(st.integers(1, 25), st.just(10**6)),
    "seed": st.integers(0, 2**32 - 1),
    "told": st.sampled_from((0.0, 0.3, 1.0)),
    "stride_s": st.sampled_from((0.0, 0.7, 5.0)),
}


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(**CUTS)
def test_any_cut_of_a_whole_recording(size: int, seed: int, told: float, stride_s: float) -> None:
    check("whole", size, seed, told, stride_s)


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(**CUTS)
def test_any_cut_with_losses(size: int, seed: int, told: float, stride_s: float) -> None:
    check("lossy", size, seed, told, stride_s)


@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(**CUTS)
def test_any_cut_on_own_clocks(size: int, seed: int, told: float, stride_s: float) -> None:
    check("own_clocks", size, seed, told, stride_s)


@pytest.mark.parametrize(("name", "told"), [("whole", 0.0), ("lossy", 1.0), ("own_clocks", 0.0)])
def test_sample_by_sample(name: str, told: float) -> None:
    check(name, 1, 0, told, 0.0)


@pytest.mark.parametrize("name", MAKERS)
def test_one_sensor_after_the_other(name: str) -> None:
    engine = Engine(source(name).info)
    for packets in streams(source(name)).values():
        for packet in packets:
            engine.push(packet)
    assert repr(engine.finish()) == repr(expected(name))


def sent_again(first_s: float, again_s: float) -> Packets:
    """A sensor whose link drops for a while and that sends what was missed when it is back."""
    usual = whole()
    packets = [
        replace(packet, arrival_s=again_s)
        if packet.placement is RIGHT and first_s < packet.arrival_s < again_s
        else packet
        for packet in usual.packets
    ]
    return Packets(usual.info, tuple(sorted(packets, key=lambda b: b.arrival_s)))


def test_what_a_sensor_sends_again_after_a_drop_of_ten_seconds_counts_in_full() -> None:
    (usual,) = expected("whole").attempts
    (late,) = analyse(sent_again(8.5, 18.5)).attempts
    assert [(e.kind, e.side) for e in late.events] == [(e.kind, e.side) for e in usual.events]
    for one, other in zip(late.events, usual.events, strict=True):
        # The sensor's clock was followed less far: microseconds, in which 1 ms leaves room.
        assert one.time_s == pytest.approx(other.time_s, abs=1e-3)
    assert values(late) == values(usual)
    (without,) = analyse(sent_again(8.5, 26.0)).attempts
    assert values(without) < values(usual)


def values(attempt: Attempt) -> set[str]:
    return {name for name, each in attempt.metrics.items() if each.value is not None}
