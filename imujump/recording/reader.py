"""Reads a recording file as a sample source: packets put in order and decoded."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from imujump.closing import Closing
from imujump.model import ClockReading, Placement, RecordingInfo, SampleBatch, SensorInfo
from imujump.recording.chunks import Packet
from imujump.recording.content import RecordingContent, StoredSensor
from imujump.recording.format import StatusChange
from imujump.recording.in_order import SampleOrder
from imujump.recording.profiles import PacketProfile


class RecordingReader(Closing):
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
    Each packet becomes one batch, in arrival order; those that a sensor sent again after a gap
    come in their place, and those behind them count as arrived then. Samples that were already
    received (a packet sent again, or one that arrives too late) are left out, since ticks must
    increase within a segment; packets that do not fit the profile are left out as well. Both
    are counted in ``info.warnings``, complete after the last batch. All packets as received
    are in :meth:`packets`.
    """

    def __init__(self, path: Path | str) -> None:
        self._content = RecordingContent(Path(path))
        self._info = RecordingInfo(
            sensors=tuple(_sensor_info(sensor) for sensor in self._content.sensors),
            started_utc=self._content.started_utc,
            marks=self._content.marks,
        )

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
        for entry in self.timeline():
            if isinstance(entry, SampleBatch):
                yield entry

    def timeline(self) -> Iterator[SampleBatch | ClockReading]:
        """Yield batches as :meth:`batches` does, with each clock reading at its place in time."""
        order = SampleOrder([(each.placement, each.profile) for each in self._content.sensors])
        rows = deque(sorted(self._content.changes, key=lambda row: row.time_s))
        for chunk in self._content.chunks():
            last_s = float(chunk.arrivals_s.max(initial=-math.inf))
            due = []
            while rows and rows[0].time_s <= last_s:
                due.append(rows.popleft())
            yield from order.take_chunk(chunk, due)
        for row in rows:
            yield from order.take(row)
        yield from order.finish()
        fresh = [text for text in order.warnings() if text not in self._info.warnings]
        self._info = replace(self._info, warnings=(*self._info.warnings, *fresh))


def _sensor_info(sensor: StoredSensor) -> SensorInfo:
    return SensorInfo(
        placement=sensor.placement,
        sensor_id=sensor.serial,
        rate_hz=sensor.profile.rate_hz,
        tick_s=sensor.profile.tick_s,
        accel_range_mps2=sensor.profile.accel_range_mps2,
        gyro_range_radps=sensor.profile.gyro_range_radps,
    )
