"""Live and read back alike: replays in their place, gaps given up, reboots, clock readings."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from imujump.model import ClockReading, Placement, SampleBatch
from imujump.recording.captured import CapturedPacket
from imujump.recording.clock_rows import clock_row
from imujump.recording.format import StatusChange, StatusKind
from imujump.recording.in_order import SampleOrder
from imujump.recording.packets import encode_packets
from imujump.recording.profiles import compact_profile
from imujump.recording.reader import RecordingReader
from imujump.recording.sequence import MissingNumbers, PacketNumbers
from imujump.recording.writer import RecordedSensor, RecordingWriter

RATE_HZ = 200.0
PER_PACKET = 10
PACKET_S = PER_PACKET / RATE_HZ
PROFILE = compact_profile(RATE_HZ)
LEFT, PELVIS = Placement.LEFT_SHANK, Placement.PELVIS


def packet(number, boot_s=0.0, seed_tick=2**32 - 10_000_000):
    """Packet of a running number; its x channel tells the packet and the sample."""
    first = seed_tick + round(number * PACKET_S * 1e6)
    ticks = first + np.arange(PER_PACKET) * 5000
    values = np.zeros((1, PER_PACKET, 6))
    step = 2000 / 32768 * np.pi / 180
    values[0, :, 3] = (number * PER_PACKET + np.arange(PER_PACKET)) % 30_000 * step
    return encode_packets(PROFILE, ticks[np.newaxis], np.array([number]), values).tobytes()


class Script:
    """What a capture of two sensors hands on, with stamps that never repeat."""

    def __init__(self):
        self.entries = []
        self._last_us = 0

    def stamp_s(self, time_s):
        self._last_us = max(self._last_us + 1, round(time_s * 1e6))
        return self._last_us / 1e6

    def packet(self, place, time_s, data):
        self.entries.append(CapturedPacket(place, self.stamp_s(time_s), data))

    def row(self, place, time_s, kind, detail=""):
        self.entries.append(StatusChange(self.stamp_s(time_s), kind, place, detail))

    def ping(self, place, time_s, tick):
        received_s = self.stamp_s(time_s)
        self.entries.append(ClockReading(place, round(received_s - 0.01, 6), received_s, tick))


def session_with_everything():
    """Pelvis without trouble; left shank: numbers wrap, a drop, a replay, a gap, a reboot."""
    script = Script()
    for place in (LEFT, PELVIS):
        script.row(place, 0.0, StatusKind.CONNECT, "boot=1 replay=yes next=65400")
        script.ping(place, 0.01, (2**32 - 10_000_000 + 65_400 * 50_000) % 2**32)
    base = 65_400
    for n in range(2400):
        time_s = 0.1 + n * PACKET_S
        script.packet(PELVIS, time_s, packet(base + n))
        if n % 100 == 50:
            script.ping(PELVIS, time_s + 0.001, 12345)
        # The shank is silent for packets 150 to 219; 150 to 179 are lost, the rest comes again.
        if n == 150:
            script.row(LEFT, time_s, StatusKind.DROP, "no packet for 3 s")
        if n == 220:
            script.row(LEFT, time_s, StatusKind.CONNECT, "boot=1 replay=yes")
            script.row(LEFT, time_s, StatusKind.GAP, f"lost={base + 150}-{base + 179}")
            script.row(LEFT, time_s, StatusKind.REPLAY, f"asked={base + 180}-{base + 219}")
        if 220 <= n < 260:
            script.packet(LEFT, time_s, packet(base + n - 40))
            script.packet(LEFT, time_s, packet(base + n - 40))  # doubled
        if n < 150 or 220 <= n < 1500:
            script.packet(LEFT, time_s, packet(base + n))
        if n == 1600:
            script.row(LEFT, time_s, StatusKind.CONNECT, "boot=2 replay=yes")
            script.row(LEFT, time_s, StatusKind.REBOOT, "boot=2")
            script.ping(LEFT, time_s, 3_000_000)
        if n > 1600:
            script.packet(LEFT, time_s, packet(n - 1601, seed_tick=3_100_000))
    return script.entries


def live(entries):
    order = SampleOrder([(LEFT, PROFILE), (PELVIS, PROFILE)])
    found = [out for entry in entries for out in order.take(entry)] + order.finish()
    return found, order.warnings()


def same(a, b):
    if isinstance(a, ClockReading) or isinstance(b, ClockReading):
        return a == b
    return (
        (a.placement, a.first_index, a.arrival_s, a.segment)
        == (b.placement, b.first_index, b.arrival_s, b.segment)
        and np.array_equal(a.ticks, b.ticks)
        and np.array_equal(a.gyro_radps, b.gyro_radps)
    )


def test_a_recording_read_back_gives_what_was_had_live(tmp_path):
    entries = session_with_everything()
    path = tmp_path / "a.imujump"
    sensors = [RecordedSensor(p, "S", PROFILE) for p in (LEFT, PELVIS)]
    with RecordingWriter(path, sensors) as writer:
        for entry in entries:
            if isinstance(entry, CapturedPacket):
                writer.append_packet(entry.placement, entry.arrival_s, entry.data)
            elif isinstance(entry, ClockReading):
                writer.append_status(clock_row(entry))
            else:
                writer.append_status(entry)
    expected, warnings = live(entries)
    with RecordingReader(path) as reader:
        read = list(reader.timeline())
        assert len(read) == len(expected)
        assert all(same(a, b) for a, b in zip(read, expected, strict=True))
        assert [t for t in reader.info.warnings if "left_shank" in t] == [
            t for t in warnings if "left_shank" in t
        ]
        assert [b.first_index for b in reader.batches()] == [
            e.first_index for e in expected if isinstance(e, SampleBatch)
        ]


def test_replays_come_in_their_place_and_a_reboot_begins_a_segment():
    found, warnings = live(session_with_everything())
    shank = [e for e in found if isinstance(e, SampleBatch) and e.placement is LEFT]
    first, second = ([b for b in shank if b.segment == s] for s in (0, 1))
    ticks = np.concatenate([b.ticks for b in first])
    assert np.all(np.diff(ticks) > 0)
    # Worked by hand: 1500 packets less the 30 lost, one hole of 30 packets.
    assert len(ticks) == (1500 - 30) * PER_PACKET
    (hole,) = np.flatnonzero(np.diff(ticks) > 5000)
    assert ticks[hole + 1] - ticks[hole] == 30 * 50_000 + 5000
    assert second[0].ticks[0] == 3_100_000
    assert len(second) == 799
    assert warnings == ["left_shank: 400 samples arrived twice or too late and were left out"]
    arrivals = [b.arrival_s for b in found if isinstance(b, SampleBatch)]
    assert arrivals == sorted(arrivals)
    pelvis = [b for b in found if isinstance(b, SampleBatch) and b.placement is PELVIS]
    assert len(pelvis) == 2400


def test_clock_readings_lie_on_the_axis_of_the_ticks():
    found, _ = live(session_with_everything())
    for place, segment in itertools.product((LEFT, PELVIS), (0, 1)):
        batches = [
            e
            for e in found
            if isinstance(e, SampleBatch) and (e.placement, e.segment) == (place, segment)
        ]
        readings = [
            e
            for e in found
            if isinstance(e, ClockReading) and (e.placement, e.segment) == (place, segment)
        ]
        if not batches:
            continue
        for reading in readings[:1]:
            assert abs(reading.tick - batches[0].ticks[0]) < 1_000_000


def test_the_first_packets_may_come_last():
    """The link broke before the first packet came; the row tells where the count began."""
    script = Script()
    script.row(LEFT, 0.0, StatusKind.CONNECT, "boot=1 replay=yes next=3")
    script.row(LEFT, 1.0, StatusKind.CONNECT, "boot=1 replay=yes next=6")
    for n in (7, 3, 4, 8, 5, 6):
        script.packet(LEFT, 1.1 + n * PACKET_S, packet(n))
    found, warnings = live(script.entries)
    ticks = np.concatenate([batch.ticks for batch in found])
    assert len(found) == 6
    assert np.all(np.diff(ticks) == 5000)
    assert warnings == ["pelvis has no samples"]


def test_nothing_waits_for_a_sensor_without_replay():
    script = Script()
    script.row(LEFT, 0.0, StatusKind.CONNECT, "boot=- replay=no")
    order = SampleOrder([(LEFT, PROFILE)])
    for n in (0, 1, 5, 6):
        script.packet(LEFT, 0.1 + n * PACKET_S, packet(n))
    counts = [len(order.take(entry)) for entry in script.entries]
    assert counts == [0, 1, 1, 1, 1]


def test_waiting_ends_although_no_row_says_so():
    script = Script()
    script.row(LEFT, 0.0, StatusKind.CONNECT, "boot=1 replay=yes")
    for n in [*range(10), *range(12, 600)]:
        script.packet(LEFT, 0.1 + n * PACKET_S, packet(n))
    order = SampleOrder([(LEFT, PROFILE)])
    waited = [len(order.take(entry)) for entry in script.entries]
    assert waited[11:100] == [0] * 89
    assert sum(waited) == 598


@pytest.mark.parametrize("silence_s", [1.0, 600.0, 3600.0])
def test_numbers_after_a_silence_are_told_by_the_clock(silence_s):
    numbers = PacketNumbers(PROFILE)
    data = packet(65_000)
    assert numbers.number(numbers.raw(data), 10.0) == 65_000
    later = 65_000 + round(silence_s / PACKET_S)
    assert numbers.number(numbers.raw(packet(later)), 10.0 + silence_s) == later
    assert numbers.placed(numbers.raw(packet(later - 1200)), 10.1 + silence_s) == later - 1200


def test_holes_that_nothing_has_shown_yet_can_be_given_up():
    missing = MissingNumbers()
    missing.arrive(4)
    assert missing.give_up(7, 9) == 3
    assert missing.ranges == [(5, 6)]
    assert missing.next == 10
