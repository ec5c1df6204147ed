"""Samples to the bytes a sensor would send, by any profile."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from imujump.capture.link_profile import LinkProfile
from imujump.model import FloatArray, IntArray
from imujump.recording.packets import packet_dtype
from imujump.recording.profiles import CHANNELS, channel_factors

ATT_NOTIFICATION_BYTES = 3
"""Opcode and handle in front of a notified value (Bluetooth Core, Vol 3 Part F, 3.4.7.1)."""


def samples_that_fit(profile: LinkProfile, mtu: int, wanted: int) -> int:
    """Return how many samples a packet may hold at that MTU.

    Examples
    --------
    >>> from imujump.capture.profile_book import own_profile
    >>> [samples_that_fit(own_profile(), mtu, 99) for mtu in (23, 185, 247)]
    [1, 14, 19]
    """
    room = mtu - ATT_NOTIFICATION_BYTES - profile.packet.header.itemsize
    return max(1, min(wanted, room // profile.packet.sample.itemsize))


class PacketMaker:
    """Encodes one packet at a time: what a sensor's firmware does.

    Parameters
    ----------
    profile : LinkProfile
        The sensor's profile.
    """

    def __init__(self, profile: LinkProfile) -> None:
        self._profile = profile
        packet = profile.packet
        self._columns = list(packet.channels)
        self._names = [CHANNELS[channel] for channel in packet.channels]
        self._factors = channel_factors(packet)
        kinds = [packet.sample[name] for name in self._names]
        self._whole = all(np.issubdtype(kind, np.integer) for kind in kinds)
        if self._whole:
            limits = [np.iinfo(kind) for kind in kinds]
            self._lowest = np.array([limit.min for limit in limits], dtype=np.float64)
            self._highest = np.array([limit.max for limit in limits], dtype=np.float64)
        # A counter that wraps is its low bits, whatever its sign.
        self._masks = {
            name: (1 << 8 * holder[name].itemsize) - 1
            for holder in (packet.header, packet.sample)
            for name in ("tick", "sequence")
            if name in (holder.names or ())
        }

    def packet(
        self, ticks: IntArray, index: int, values: FloatArray, first_number: int | None = None
    ) -> bytes:
        """Encode one packet.

        Parameters
        ----------
        ticks : (n,) int64
            Device ticks, unwrapped.
        index : int
            Packet index since boot.
        values : (n, 6) float64
            SI values.
        first_number : int, optional
            Sample number of the first sample, to stand in place of the first channel's raw
            value (its low bits), so that lost and doubled samples show.
        """
        layout = self._profile.packet
        packet = np.zeros(1, dtype=packet_dtype(layout, len(ticks)))
        header, rows = packet["header"][0], packet["samples"][0]
        if layout.tick_in == "sample":
            rows["tick"] = ticks & self._masks["tick"]
        else:
            header["tick"] = int(ticks[0]) & self._masks["tick"]
        names = layout.header.names or ()
        if "sequence" in names:
            header["sequence"] = index & self._masks["sequence"]
        if "count" in names:
            header["count"] = len(ticks)
        raw = values[:, self._columns] / self._factors
        clipped = False
        if self._whole:
            raw = np.rint(raw)
            clipped = bool(np.any((raw >= self._highest) | (raw <= self._lowest)))
            raw = np.clip(raw, self._lowest, self._highest)
        for column, name in enumerate(self._names):
            rows[name] = raw[:, column]
        if first_number is not None:
            kind = layout.sample[self._names[0]]
            numbers = np.arange(first_number, first_number + len(ticks), dtype=np.uint64)
            unsigned = numbers.astype(f"u{kind.itemsize}")
            rows[self._names[0]] = unsigned.view(f"i{kind.itemsize}") if self._whole else numbers
        data = packet.tobytes()
        return with_flags(self._profile, data, ["range"]) if clipped else data


def with_flags(profile: LinkProfile, data: bytes, names: Iterable[str]) -> bytes:
    """Return a packet with more flags set in its header."""
    bits = sum(1 << profile.stream_flags[name] for name in names if name in profile.stream_flags)
    if not bits:
        return data
    changed = np.frombuffer(bytearray(data), dtype=np.uint8)
    header = changed[: profile.packet.header.itemsize].view(profile.packet.header)
    header["flags"] |= bits
    return changed.tobytes()
