"""Tells from packets alone that a sensor has restarted, where it has no boot id to tell."""

from __future__ import annotations

import numpy as np

from imujump.recording.packets import decode_packets, sample_count
from imujump.recording.profiles import PacketProfile

TOLERANCE_S = 2.0
"""A counter that is further from where time expects it has begun anew: far more than a packet
can be late in mid-stream, far less than a sensor runs between two restarts (own choice)."""

DRIFT = 2e-4
"""Relative error of two clocks against each other, several times that of quartz."""


def has_restarted(
    profile: PacketProfile, before: tuple[bytes, float], now: tuple[bytes, float]
) -> bool:
    """Tell whether a sensor restarted between two packets.

    Parameters
    ----------
    profile : PacketProfile
        Their layout.
    before, now : (bytes, float)
        The last packet of the earlier link and the first of this one, with their arrivals in
        seconds.

    Returns
    -------
    bool
        False also where the counter wraps too soon to tell, or the bytes are no packets.
    """
    turn_s = 2.0**profile.tick_bits * profile.tick_s
    elapsed_s = now[1] - before[1]
    tolerance_s = TOLERANCE_S + DRIFT * elapsed_s
    ticks = [_first_tick(profile, data) for data, _ in (before, now)]
    if ticks[0] is None or ticks[1] is None or turn_s <= 4.0 * tolerance_s:
        return False
    off_s = (ticks[1] - ticks[0]) * profile.tick_s - elapsed_s
    return abs((off_s + turn_s / 2) % turn_s - turn_s / 2) > tolerance_s


def _first_tick(profile: PacketProfile, data: bytes) -> int | None:
    if sample_count(profile, len(data)) is None:
        return None
    decoded = decode_packets(profile, np.frombuffer(data, dtype=np.uint8)[np.newaxis])
    return int(decoded.raw_ticks[0, 0])
