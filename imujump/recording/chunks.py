"""A stretch of received packets, grouped so that equal packets can be handled as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from imujump.model import FloatArray, IntArray
from imujump.recording.packets import ByteArray


@dataclass(frozen=True, slots=True)
class Packet:
    """One packet as received: sensor number, arrival and bytes.

    ``sensor`` counts the recording's sensors from 0; ``arrival_s`` is the host's monotonic
    time from the session's start.
    """

    sensor: int
    arrival_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class PacketGroup:
    """The packets of one sensor and one length within a chunk.

    ``positions`` (m,) are their places in the chunk, ascending; ``data`` is (m, length).
    """

    sensor: int
    positions: IntArray
    data: ByteArray


@dataclass(frozen=True, slots=True)
class PacketChunk:
    """Consecutive packets of all sensors in arrival order, n of them.

    ``sensors`` (n,) and ``arrivals_s`` (n,) follow that order; each packet's bytes lie in
    the group that lists its position.
    """

    sensors: npt.NDArray[np.uint8]
    arrivals_s: FloatArray
    groups: tuple[PacketGroup, ...]

    @property
    def packets(self) -> list[Packet]:
        """The packets one by one, as received."""
        data: list[bytes] = [b""] * len(self.sensors)
        for group in self.groups:
            for position, row in zip(group.positions.tolist(), group.data, strict=True):
                data[position] = row.tobytes()
        return [
            Packet(sensor, arrival_s, payload)
            for sensor, arrival_s, payload in zip(
                self.sensors.tolist(), self.arrivals_s.tolist(), data, strict=True
            )
        ]


def chunk_from_packets(packets: Sequence[Packet]) -> PacketChunk:
    """Group packets by sensor and length; groups come in a fixed order.

    Examples
    --------
    >>> chunk = chunk_from_packets([Packet(1, 0.5, b"ab"), Packet(0, 0.6, b"c")])
    >>> [(group.sensor, group.data.shape) for group in chunk.groups]
    [(0, (1, 1)), (1, (1, 2))]
    >>> chunk.packets[0]
    Packet(sensor=1, arrival_s=0.5, data=b'ab')
    """
    return chunk_of(
        [packet.sensor for packet in packets],
        [packet.arrival_s for packet in packets],
        [packet.data for packet in packets],
    )


def chunk_of(
    sensors: Sequence[int], arrivals_s: Sequence[float], payloads: Sequence[bytes]
) -> PacketChunk:
    """Group packets given as columns, like :func:`chunk_from_packets`."""
    places: dict[tuple[int, int], list[int]] = {}
    for position, kind in enumerate(zip(sensors, map(len, payloads), strict=True)):
        places.setdefault(kind, []).append(position)
    groups = []
    for (sensor, length), positions in sorted(places.items()):
        joined = b"".join([payloads[position] for position in positions])
        data = np.frombuffer(joined, dtype=np.uint8).reshape(len(positions), length)
        groups.append(PacketGroup(sensor, np.array(positions, dtype=np.int64), data))
    return PacketChunk(
        sensors=np.array(sensors, dtype=np.uint8),
        arrivals_s=np.array(arrivals_s, dtype=np.float64),
        groups=tuple(groups),
    )
