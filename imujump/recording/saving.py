"""Saves any sample source as a recording file."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path

import numpy as np

from imujump.errors import RecordingError
from imujump.model import IntArray, Placement, SampleSource
from imujump.recording.packets import encode_packets
from imujump.recording.profiles import PacketProfile, lossless_profile
from imujump.recording.writer import RecordedSensor, RecordingWriter


def save_recording(
    source: SampleSource,
    path: Path | str,
    profiles: Mapping[Placement, PacketProfile] | None = None,
) -> None:
    """Write a source's samples, start and marks into a new recording file.

    Parameters
    ----------
    source : SampleSource
        Read once from front to back; each batch becomes a packet.
    path : Path or str
        The new file.
    profiles : mapping of Placement to PacketProfile, optional
        Packet layouts, such as :func:`imujump.recording.profiles.compact_profile`. Sensors
        without one keep 64-bit values and every tick exactly.

    Raises
    ------
    RecordingError
        If the file exists or cannot be written, or a given profile cannot hold a sample.
    """
    target = Path(path)
    chosen = {}
    for sensor in source.info.sensors:
        given = (profiles or {}).get(sensor.placement)
        chosen[sensor.placement] = given or lossless_profile(
            sensor.rate_hz, sensor.tick_s, sensor.accel_range_mps2, sensor.gyro_range_radps
        )
    sensors = [
        RecordedSensor(sensor.placement, sensor.sensor_id, chosen[sensor.placement])
        for sensor in source.info.sensors
    ]
    sequence = dict.fromkeys(chosen, 0)
    tick_lengths = {sensor.placement: sensor.tick_s for sensor in source.info.sensors}
    with RecordingWriter(target, sensors, source.info.started_utc) as writer:
        for batch in source.batches():
            if not len(batch.ticks):
                continue
            profile = chosen[batch.placement]
            ticks = batch.ticks
            if profile.tick_s != tick_lengths[batch.placement]:
                scale = tick_lengths[batch.placement] / profile.tick_s
                ticks = np.rint(ticks * scale).astype(np.int64)
            values = np.concatenate([batch.accel_mps2, batch.gyro_radps], axis=1)
            for first, end in _runs(ticks, profile):
                try:
                    data = encode_packets(
                        profile,
                        ticks[np.newaxis, first:end],
                        np.array([sequence[batch.placement]]),
                        values[np.newaxis, first:end],
                    )
                except ValueError as error:
                    raise RecordingError(
                        target,
                        f"a sample of {batch.placement} does not fit the profile ({error})",
                        "save it without a profile",
                    ) from error
                sequence[batch.placement] += 1
                writer.append_packet(batch.placement, batch.arrival_s, data.tobytes())
        for mark in source.info.marks:
            writer.append_mark(mark)


def _runs(ticks: IntArray, profile: PacketProfile) -> list[tuple[int, int]]:
    """Cut a batch where a packet cannot express its ticks: at gaps, or at 255 samples."""
    if profile.tick_in == "sample":
        return [(0, len(ticks))]
    regular = np.rint(profile.ticks_per_sample)
    breaks = np.flatnonzero(np.abs(np.diff(ticks) - regular) > 0.5 * regular) + 1
    edges = sorted({0, len(ticks), *breaks.tolist(), *range(0, len(ticks), 255)})
    return list(pairwise(edges))
