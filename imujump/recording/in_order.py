"""Captured packets, rows and clock readings to samples in the order of measurement.

A sensor that can send again what was missed delivers its packets out of order. Here those
behind a hole wait until the hole is filled or given up (a ``GAP`` row), while the other
sensors go on. Waiting packets count as arrived when they are let go. All is decided by what
was captured in the order of its stamps, so a recording gives the batches that were had live.
"""

from __future__ import annotations

import math
import re
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from imujump.model import ClockReading, FloatArray, Placement, SampleBatch
from imujump.recording.captured import CapturedPacket
from imujump.recording.chunks import Packet, PacketChunk, chunk_from_packets
from imujump.recording.clock_rows import clock_reading
from imujump.recording.decoding import ChunkDecoder
from imujump.recording.format import StatusChange, StatusKind
from imujump.recording.packets import packet_dtype, sample_count
from imujump.recording.profiles import PacketProfile
from imujump.recording.sequence import Arrival, MissingNumbers, PacketNumbers, has_sequence

LONGEST_HOLD_S = 20.0
"""Packets never wait longer for a hole to be filled, should its GAP row have been lost: longer
than any replay takes (own choice)."""

_RANGE = re.compile(r"(?:asked|lost)=(\d{1,12})-(\d{1,12})", re.ASCII)

_NEXT = re.compile(r"next=(\d{1,12})", re.ASCII)

Entry = SampleBatch | ClockReading
"""What an engine takes."""


def number_range(detail: str) -> tuple[int, int] | None:
    """Return first and last packet number of a ``GAP`` or ``REPLAY`` row's detail, if any.

    Examples
    --------
    >>> number_range("lost=12-40"), number_range("recovered=3")
    ((12, 40), None)
    """
    found = _RANGE.match(detail)
    return (int(found[1]), int(found[2])) if found else None


class SampleOrder:
    """Returns samples and clock readings in order, from captured things in order.

    Parameters
    ----------
    sensors : sequence of (Placement, PacketProfile)
        The session's sensors, each placement once.
    """

    def __init__(self, sensors: Sequence[tuple[Placement, PacketProfile]]) -> None:
        self._numbers = {place: number for number, (place, _) in enumerate(sensors)}
        self._decoder = ChunkDecoder(sensors)
        self._lines = [_Line(number, profile) for number, (_, profile) in enumerate(sensors)]

    def take(self, entry: CapturedPacket | ClockReading | StatusChange) -> list[Entry]:
        """Take the next thing captured; return what is now certain to come next."""
        if isinstance(entry, CapturedPacket):
            line = self._lines[self._numbers[entry.placement]]
            packet = Packet(line.sensor, entry.arrival_s, entry.data)
            return list(self._decoded(line.arrive(packet)))
        reading = entry if isinstance(entry, ClockReading) else clock_reading(entry)
        if reading is not None:
            return [self._placed(reading)]
        assert isinstance(entry, StatusChange)
        released: list[Entry] = list(self._decoded(self._released_by(entry)))
        self._begin_segment_if_due(entry)
        return released

    def take_chunk(self, chunk: PacketChunk, rows: Iterable[StatusChange]) -> Iterator[Entry]:
        """Take many packets and the rows stamped before the last of them, like :meth:`take`."""
        notes = sorted(rows, key=lambda row: row.time_s)
        readings = [reading for row in notes if (reading := clock_reading(row))]
        turns = deque(row for row in notes if row.kind in _TURNS)
        runs = [] if turns else [line.run(chunk) for line in self._lines]
        if runs and all(run is not None for run in runs):
            for line, run in zip(self._lines, runs, strict=True):
                line.run_on(run or _Run())
            yield from self._merged(chunk, None, readings)
            return
        ready: list[_Ready] = []
        for packet in chunk.packets:
            while turns and turns[0].time_s <= packet.arrival_s:
                row = turns.popleft()
                ready += self._released_by(row)
                if row.kind is StatusKind.REBOOT:
                    early = [r for r in readings if r.received_s <= row.time_s]
                    readings = readings[len(early) :]
                    yield from self._merged(*_joined(ready), early)
                    ready = []
                    self._begin_segment_if_due(row)
            ready += self._lines[packet.sensor].arrive(packet)
        yield from self._merged(*_joined(ready), readings)
        for row in turns:
            yield from self.take(row)

    def finish(self) -> list[Entry]:
        """Let go of what still waits, at the end of the session."""
        return list(self._decoded([ready for line in self._lines for ready in line.let_go_all()]))

    def warnings(self) -> list[str]:
        """Return what was left out so far, one sentence each."""
        for line in self._lines:
            self._decoder.leave_out(line.sensor, line.known_samples)
            line.known_samples = 0
        return self._decoder.warnings()

    def _released_by(self, row: StatusChange) -> list[_Ready]:
        """Return the packets that a row lets go."""
        if row.placement is None:
            return []
        line = self._lines[self._numbers[row.placement]]
        if row.kind is StatusKind.CONNECT:
            line.connect(row)
        elif row.kind is StatusKind.GAP:
            return line.give_up(row)
        elif row.kind is StatusKind.REBOOT:
            return line.restart(row.time_s)
        return []

    def _begin_segment_if_due(self, row: StatusChange) -> None:
        if row.kind is StatusKind.REBOOT and row.placement is not None:
            line = self._lines[self._numbers[row.placement]]
            line.segment += 1
            self._decoder.begin_segment(line.sensor, line.segment)

    def _placed(self, reading: ClockReading) -> ClockReading:
        """Set a reading on the axis of its sensor's ticks."""
        line = self._lines[self._numbers[reading.placement]]
        tick = self._decoder.placed_tick(line.sensor, reading.tick, reading.received_s)
        return replace(reading, tick=tick, segment=line.segment)

    def _decoded(self, ready: list[_Ready]) -> Iterator[SampleBatch]:
        return self._decoder.decode(*_joined(ready))

    def _merged(
        self, chunk: PacketChunk, due_s: FloatArray | None, readings: Sequence[ClockReading]
    ) -> Iterator[Entry]:
        """Decode a chunk and put readings between the batches by their stamps."""
        senders, firsts = np.unique(chunk.sensors, return_index=True)
        first_s = dict(zip(senders.tolist(), chunk.arrivals_s[firsts].tolist(), strict=True))
        for reading in readings:
            # One that precedes its sensor's packets must do so before they are decoded at once.
            sensor = self._numbers[reading.placement]
            if reading.received_s < first_s.get(sensor, math.inf):
                self._placed(reading)
        waiting = deque(readings)
        for batch in self._decoder.decode(chunk, due_s):
            while waiting and waiting[0].received_s < batch.arrival_s:
                yield self._placed(waiting.popleft())
            yield batch
        for reading in waiting:
            yield self._placed(reading)


def _joined(ready: Sequence[_Ready]) -> tuple[PacketChunk, FloatArray]:
    """Make a chunk of packets whose turn it is, and give when they were due."""
    due_s = np.array([each.due_s for each in ready], dtype=np.float64)
    return chunk_from_packets([each.packet for each in ready]), due_s


_TURNS = frozenset({StatusKind.CONNECT, StatusKind.GAP, StatusKind.REBOOT})
"""Rows that change how packets are put in order."""


@dataclass(frozen=True, slots=True)
class _Ready:
    """A packet whose turn it is, and when it would have come had nothing held it up."""

    packet: Packet
    due_s: float


@dataclass(frozen=True, slots=True)
class _Run:
    """Packets of one sensor that follow each other without a hole."""

    packets: int = 0
    last_arrival_s: float = 0.0


class _Line:
    """The packets of one sensor, in the order of their numbers."""

    def __init__(self, sensor: int, profile: PacketProfile) -> None:
        self.sensor = sensor
        self.segment = 0
        self.known_samples = 0
        self._profile = profile
        self._numbers = PacketNumbers(profile) if has_sequence(profile) else None
        self._missing = MissingNumbers()
        self._held: dict[int, _Ready] = {}
        self._held_since_s = 0.0
        # Without replays a hole stays one, and there is nothing to wait for.
        self._refills = False

    def connect(self, row: StatusChange) -> None:
        """Learn what the sensor can do, and where its count begins if it is new."""
        if self._numbers is None:
            return
        self._refills = "replay=yes" in row.detail
        told = _NEXT.search(row.detail)
        if told is not None and self._missing.next is None:
            self._numbers.restart(int(told[1]), row.time_s)
            self._missing.next = int(told[1])

    def arrive(self, packet: Packet) -> list[_Ready]:
        """Enter a packet; return those whose turn it now is."""
        numbers = self._numbers
        raw = numbers.raw(packet.data) if numbers is not None and self._refills else None
        if numbers is None or raw is None:
            return [_Ready(packet, packet.arrival_s)]
        number = numbers.number(raw, packet.arrival_s)
        if self._missing.arrive(number) is Arrival.KNOWN:
            self.known_samples += sample_count(self._profile, len(packet.data)) or 0
            return []
        ready = _Ready(packet, numbers.due_s(number))
        if not self._held and not self._missing.ranges:
            return [ready]
        if not self._held:
            self._held_since_s = packet.arrival_s
        self._held[number] = ready
        if packet.arrival_s > self._held_since_s + LONGEST_HOLD_S:
            self._missing.ranges.clear()
        return self._let_go(packet.arrival_s)

    def give_up(self, row: StatusChange) -> list[_Ready]:
        """Take note that packets will not come; return those that waited for them."""
        lost = number_range(row.detail)
        if lost is None or self._numbers is None or self._missing.next is None:
            return []
        first = self._numbers.placed(lost[0], row.time_s)
        self._missing.give_up(first, first + lost[1] - lost[0])
        return self._let_go(row.time_s)

    def restart(self, time_s: float) -> list[_Ready]:
        """Begin a new count; return what waited of the old one."""
        self._missing = MissingNumbers()
        if self._numbers is not None:
            self._numbers.restart()
        return self.let_go_all(time_s)

    def let_go_all(self, time_s: float | None = None) -> list[_Ready]:
        """Return all packets that wait."""
        self._missing.ranges.clear()
        if time_s is None:
            time_s = max((r.packet.arrival_s for r in self._held.values()), default=0.0)
        return self._let_go(time_s, everything=True)

    def run(self, chunk: PacketChunk) -> _Run | None:
        """Return this sensor's part of a chunk if it is in order as it stands."""
        groups = [group for group in chunk.groups if group.sensor == self.sensor]
        if not self._refills or not groups:
            return _Run()
        if self._numbers is None or self._held or self._missing.ranges:
            return None
        raw = np.empty(len(chunk.sensors), dtype=np.int64)
        for group in groups:
            samples = sample_count(self._profile, group.data.shape[1])
            if samples is None:
                return None
            packets = np.ascontiguousarray(group.data).view(packet_dtype(self._profile, samples))
            raw[group.positions] = packets["header"]["sequence"][:, 0]
        own = np.flatnonzero(chunk.sensors == self.sensor)
        turn = 1 << 8 * self._profile.header["sequence"].itemsize
        in_order = bool(np.all(np.diff(raw[own]) % turn == 1))
        if not in_order or not self._numbers.follows(int(raw[own[0]])):
            return None
        return _Run(len(own), float(chunk.arrivals_s[own[-1]]))

    def run_on(self, run: _Run) -> None:
        """Enter a stretch that is in order as it stands."""
        if run.packets and self._numbers is not None:
            self._numbers.advance(run.packets, run.last_arrival_s)
            self._missing.next = (self._missing.next or 0) + run.packets

    def _let_go(self, time_s: float, everything: bool = False) -> list[_Ready]:
        below = self._missing.complete_below
        free = sorted(number for number in self._held if everything or number < below)
        ready = [self._held.pop(number) for number in free]
        if self._held:
            self._held_since_s = min(r.packet.arrival_s for r in self._held.values())
        return [replace(each, packet=replace(each.packet, arrival_s=time_s)) for each in ready]
