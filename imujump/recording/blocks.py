"""Packs a chunk of packets into one compressed block and back, bit for bit.

A block is an LZMA stream without container. Its content: number of packets, the arrivals of
each group of equal packets, the group of each packet, then each group's fields as columns. The
sensor profile guides which bytes form a number; packets that do not fit it stay bytes.
"""

from __future__ import annotations

import lzma
import struct
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from imujump.model import FloatArray
from imujump.recording import columns
from imujump.recording.chunks import PacketChunk, PacketGroup
from imujump.recording.packets import ByteArray, sample_count
from imujump.recording.profiles import PacketProfile

_HEAD = struct.Struct("<IIB")  # packets, groups, arrivals in whole microseconds
_GROUP = struct.Struct("<BIIq")  # sensor, packets, length, usual distance of two arrivals
_FILTERS: list[dict[str, Any]] = [
    {
        "id": lzma.FILTER_LZMA2,
        # Leftovers are noise: far repeats are chance and cost more than they save. The
        # context of the byte before tells quiet stretches from busy ones. Own choice, the
        # best of those tried on standing and run-ups.
        "dict_size": 1 << 12,
        "lc": 3,
        "lp": 0,
        "pb": 0,
        "mode": lzma.MODE_NORMAL,
        "mf": lzma.MF_BT4,
        "nice_len": 64,
    }
]
_LIMIT_BYTES = 1 << 28
_MICROSECOND = 1e6


def pack_chunk(chunk: PacketChunk, profiles: Sequence[PacketProfile]) -> bytes:
    """Pack a chunk into a block.

    Parameters
    ----------
    chunk : PacketChunk
        Packets in arrival order.
    profiles : sequence of PacketProfile
        Each sensor's profile, by sensor number.

    Returns
    -------
    bytes
        The block; the same chunk gives the same bytes.
    """
    count = len(chunk.sensors)
    arrivals, whole = _arrival_numbers(chunk.arrivals_s)
    parts = [
        _HEAD.pack(count, len(chunk.groups), whole),
    ]
    # Which group the next packet belongs to; the group tells its sensor.
    membership = np.zeros(count, dtype=np.uint16)
    for number, group in enumerate(chunk.groups):
        membership[group.positions] = number
        own = arrivals[group.positions]
        step = _usual_step(own)
        parts.append(_GROUP.pack(group.sensor, *group.data.shape, step))
        # Less the even pace of a sensor, arrivals are a level with the radio's jitter.
        parts.append(columns.forward((own - step * np.arange(len(own)))[np.newaxis]))
    parts.append(membership.astype("<u2").view(np.uint8).reshape(count, 2).T.tobytes())
    for group in chunk.groups:
        for field in _group_columns(group.data, profiles[group.sensor]):
            parts.append(columns.forward(field))
    return lzma.compress(b"".join(parts), format=lzma.FORMAT_RAW, filters=_FILTERS)


def unpack_block(block: bytes, profiles: Sequence[PacketProfile]) -> PacketChunk:
    """Undo :func:`pack_chunk`.

    Raises
    ------
    ValueError
        If the block is damaged.
    """
    try:
        decompressor = lzma.LZMADecompressor(format=lzma.FORMAT_RAW, filters=_FILTERS)
        content = decompressor.decompress(block, max_length=_LIMIT_BYTES)
        return _unpacked(_Cursor(content), profiles)
    except (lzma.LZMAError, struct.error, IndexError, MemoryError, OverflowError) as error:
        raise ValueError(f"the block is damaged ({error})") from error


class _Cursor:
    """Hands out a byte string piece by piece."""

    def __init__(self, content: bytes) -> None:
        self._content = content
        self._at = 0

    def take(self, size: int) -> bytes:
        if size > len(self._content) - self._at:
            raise ValueError("the block ends too early")
        piece = self._content[self._at : self._at + size]
        self._at += size
        return piece

    def columns(
        self, count: int, length: int, dtype: np.dtype[np.signedinteger]
    ) -> columns.IntColumns:
        size = columns.packed_size(count, length, dtype.itemsize)
        return columns.backward(self.take(size), count, length, dtype)

    def finish(self) -> None:
        if self._at != len(self._content):
            raise ValueError("the block is too long")


def _unpacked(cursor: _Cursor, profiles: Sequence[PacketProfile]) -> PacketChunk:
    count, group_count, whole = _HEAD.unpack(cursor.take(_HEAD.size))
    heads = []
    paces = []
    for _ in range(group_count):
        sensor, packets, length, step = _GROUP.unpack(cursor.take(_GROUP.size))
        heads.append((sensor, packets, length))
        own = cursor.columns(1, packets, np.dtype(np.int64))[0]
        paces.append(own + step * np.arange(packets))
    planes = np.frombuffer(cursor.take(2 * count), dtype=np.uint8).reshape(2, count)
    membership = planes[0] + planes[1].astype(np.int64) * 256
    sensors = np.zeros(count, dtype=np.uint8)
    arrivals = np.zeros(count, dtype=np.int64)
    groups = []
    for number, (sensor, packets, length) in enumerate(heads):
        positions = np.flatnonzero(membership == number)
        if len(positions) != packets:
            raise ValueError("the block's groups do not fit its packets")
        sensors[positions] = sensor
        arrivals[positions] = paces[number]
        data = _group_bytes(cursor, packets, length, profiles[sensor])
        groups.append(PacketGroup(sensor, positions, data))
    if sum(len(group.positions) for group in groups) != count:
        raise ValueError("the block's groups do not fit its packets")
    cursor.finish()
    arrivals_s = arrivals / _MICROSECOND if whole else arrivals.view(np.float64)
    return PacketChunk(sensors, arrivals_s, tuple(groups))


def _arrival_numbers(arrivals_s: FloatArray) -> tuple[npt.NDArray[np.int64], bool]:
    """Return arrivals (n,) in whole microseconds if that is exact, else their bits."""
    if np.all(np.abs(arrivals_s) < 2**52 / _MICROSECOND):
        ticks = np.rint(arrivals_s * _MICROSECOND).astype(np.int64)
        if (ticks / _MICROSECOND).tobytes() == arrivals_s.tobytes():
            return ticks, True
    return np.ascontiguousarray(arrivals_s).view(np.int64), False


def _usual_step(arrivals: npt.NDArray[np.int64]) -> int:
    """Return the mean distance of arrivals, or 0 where it would leave 32 bits."""
    if len(arrivals) < 2:
        return 0
    step = (int(arrivals[-1]) - int(arrivals[0])) // (len(arrivals) - 1)
    return step if abs(step) < 1 << 31 else 0


def _layout(length: int, profile: PacketProfile) -> list[tuple[int, int, int, int]]:
    """Return runs of fields of one width: (offset, fields, width, samples).

    The header's fields are single runs of one sample, so that counters keep to themselves.
    """
    samples = sample_count(profile, length)
    if samples is None:
        return [(0, length, 1, 1)] if length else []
    runs = []
    offset = 0
    for width in _widths(profile.header):
        runs.append((offset, 1, width, 1))
        offset += width
    for width in _widths(profile.sample):
        if runs and runs[-1][3] == samples and runs[-1][2] == width and samples > 1:
            start, fields, *_ = runs[-1]
            runs[-1] = (start, fields + 1, width, samples)
        else:
            runs.append((offset, 1, width, samples))
        offset += width
    return runs


def _widths(dtype: np.dtype[np.void]) -> list[int]:
    return [dtype[name].itemsize for name in dtype.names or ()]


def _signed(width: int, profile: PacketProfile) -> np.dtype[np.signedinteger]:
    big = any(
        holder[name].byteorder == ">"
        for holder in (profile.header, profile.sample)
        for name in holder.names or ()
    )
    return np.dtype(f"{'>' if big else '<'}i{width}")


def _strided(
    data: ByteArray, run: tuple[int, int, int, int], profile: PacketProfile
) -> npt.NDArray[np.signedinteger]:
    """View a run of fields in packets (m, length) as (m, samples, fields)."""
    offset, fields, width, samples = run
    packets, length = data.shape
    view: npt.NDArray[np.signedinteger] = np.ndarray(
        (packets, samples, fields),
        dtype=_signed(width, profile),
        buffer=data.data,
        offset=offset,
        strides=(length, profile.sample.itemsize, width),
    )
    return view


def _group_columns(data: ByteArray, profile: PacketProfile) -> list[npt.NDArray[np.signedinteger]]:
    data = np.ascontiguousarray(data)
    fields = []
    for run in _layout(data.shape[1], profile):
        view = _strided(data, run, profile)
        column = view.reshape(-1, run[1]).T
        fields.append(np.ascontiguousarray(column, dtype=column.dtype.newbyteorder("=")))
    return fields


def _group_bytes(cursor: _Cursor, packets: int, length: int, profile: PacketProfile) -> ByteArray:
    if packets * length > _LIMIT_BYTES:
        raise ValueError("the block states more bytes than it can hold")
    data = np.zeros((packets, length), dtype=np.uint8)
    for run in _layout(length, profile):
        _, fields, width, samples = run
        column = cursor.columns(fields, packets * samples, np.dtype(f"=i{width}"))
        _strided(data, run, profile)[...] = column.T.reshape(packets, samples, fields)
    return data
