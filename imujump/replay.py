"""A recording replayed as if it were captured now, in real time or faster."""

from __future__ import annotations

import asyncio
import contextlib
import tempfile
import time
from collections import deque
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

from imujump.capture.events import CapturedPacket, CaptureEvent, SensorState
from imujump.closing import Closing
from imujump.recording.clock_rows import clock_reading
from imujump.recording.files import open_recording
from imujump.recording.format import StatusChange
from imujump.recording.reader import RecordingReader
from imujump.recording.row_file import RecordedSensor
from imujump.recording.saving import save_recording

BREATH_S = 0.005
"""A replay that never has to wait lets others in the event loop have their turn this often (own
choice: viewers are shown something new some ten times a second)."""


class Replay(Closing):
    """Yields what a recording holds, in the order and, by choice, at the pace of its capture.

    Parameters
    ----------
    path : Path
        A recording of any kind.
    speed : float or None
        1 is real time, 2 twice as fast; None as fast as it can be taken.

    Raises
    ------
    RecordingError
        If it cannot be read.
    """

    def __init__(self, path: Path, speed: float | None = 1.0) -> None:
        if speed is not None and not speed > 0.0:
            raise ValueError(f"speed is {speed}, must be above 0")
        self._speed = speed
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        source = open_recording(path)
        if not isinstance(source, RecordingReader):
            # Other kinds hold samples, not packets: as a recording they are packets.
            self._folder = tempfile.TemporaryDirectory(prefix="imujump-")
            copy = Path(self._folder.name) / "replay.imujump"
            save_recording(source, copy)
            source = RecordingReader(copy)
        self._reader = source
        self._placements = [sensor.placement for sensor in source.info.sensors]
        self._start_s: float | None = None
        self._first_s = 0.0
        self._stopped = asyncio.Event()

    def close(self) -> None:
        """Close the recording and remove its copy."""
        self._reader.close()
        if self._folder is not None:
            self._folder.cleanup()

    @property
    def recorded_sensors(self) -> tuple[RecordedSensor, ...]:
        """The sensors as the recording has them."""
        profiles = self._reader.profiles
        return tuple(
            RecordedSensor(sensor.placement, sensor.sensor_id, profiles[sensor.placement])
            for sensor in self._reader.info.sensors
        )

    @property
    def states(self) -> tuple[SensorState, ...]:
        """Nothing: who replays counts what comes."""
        return ()

    @property
    def marks(self) -> int:
        """Number of notes in the recording."""
        return len(self._reader.info.marks)

    def now_s(self) -> float:
        """Session time now, at the replay's pace."""
        if self._start_s is None or self._speed is None:
            return self._first_s
        return self._first_s + (time.perf_counter() - self._start_s) * self._speed

    def end(self) -> None:
        """End the replay before the recording's end."""
        self._stopped.set()

    async def __aiter__(self) -> AsyncIterator[CaptureEvent]:
        """Yield packets, clock readings and status changes in the order of their stamps."""
        breathed_s = time.perf_counter()
        for time_s, event in self._entries():
            if self._start_s is None:
                self._start_s, self._first_s = time.perf_counter(), time_s
            if self._speed is None:
                self._first_s = time_s
                wait_s = 0.0
            else:
                due_s = self._start_s + (time_s - self._first_s) / self._speed
                wait_s = due_s - time.perf_counter()
            if wait_s > 0.0:
                await self._pause(wait_s)
                breathed_s = time.perf_counter()
            elif time.perf_counter() - breathed_s > BREATH_S:
                await asyncio.sleep(0.0)
                breathed_s = time.perf_counter()
            if self._stopped.is_set():
                return
            yield event

    async def _pause(self, wait_s: float) -> None:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(wait_s):
                await self._stopped.wait()

    def _entries(self) -> Iterator[tuple[float, CaptureEvent]]:
        rows = deque(sorted(self._reader.changes, key=lambda row: row.time_s))
        for packet in self._reader.packets():
            while rows and rows[0].time_s <= packet.arrival_s:
                yield rows[0].time_s, _event(rows.popleft())
            captured = CapturedPacket(
                self._placements[packet.sensor], packet.arrival_s, packet.data
            )
            yield packet.arrival_s, captured
        for row in rows:
            yield row.time_s, _event(row)


def _event(row: StatusChange) -> CaptureEvent:
    return clock_reading(row) or row
