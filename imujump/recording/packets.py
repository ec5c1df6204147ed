"""Packet bytes to SI samples and back, by a sensor profile; pure and vectorised.

A packet is a header and a whole number of samples. Many packets of one length are handled at
once as an array of bytes (packets, length).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from imujump.errors import BadPacketError
from imujump.model import FloatArray, IntArray
from imujump.recording.profiles import CHANNELS, PacketProfile, channel_factors

ByteArray = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class DecodedPackets:
    """Equally long packets in SI units.

    ``raw_ticks`` (packets, samples) holds the counter as sent, extended over the samples but
    not unwrapped; ``sequence`` (packets,) the packet counter as sent, or None. ``values``
    (packets, samples, 6) follows :data:`imujump.recording.profiles.CHANNELS`, NaN where the
    sensor has no such channel.
    """

    raw_ticks: IntArray
    sequence: IntArray | None
    values: FloatArray


def sample_count(profile: PacketProfile, length: int) -> int | None:
    """Return how many samples a packet of ``length`` bytes holds, or None if it cannot be one.

    Examples
    --------
    >>> from imujump.recording.profiles import compact_profile
    >>> sample_count(compact_profile(100.0), 126), sample_count(compact_profile(100.0), 127)
    (10, None)
    """
    samples, rest = divmod(length - profile.header.itemsize, profile.sample.itemsize)
    return samples if samples > 0 and rest == 0 else None


def packet_dtype(profile: PacketProfile, samples: int) -> np.dtype[np.void]:
    """Return the structured dtype of a packet with that many samples."""
    return np.dtype([("header", profile.header), ("samples", profile.sample, (samples,))])


def decode_packets(profile: PacketProfile, data: ByteArray) -> DecodedPackets:
    """Decode equally long packets.

    Parameters
    ----------
    profile : PacketProfile
        What the bytes mean.
    data : (packets, length) uint8
        The packets as received.

    Returns
    -------
    DecodedPackets
        SI values and counters.

    Raises
    ------
    BadPacketError
        If the length does not fit the profile, or a header states another sample count.
    """
    samples = sample_count(profile, data.shape[1])
    if samples is None:
        raise BadPacketError(
            profile.name,
            f"a packet of {data.shape[1]} bytes does not hold a header of "
            f"{profile.header.itemsize} and samples of {profile.sample.itemsize} bytes",
            "check the sensor profile",
        )
    packets = np.ascontiguousarray(data).view(packet_dtype(profile, samples))[:, 0]
    header, rows = packets["header"], packets["samples"]
    names = profile.header.names or ()
    if "count" in names and np.any(header["count"] != samples):
        raise BadPacketError(
            profile.name,
            f"a packet with room for {samples} samples states another count",
            "check the sensor profile",
        )
    if profile.tick_in == "sample":
        raw_ticks = rows["tick"].astype(np.int64)
    else:
        offsets = np.rint(np.arange(samples) * profile.ticks_per_sample).astype(np.int64)
        raw_ticks = header["tick"].astype(np.int64)[:, np.newaxis] + offsets
    values = np.full((*rows.shape, len(CHANNELS)), np.nan)
    with np.errstate(over="ignore", invalid="ignore"):
        for channel, factor in zip(profile.channels, profile.factors, strict=True):
            np.multiply(rows[CHANNELS[channel]], factor, out=values[:, :, channel])
    # Only a floating-point field can hold an infinity or a number too large for its unit.
    values[np.isinf(values)] = np.nan
    sequence = header["sequence"].astype(np.int64) if "sequence" in names else None
    return DecodedPackets(raw_ticks, sequence, values)


def encode_packets(
    profile: PacketProfile, ticks: IntArray, sequence: IntArray, values: FloatArray
) -> ByteArray:
    """Encode equally long packets: the inverse of :func:`decode_packets`.

    Parameters
    ----------
    profile : PacketProfile
        The wanted layout.
    ticks : (packets, samples) int64
        Device ticks, not wrapped; the header keeps the first of each packet.
    sequence : (packets,) int64
        Running packet numbers, not wrapped.
    values : (packets, samples, 6) float64
        SI values in the order of :data:`imujump.recording.profiles.CHANNELS`. Channels that
        the profile lacks are dropped. Integer fields round to the nearest step and stop at
        their ends.

    Returns
    -------
    (packets, length) uint8

    Raises
    ------
    ValueError
        If shapes do not fit, or a NaN meets an integer field.

    Notes
    -----
    Counters wrap at the width of their field. Fields of other names are zero.
    """
    packet_count, samples = ticks.shape
    if values.shape != (packet_count, samples, len(CHANNELS)) or sequence.shape != (packet_count,):
        raise ValueError(
            f"values has shape {values.shape} and sequence {sequence.shape}, must be "
            f"{(packet_count, samples, len(CHANNELS))} and {(packet_count,)}"
        )
    packets = np.zeros(packet_count, dtype=packet_dtype(profile, samples))
    header, rows = packets["header"], packets["samples"]
    names = profile.header.names or ()
    if profile.tick_in == "sample":
        rows["tick"] = _wrapped(ticks, profile.sample["tick"])
    else:
        header["tick"] = _wrapped(ticks[:, 0], profile.header["tick"])
    if "sequence" in names:
        header["sequence"] = _wrapped(sequence, profile.header["sequence"])
    if "count" in names:
        header["count"] = samples
    for channel, factor in zip(profile.channels, channel_factors(profile), strict=True):
        name = CHANNELS[channel]
        raw = values[:, :, channel] / factor
        kind = profile.sample[name]
        if np.issubdtype(kind, np.integer):
            if np.isnan(raw).any():
                raise ValueError(f"values holds NaN in {name}, which the profile's {kind} cannot")
            limits = np.iinfo(kind)
            raw = np.clip(np.rint(raw), limits.min, limits.max)
        rows[name] = raw
    width = packet_dtype(profile, samples).itemsize
    return packets.view(np.uint8).reshape(packet_count, width)


def unwrap_counter(
    raw: IntArray, bits: int, start: int | None = None, elapsed: FloatArray | None = None
) -> IntArray:
    """Turn a wrapping counter into one that keeps counting.

    Parameters
    ----------
    raw : (n,) int64
        The counter as sent, 0 to 2**bits - 1, or signed when 64 bits wide.
    bits : int
        Its width. A counter of 64 bits never wraps and is returned unchanged.
    start : int, optional
        The unwrapped value before the first; by default the first is taken as it is.
    elapsed : (n,) float64, optional
        How far another clock, in ticks, moved on before each value. It tells whole turns
        missed during a long silence. Without it the shortest way is taken.

    Returns
    -------
    (n,) int64
        Unwrapped; steps back (packets sent again) stay steps back.

    Examples
    --------
    >>> unwrap_counter(np.array([65534, 65535, 0, 65535, 2]), 16).tolist()
    [65534, 65535, 65536, 65535, 65538]
    >>> unwrap_counter(np.array([10, 20]), 16, elapsed=np.array([0.0, 131080.0])).tolist()
    [10, 131092]
    """
    if bits >= 64 or not len(raw):
        return raw.astype(np.int64)
    turn = 1 << bits
    first = int(raw[0]) if start is None else start
    steps = np.diff(raw, prepend=first) % turn
    expected = np.zeros(len(raw)) if elapsed is None else elapsed.astype(np.float64)
    turns = np.rint((expected - steps) / turn).astype(np.int64)
    if start is None:
        turns[0] = 0
    unwrapped: IntArray = first + np.cumsum(steps + turns * turn)
    return unwrapped


def _wrapped(counter: IntArray, kind: np.dtype[np.generic]) -> IntArray:
    bits = 8 * kind.itemsize
    return counter if bits >= 64 else counter & ((1 << bits) - 1)
