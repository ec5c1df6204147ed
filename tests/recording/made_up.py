"""Made-up packets of three sensors, as a radio would deliver them."""

from __future__ import annotations

import numpy as np

from imujump.model import Placement
from imujump.recording.packets import encode_packets
from imujump.recording.profiles import CHANNELS, channel_factors, compact_profile
from imujump.recording.writer import RecordedSensor, RecordingWriter

PLACEMENTS = tuple(Placement)
GRAVITY_MPS2 = 9.80665


def sensors(profile):
    return [RecordedSensor(place, f"S{n}", profile) for n, place in enumerate(PLACEMENTS)]


def quiet_values(rng, samples, profile):
    """Standing still: gravity with the white noise of a usual small sensor.

    120 ug/sqrt(Hz) and 0.007 deg/s/sqrt(Hz) over half the sample rate, the figures of the
    open virtual recordings' sensor model.
    """
    bandwidth = np.sqrt(profile.rate_hz / 2)
    values = np.empty((samples, len(CHANNELS)))
    direction = rng.normal(size=3)
    values[:, :3] = direction / np.linalg.norm(direction) * GRAVITY_MPS2
    values[:, :3] += rng.normal(size=(samples, 3)) * 120e-6 * GRAVITY_MPS2 * bandwidth
    values[:, 3:] = rng.normal(size=3) * 0.01
    values[:, 3:] += rng.normal(size=(samples, 3)) * np.radians(0.007) * bandwidth
    return values


def radio_packets(profile, values, seed=0, per_packet=10, start_tick=2**32 - 300_000_000):
    """Packets (placement, arrival_s, bytes) in order of arrival; ``values`` per placement.

    The device clock counts microseconds and passes the end of its 32 bits on the way.
    """
    rng = np.random.default_rng(seed)
    factors = channel_factors(profile)
    packets = []
    for number, (place, rows) in enumerate(values.items()):
        count = len(rows) // per_packet
        steps = np.rint(rows[: count * per_packet] / factors) * factors
        ticks = start_tick + np.rint(
            np.arange(count * per_packet) * profile.ticks_per_sample
        ).astype(np.int64)
        data = encode_packets(
            profile,
            ticks.reshape(count, per_packet),
            65_000 + np.arange(count),
            steps.reshape(count, per_packet, 6),
        )
        ends_s = np.arange(1, count + 1) * per_packet / profile.rate_hz + 0.002 * number
        # Radio delay of 5 to 30 ms, in whole microseconds, never overtaking.
        arrivals_s = np.maximum.accumulate(ends_s + rng.gamma(4.0, 0.003, size=count)).round(6)
        packets += [(place, float(a), d.tobytes()) for a, d in zip(arrivals_s, data, strict=True)]
    return sorted(packets, key=lambda packet: packet[1])


def quiet_packets(seconds=30.0, rate_hz=100.0, seed=0):
    profile = compact_profile(rate_hz)
    rng = np.random.default_rng(seed)
    values = {p: quiet_values(rng, round(seconds * rate_hz), profile) for p in PLACEMENTS}
    return profile, values, radio_packets(profile, values, seed)


def write(path, profile, packets, **more):
    with RecordingWriter(path, sensors(profile), **more) as writer:
        for packet in packets:
            writer.append_packet(*packet)
    return path
