"""Packets in the order of measurement to sample batches: decoded, counters unwrapped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from imujump.errors import BadPacketError
from imujump.model import BoolArray, FloatArray, IntArray, Placement, SampleBatch
from imujump.recording.chunks import PacketChunk
from imujump.recording.packets import DecodedPackets, decode_packets, unwrap_counter
from imujump.recording.profiles import PacketProfile


class ChunkDecoder:
    """Turns packet chunks into batches, one a packet; how they are cut makes no difference.

    Parameters
    ----------
    sensors : sequence of (Placement, PacketProfile)
        By sensor number.
    """

    def __init__(self, sensors: Sequence[tuple[Placement, PacketProfile]]) -> None:
        self._streams = [_Stream(place, profile) for place, profile in sensors]

    def decode(self, chunk: PacketChunk, due_s: FloatArray | None = None) -> Iterator[SampleBatch]:
        """Decode a chunk that follows the one before it; packets without new samples drop out.

        Parameters
        ----------
        chunk : PacketChunk
            Each sensor's packets in the order of measurement.
        due_s : (packets,), optional
            When each packet would have arrived had nothing held it up, by which whole turns
            of the tick counter are told; the arrivals by default.
        """
        due_s = chunk.arrivals_s if due_s is None else due_s
        batches: list[SampleBatch | None] = [None] * len(chunk.sensors)
        for number, stream in enumerate(self._streams):
            decoded: list[tuple[IntArray, DecodedPackets]] = []
            for group in chunk.groups:
                if group.sensor != number:
                    continue
                try:
                    decoded.append((group.positions, decode_packets(stream.profile, group.data)))
                except BadPacketError as error:
                    stream.bad_packets += len(group.positions)
                    stream.problems.append(error.problem)
            if decoded:
                _fill(batches, chunk.arrivals_s, due_s, stream, decoded)
        return (batch for batch in batches if batch is not None)

    def begin_segment(self, sensor: int, segment: int) -> None:
        """Begin a new count of ticks: the sensor started anew before its next packet."""
        stream = self._streams[sensor]
        stream.segment = segment
        stream.last_raw = stream.last_tick = None

    def placed_tick(self, sensor: int, tick: int, time_s: float) -> int:
        """Return a reading of the sensor's counter on the axis of its batches' ticks.

        A reading before the segment's first packet sets the axis.
        """
        stream = self._streams[sensor]
        bits = stream.profile.tick_bits
        if bits >= 64:
            return tick
        turn = 1 << bits
        if stream.last_raw is None:
            stream.last_raw, stream.last_due_s = tick % turn, time_s
            return stream.last_raw
        due = stream.last_raw + round((time_s - stream.last_due_s) / stream.profile.tick_s)
        return due - (due - tick + turn // 2) % turn + turn // 2

    def leave_out(self, sensor: int, samples: int) -> None:
        """Count samples that were left out before they came here."""
        self._streams[sensor].known_samples += samples

    def warnings(self) -> list[str]:
        """Return what was left out so far, one sentence each."""
        return [text for stream in self._streams for text in stream.warnings()]


@dataclass(slots=True)
class _Stream:
    """What is remembered of a sensor from chunk to chunk."""

    placement: Placement
    profile: PacketProfile
    segment: int = 0
    samples: int = 0
    last_raw: int | None = None
    last_due_s: float = 0.0
    last_tick: int | None = None
    bad_packets: int = 0
    known_samples: int = 0
    problems: list[str] = field(default_factory=list)

    def warnings(self) -> list[str]:
        """Return what was left out, one sentence each."""
        place = self.placement
        found = []
        if self.bad_packets:
            found.append(
                f"{place}: {self.bad_packets} packets do not fit the sensor profile and were "
                f"left out ({self.problems[0]})"
            )
        if self.known_samples:
            found.append(
                f"{place}: {self.known_samples} samples arrived twice or too late and were left out"
            )
        if not self.samples:
            found.append(f"{place} has no samples")
        return found


def _fill(
    batches: list[SampleBatch | None],
    arrivals_s: FloatArray,
    due_s: FloatArray,
    stream: _Stream,
    decoded: list[tuple[IntArray, DecodedPackets]],
) -> None:
    """Enter one sensor's batches at their positions."""
    positions = np.concatenate([places for places, _ in decoded])
    order = np.argsort(positions, kind="stable")
    counts = np.concatenate(
        [np.full(len(places), packets.raw_ticks.shape[1]) for places, packets in decoded]
    )[order]
    first_raw = np.concatenate([packets.raw_ticks[:, 0] for _, packets in decoded])[order]
    first_ticks = _unwrapped(stream, first_raw, due_s[positions[order]])
    shift = np.empty_like(first_ticks)
    shift[order] = first_ticks - first_raw
    # All samples of the chunk in the order of arrival, as one table.
    starts = np.concatenate(([0], np.cumsum(counts)))
    ticks = np.empty(starts[-1], dtype=np.int64)
    values = np.empty((starts[-1], 6))
    place_of = np.empty(len(order), dtype=np.int64)
    place_of[order] = np.arange(len(order))
    done = 0
    for places, packets in decoded:
        mine = slice(done, done + len(places))
        done += len(places)
        rows = starts[place_of[mine]][:, np.newaxis] + np.arange(packets.raw_ticks.shape[1])
        ticks[rows] = packets.raw_ticks + shift[mine][:, np.newaxis]
        values[rows] = packets.values
    fresh = _increasing(ticks, stream.last_tick)
    stream.known_samples += len(ticks) - int(np.count_nonzero(fresh))
    packet_of = np.repeat(np.arange(len(order)), counts)[fresh]
    ticks, values = ticks[fresh], values[fresh]
    accel_mps2 = np.ascontiguousarray(values[:, :3])
    gyro_radps = np.ascontiguousarray(values[:, 3:])
    edges = np.searchsorted(packet_of, np.arange(len(order) + 1)).tolist()
    for number, position in enumerate(positions[order].tolist()):
        first, end = edges[number], edges[number + 1]
        if first == end:
            continue
        batches[position] = SampleBatch(
            placement=stream.placement,
            first_index=stream.samples + first,
            ticks=ticks[first:end],
            arrival_s=float(arrivals_s[position]),
            accel_mps2=accel_mps2[first:end],
            gyro_radps=gyro_radps[first:end],
            segment=stream.segment,
        )
    stream.samples += len(ticks)
    if len(ticks):
        stream.last_tick = int(ticks[-1])


def _unwrapped(stream: _Stream, first_raw: IntArray, due_s: FloatArray) -> IntArray:
    """Unwrap the first tick of each packet, with the host's clock to tell whole turns."""
    profile = stream.profile
    waited_s = np.diff(due_s, prepend=stream.last_due_s)
    ticks = unwrap_counter(first_raw, profile.tick_bits, stream.last_raw, waited_s / profile.tick_s)
    stream.last_raw = int(ticks[-1])
    stream.last_due_s = float(due_s[-1])
    return ticks


def _increasing(ticks: IntArray, last: int | None) -> BoolArray:
    """Tell which ticks are higher than all before them."""
    lowest = np.iinfo(np.int64).min if last is None else last
    before = np.maximum.accumulate(np.concatenate(([lowest], ticks[:-1])))
    fresh: BoolArray = ticks > before
    return fresh
