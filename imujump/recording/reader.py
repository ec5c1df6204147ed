"""Reads a recording file as a sample source: packets decoded, counters unwrapped."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from imujump.errors import BadPacketError
from imujump.model import (
    BoolArray,
    FloatArray,
    IntArray,
    Placement,
    RecordingInfo,
    SampleBatch,
    SensorInfo,
)
from imujump.recording.chunks import Packet, PacketChunk
from imujump.recording.content import RecordingContent, StoredSensor
from imujump.recording.format import StatusChange
from imujump.recording.packets import DecodedPackets, decode_packets, unwrap_counter
from imujump.recording.profiles import PacketProfile


class RecordingReader:
    """A :class:`imujump.model.SampleSource` over a recording file.

    Parameters
    ----------
    path : Path or str
        A recording, closed or left over by a killed writer.

    Raises
    ------
    RecordingError
        If the file is no recording; :class:`imujump.errors.VersionError` if it is too new;
        :class:`imujump.errors.CorruptError` if it is damaged.

    Notes
    -----
    Each packet becomes one batch, in arrival order. Samples that were already received (a
    packet sent again, or one that arrives after newer ones) are left out, since ticks must
    increase; packets that do not fit the profile are left out as well. Both are counted in
    ``info.warnings``, complete after the last batch. All packets as received are in
    :meth:`packets`.
    """

    def __init__(self, path: Path | str) -> None:
        self._content = RecordingContent(Path(path))
        self._info = RecordingInfo(
            sensors=tuple(_sensor_info(sensor) for sensor in self._content.sensors),
            started_utc=self._content.started_utc,
            marks=self._content.marks,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def info(self) -> RecordingInfo:
        """The head of the recording; its warnings are complete after the last batch."""
        return self._info

    @property
    def profiles(self) -> dict[Placement, PacketProfile]:
        """Each sensor's packet profile."""
        return {sensor.placement: sensor.profile for sensor in self._content.sensors}

    @property
    def changes(self) -> tuple[StatusChange, ...]:
        """The status changes in the order of their entry."""
        return self._content.changes

    def close(self) -> None:
        """Close the file."""
        self._content.close()

    def packets(self) -> Iterator[Packet]:
        """Yield every packet exactly as received, in arrival order."""
        for chunk in self._content.chunks():
            yield from chunk.packets

    def batches(self) -> Iterator[SampleBatch]:
        """Yield all samples, a packet at a time in arrival order."""
        streams = [_Stream(sensor) for sensor in self._content.sensors]
        for chunk in self._content.chunks():
            yield from _chunk_batches(chunk, streams)
        late = [text for stream in streams for text in stream.warnings()]
        fresh = [text for text in late if text not in self._info.warnings]
        self._info = replace(self._info, warnings=(*self._info.warnings, *fresh))


@dataclass(slots=True)
class _Stream:
    """What is remembered of a sensor from chunk to chunk."""

    sensor: StoredSensor
    samples: int = 0
    last_raw: int | None = None
    last_arrival_s: float = 0.0
    last_tick: int | None = None
    bad_packets: int = 0
    known_samples: int = 0
    problems: list[str] = field(default_factory=list)

    def warnings(self) -> list[str]:
        """Return what was left out, one sentence each."""
        place = self.sensor.placement
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


def _chunk_batches(chunk: PacketChunk, streams: list[_Stream]) -> Iterator[SampleBatch]:
    batches: list[SampleBatch | None] = [None] * len(chunk.sensors)
    for number, stream in enumerate(streams):
        decoded: list[tuple[IntArray, DecodedPackets]] = []
        for group in chunk.groups:
            if group.sensor != number:
                continue
            try:
                decoded.append((group.positions, decode_packets(stream.sensor.profile, group.data)))
            except BadPacketError as error:
                stream.bad_packets += len(group.positions)
                stream.problems.append(error.problem)
        if decoded:
            _fill(batches, chunk.arrivals_s, stream, decoded)
    return (batch for batch in batches if batch is not None)


def _fill(
    batches: list[SampleBatch | None],
    arrivals_s: FloatArray,
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
    first_ticks = _unwrapped(stream, first_raw, arrivals_s[positions[order]])
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
            placement=stream.sensor.placement,
            first_index=stream.samples + first,
            ticks=ticks[first:end],
            arrival_s=float(arrivals_s[position]),
            accel_mps2=accel_mps2[first:end],
            gyro_radps=gyro_radps[first:end],
        )
    stream.samples += len(ticks)
    if len(ticks):
        stream.last_tick = int(ticks[-1])


def _unwrapped(stream: _Stream, first_raw: IntArray, arrivals_s: FloatArray) -> IntArray:
    """Unwrap the first tick of each packet, with the arrivals to tell whole turns."""
    profile = stream.sensor.profile
    waited_s = np.diff(arrivals_s, prepend=stream.last_arrival_s)
    ticks = unwrap_counter(first_raw, profile.tick_bits, stream.last_raw, waited_s / profile.tick_s)
    stream.last_raw = int(ticks[-1])
    stream.last_arrival_s = float(arrivals_s[-1])
    return ticks


def _increasing(ticks: IntArray, last: int | None) -> BoolArray:
    """Tell which ticks are higher than all before them."""
    lowest = np.iinfo(np.int64).min if last is None else last
    before = np.maximum.accumulate(np.concatenate(([lowest], ticks[:-1])))
    fresh: BoolArray = ticks > before
    return fresh


def _sensor_info(sensor: StoredSensor) -> SensorInfo:
    return SensorInfo(
        placement=sensor.placement,
        sensor_id=sensor.serial,
        rate_hz=sensor.profile.rate_hz,
        tick_s=sensor.profile.tick_s,
        accel_range_mps2=sensor.profile.accel_range_mps2,
        gyro_range_radps=sensor.profile.gyro_range_radps,
    )
