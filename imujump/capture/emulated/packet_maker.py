"""Samples to the bytes a sensor would send, by any profile."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from imujump.capture.link_profile import LinkProfile
from imujump.model import FloatArray, IntArray
from imujump.recording.packets import encode_packets, packet_dtype
from imujump.recording.profiles import CHANNELS

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


def make_packet(
    profile: LinkProfile,
    ticks: IntArray,
    index: int,
    values: FloatArray,
    first_number: int | None = None,
) -> bytes:
    """Encode one packet.

    Parameters
    ----------
    profile : LinkProfile
        The sensor's profile.
    ticks : (n,) int64
        Device ticks, unwrapped.
    index : int
        Packet index since boot.
    values : (n, 6) float64
        SI values.
    first_number : int, optional
        Sample number of the first sample, to stand in place of the first channel's raw value
        (its low bits), so that lost and doubled samples show.
    """
    raw = encode_packets(
        profile.packet, ticks[np.newaxis], np.array([index], dtype=np.int64), values[np.newaxis]
    )
    packet = raw.view(packet_dtype(profile.packet, len(ticks)))[0]
    rows = packet["samples"][0]
    if first_number is not None:
        name = CHANNELS[profile.packet.channels[0]]
        kind = profile.packet.sample[name]
        numbers = np.arange(first_number, first_number + len(ticks), dtype=np.int64)
        if np.issubdtype(kind, np.integer):
            # Wraps as two's complement does.
            numbers = (
                numbers.astype(np.uint64).astype(f"u{kind.itemsize}").view(f"i{kind.itemsize}")
            )
        rows[name] = numbers
    if "range" in profile.stream_flags and _at_the_end(profile, rows):
        return with_flags(profile, raw.tobytes(), ["range"])
    return raw.tobytes()


def with_flags(profile: LinkProfile, data: bytes, names: Iterable[str]) -> bytes:
    """Return a packet with more flags set in its header."""
    bits = sum(1 << profile.stream_flags[name] for name in names if name in profile.stream_flags)
    if not bits:
        return data
    changed = np.frombuffer(bytearray(data), dtype=np.uint8)
    header = changed[: profile.packet.header.itemsize].view(profile.packet.header)
    header["flags"] |= bits
    return changed.tobytes()


def _at_the_end(profile: LinkProfile, rows: npt.NDArray[np.void]) -> bool:
    for channel in profile.packet.channels:
        name = CHANNELS[channel]
        kind = profile.packet.sample[name]
        if np.issubdtype(kind, np.integer):
            limits = np.iinfo(kind)
            if rows[name].max() >= limits.max or rows[name].min() <= limits.min:
                return True
    return False
