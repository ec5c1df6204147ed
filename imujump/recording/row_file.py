"""A recording file while it grows: created with its head, extended by whole transactions."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from imujump.errors import RecordingError
from imujump.model import Mark, Placement
from imujump.recording.captured import CapturedPacket
from imujump.recording.format import StatusChange, check_header, create_database
from imujump.recording.profiles import PacketProfile

MAX_SENSORS = 255

Row = CapturedPacket | StatusChange | Mark
"""What a recording is made of."""


@dataclass(frozen=True, slots=True)
class RecordedSensor:
    """A sensor as it is entered in a recording: where worn, serial number, packet profile."""

    placement: Placement
    serial: str
    profile: PacketProfile


class RowFile:
    """Creates a recording file and appends rows to it.

    Parameters
    ----------
    path : Path
        The new file; it must not exist yet.
    sensors : sequence of RecordedSensor
        The sensors, each placement once.
    started_utc : datetime or None
        The session's start, with time zone.
    wait_s : float
        How long a write waits for another program's lock on the file.

    Raises
    ------
    RecordingError
        If the file exists or cannot be written.
    ValueError
        If a placement has two sensors, or the start has no time zone.
    """

    def __init__(
        self,
        path: Path,
        sensors: Sequence[RecordedSensor],
        started_utc: datetime | None,
        wait_s: float = 5.0,
    ) -> None:
        self.path = path
        self.numbers = {sensor.placement: n for n, sensor in enumerate(sensors)}
        if len(self.numbers) != len(sensors):
            raise ValueError("sensors holds a placement twice, must hold each once")
        if len(sensors) > MAX_SENSORS:
            raise ValueError(f"sensors holds {len(sensors)}, must hold at most {MAX_SENSORS}")
        if started_utc is not None and started_utc.tzinfo is None:
            raise ValueError("started_utc has no time zone, must have one")
        self._sensors = tuple(sensors)
        self._started_utc = started_utc
        self._wait_s = wait_s
        self._packets = 0
        try:
            self._create(path)
            self._database = self._connect(path)
            self._identity = _identity(path)
            self._head = _head(self._database)
        except (OSError, sqlite3.Error) as error:
            raise RecordingError(
                path, f"cannot be written ({error})", "check the folder, its rights and space"
            ) from error

    def write(self, rows: Iterable[Row]) -> None:
        """Append rows in one transaction: all of them are in the file, or none.

        Raises
        ------
        sqlite3.Error
            If the file cannot be written now; it may be possible later.
        """
        packets, changes, marks = [], [], []
        for row in rows:
            if isinstance(row, CapturedPacket):
                packets.append((self.numbers[row.placement], row.arrival_s, row.data))
            elif isinstance(row, Mark):
                marks.append((row.time_s, row.text))
            else:
                sensor = None if row.placement is None else self.numbers[row.placement]
                changes.append((sensor, row.time_s, row.kind.value, row.detail))
        run = self._database.executemany
        try:
            self._database.execute("BEGIN")
            run("INSERT INTO packet (sensor, arrival_s, data) VALUES (?, ?, ?)", packets)
            run("INSERT INTO status (sensor, time_s, kind, detail) VALUES (?, ?, ?, ?)", changes)
            run("INSERT INTO mark (time_s, text) VALUES (?, ?)", marks)
            self._database.execute("COMMIT")
            self._packets += len(packets)
        except sqlite3.Error:
            if self._database.in_transaction:
                self._database.execute("ROLLBACK")
            raise

    def is_in_place(self) -> bool:
        """Tell whether what is written still goes to a file under the path."""
        try:
            return _identity(self.path) == self._identity
        except OSError:
            return False

    def put_back(self) -> int:
        """Have the file under its path again, with all rows, after it was taken away.

        Returns
        -------
        int
            How many packets written before are no longer in it: a drive that was pulled out
            takes along what had not reached it yet.

        Raises
        ------
        OSError, sqlite3.Error
            If that is not possible now; :class:`FileExistsError` if the path is now that of
            another file.
        """
        if self.path.exists() and not self._is_this(self.path):
            raise FileExistsError(f"another file has come to {self.path}")
        draft = self.path.with_name(self.path.name + ".new")
        try:
            draft.unlink(missing_ok=True)
            target = sqlite3.connect(draft, isolation_level=None)
            try:
                self._database.backup(target)
            finally:
                target.close()
            os.replace(draft, self.path)
        except (OSError, sqlite3.Error):
            # What was written can no longer be read here; it may have come back by itself.
            if not self.path.exists():
                raise
        database = self._connect(self.path)
        held = database.execute("SELECT count(*) FROM packet").fetchone()[0]
        self._database.close()
        self._database = database
        self._identity = _identity(self.path)
        missing, self._packets = self._packets - int(held), int(held)
        return missing

    def move_to(self, path: Path) -> None:
        """Write the file, with all rows, under another path and continue there."""
        self.path = path
        self.put_back()

    def _is_this(self, path: Path) -> bool:
        """Tell whether a file is this recording, or an earlier state of it."""
        try:
            check_header(path)
            database = sqlite3.connect(path, isolation_level=None, timeout=self._wait_s)
            try:
                return _head(database) == self._head
            finally:
                database.close()
        except (RecordingError, sqlite3.Error):
            return False

    def close(self) -> None:
        """Close the file as it is."""
        self._database.close()

    def _connect(self, path: Path) -> sqlite3.Connection:
        database = sqlite3.connect(
            path, isolation_level=None, check_same_thread=False, timeout=self._wait_s
        )
        database.execute("PRAGMA journal_mode = WAL")
        # The log keeps the order of commits; only power loss can take the last ones.
        database.execute("PRAGMA synchronous = NORMAL")
        return database

    def _create(self, path: Path) -> None:
        if path.exists():
            raise RecordingError(path, "the file exists already", "choose another name")
        # The file appears under its name only once its tables are complete.
        draft = path.with_name(path.name + ".new")
        draft.unlink(missing_ok=True)
        create_database(draft)
        database = sqlite3.connect(draft, isolation_level=None)
        try:
            database.execute("BEGIN")
            if self._started_utc is not None:
                database.execute(
                    "INSERT INTO about VALUES ('started_utc', ?)",
                    (self._started_utc.astimezone(UTC).isoformat(),),
                )
            database.executemany(
                "INSERT INTO sensor VALUES (?, ?, ?, ?)",
                [
                    (number, sensor.placement.value, sensor.serial, sensor.profile.text)
                    for number, sensor in enumerate(self._sensors)
                ],
            )
            database.execute("COMMIT")
        finally:
            database.close()
        os.replace(draft, path)


def _identity(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_dev, found.st_ino


def _head(database: sqlite3.Connection) -> list[tuple[object, ...]]:
    """What tells one recording from another: its start and its sensors."""
    about = database.execute("SELECT key, value FROM about ORDER BY key").fetchall()
    sensors = database.execute("SELECT placement, serial, profile FROM sensor ORDER BY number")
    return [*about, *sensors.fetchall()]
