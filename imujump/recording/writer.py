"""Writes a recording file packet by packet, safe against being killed at any instant."""

from __future__ import annotations

import math
import sqlite3
import threading
import time
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from imujump.closing import Closing
from imujump.errors import RecordingError
from imujump.model import Mark, Placement
from imujump.recording.captured import CapturedPacket
from imujump.recording.format import StatusChange
from imujump.recording.packing import pack_file
from imujump.recording.row_file import RecordedSensor, Row, RowFile

__all__ = ["COMMIT_S", "RecordedSensor", "RecordingWriter"]

COMMIT_S = 0.08
"""Longest wait of a packet for its commit: own choice, well within the promised 0.2 s."""


class RecordingWriter(Closing):
    """Creates a recording and appends to it; use it as a context manager.

    Parameters
    ----------
    path : Path or str
        The new file; it must not exist yet.
    sensors : sequence of RecordedSensor
        The sensors, each placement once.
    started_utc : datetime, optional
        The session's start, with time zone.

    Raises
    ------
    RecordingError
        If the file exists or cannot be written.

    Notes
    -----
    Appending only queues; a thread of its own commits every 0.08 s, so a caller on a radio's
    event loop never waits for the disk. Whatever was appended more than 0.2 s before the
    process is killed is in the file. :meth:`close` packs the file into its final form.
    Methods may be called from any thread.
    """

    def __init__(
        self,
        path: Path | str,
        sensors: Sequence[RecordedSensor],
        started_utc: datetime | None = None,
    ) -> None:
        self.path = Path(path)
        self._file = RowFile(self.path, sensors, started_utc)
        self._lock = threading.Lock()
        self._rows: list[Row] = []
        self._failure: sqlite3.Error | None = None
        self._last_commit_s = time.monotonic()
        self._closing = threading.Event()
        self._closed = False
        self._thread = threading.Thread(target=self._commit_regularly, daemon=True)
        self._thread.start()

    def append_packet(self, placement: Placement, arrival_s: float, data: bytes) -> None:
        """Add a packet as received.

        Parameters
        ----------
        placement : Placement
            The sensor it came from.
        arrival_s : float
            The host's monotonic time of arrival, from the session's start; give it in whole
            microseconds, which compress well (any other number is kept exactly too).
        data : bytes
            The packet, whether or not it fits the sensor's profile.
        """
        if placement not in self._file.numbers:
            raise ValueError(f"placement is {placement}, which has no sensor in this recording")
        if not math.isfinite(arrival_s):
            raise ValueError(f"arrival_s is {arrival_s}, must be finite")
        packet = CapturedPacket(placement, float(arrival_s), bytes(data))
        with self._lock:
            self._check_open()
            self._rows.append(packet)
            self._commit_if_due()

    def append_status(self, change: StatusChange) -> None:
        """Add a status change of a sensor or of the recording."""
        with self._lock:
            self._check_open()
            self._rows.append(change)
            self._commit_if_due()

    def append_mark(self, mark: Mark) -> None:
        """Add a person's note."""
        with self._lock:
            self._check_open()
            self._rows.append(mark)
            self._commit_if_due()

    def flush(self) -> None:
        """Commit everything appended so far."""
        with self._lock:
            self._check_open()
            self._commit()

    def close(self) -> None:
        """Commit the rest and pack the recording into a single small file."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
        self._closing.set()
        self._thread.join()
        try:
            self._commit()
        finally:
            self._file.close()
        self._raise_failure()
        pack_file(self.path)

    def _check_open(self) -> None:
        if self._closed:
            raise ValueError("the recording is closed")
        self._raise_failure()

    def _raise_failure(self) -> None:
        if self._failure is not None:
            raise RecordingError(
                self.path,
                f"the recording could not be continued ({self._failure})",
                "free disk space and start a new recording",
            ) from self._failure

    def _commit_if_due(self) -> None:
        # The thread may be held up by a busy caller; then the caller commits itself.
        if time.monotonic() - self._last_commit_s > COMMIT_S:
            self._commit()

    def _commit_regularly(self) -> None:
        while not self._closing.wait(COMMIT_S / 2):
            with self._lock:
                if not self._closed:
                    self._commit_if_due()

    def _commit(self) -> None:
        self._last_commit_s = time.monotonic()
        if self._failure is not None or not self._rows:
            return
        try:
            self._file.write(self._rows)
        except sqlite3.Error as error:
            self._failure = error
            return
        self._rows.clear()
