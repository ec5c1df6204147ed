"""What a recording file holds, read from its tables: head, packet chunks, notes."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from urllib.request import pathname2url

from imujump.errors import CorruptError, RecordingError
from imujump.model import Mark, Placement
from imujump.recording.blocks import unpack_block
from imujump.recording.chunks import PacketChunk, chunk_of
from imujump.recording.format import (
    StatusChange,
    StatusKind,
    check_header,
    check_pages,
    damage_reported,
    log_path,
)
from imujump.recording.profiles import PacketProfile, parse_profile
from imujump.recording.text_table import unreadable

CHUNK_S = 60.0
"""Recording time in one block: own choice; longer ones gain under one percent."""

CHUNK_PACKETS = 20_000
CHUNK_BYTES = 1 << 22
"""A chunk also ends at this many packets or bytes, so that memory stays flat."""

ROWS_AT_ONCE = 4096
"""Packets fetched from the file together (own choice)."""


@dataclass(frozen=True, slots=True)
class StoredSensor:
    """A sensor's entry: placement, serial number and packet profile."""

    placement: Placement
    serial: str
    profile: PacketProfile


class RecordingContent:
    """Read access to a recording file, packed or left over by a killed writer.

    The file is never written to. A write-ahead log left over by a killed writer is read from
    a temporary copy, so this also works in a read-only folder.

    Raises
    ------
    RecordingError
        If the file is no recording, is being recorded, is too new or is damaged (the
        subclasses tell which).
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        check_header(path)
        self._copy: tempfile.TemporaryDirectory[str] | None = None
        self._database = self._open()
        try:
            check_pages(path, self._database)
            with damage_reported(path):
                self.sensors = self._read_sensors()
                self.started_utc = self._read_start()
                self.marks = self._read_marks()
                self.changes = self._read_changes()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close the file and remove the temporary copy, if any."""
        self._database.close()
        if self._copy is not None:
            self._copy.cleanup()
            self._copy = None

    def chunks(self) -> Iterator[PacketChunk]:
        """Yield all packets in arrival order, a chunk at a time."""
        profiles = [sensor.profile for sensor in self.sensors]
        with damage_reported(self.path):
            blocks = self._database.execute(
                "SELECT first_packet, packets, data FROM block ORDER BY first_packet"
            )
            for first_packet, count, data in blocks:
                try:
                    chunk = unpack_block(data, profiles)
                except (ValueError, TypeError) as error:
                    raise CorruptError(
                        self.path,
                        f"the block of packet {first_packet} is damaged",
                        "restore a copy of the file",
                    ) from error
                if len(chunk.sensors) != count:
                    raise CorruptError(
                        self.path,
                        f"the block of packet {first_packet} holds {len(chunk.sensors)} packets "
                        f"instead of {count}",
                        "restore a copy of the file",
                    )
                yield chunk
        yield from self._loose_chunks()

    def _loose_chunks(self) -> Iterator[PacketChunk]:
        numbers: list[int] = []
        arrivals_s: list[float] = []
        payloads: list[bytes] = []
        with damage_reported(self.path):
            rows = self._database.execute(
                "SELECT number, sensor, arrival_s, data FROM packet ORDER BY number"
            )
            while found := rows.fetchmany(ROWS_AT_ONCE):
                self._check_packets(found)
                _, sensors, arrivals, data = zip(*found, strict=True)
                numbers += sensors
                arrivals_s += arrivals
                payloads += data
                while (count := _chunk_length(arrivals_s, payloads)) < len(numbers):
                    yield chunk_of(numbers[:count], arrivals_s[:count], payloads[:count])
                    del numbers[:count], arrivals_s[:count], payloads[:count]
        if numbers:
            yield chunk_of(numbers, arrivals_s, payloads)

    def _check_packets(self, rows: Sequence[tuple[object, ...]]) -> None:
        known = range(len(self.sensors))
        for number, sensor, arrival_s, data in rows:
            if (
                type(sensor) is not int
                or sensor not in known
                or type(arrival_s) is not float
                or type(data) is not bytes
            ):
                raise CorruptError(
                    self.path, f"packet {number} is damaged", "restore a copy of the file"
                )

    def _open(self) -> sqlite3.Connection:
        log = log_path(self.path)
        try:
            if not log.exists() or not log.stat().st_size:
                # Immutable: SQLite takes no locks and leaves no files behind.
                return self._connect(self.path, "mode=ro&immutable=1")
            before = _stamp(self.path, log)
            self._copy = tempfile.TemporaryDirectory(prefix="recording-")
            copy = Path(self._copy.name) / "recording"
            shutil.copyfile(self.path, copy)
            shutil.copyfile(log, log_path(copy))
            if _stamp(self.path, log) != before:
                self._copy.cleanup()
                raise RecordingError(
                    self.path, "the file is being recorded", "end the recording and read it then"
                )
            return self._connect(copy, "mode=rw")
        except OSError as error:
            raise unreadable(self.path, error) from error
        except sqlite3.Error as error:
            raise CorruptError(
                self.path, f"the file cannot be opened ({error})", "restore a copy of the file"
            ) from error

    @staticmethod
    def _connect(path: Path, options: str) -> sqlite3.Connection:
        address = f"file:{pathname2url(str(path.absolute()))}?{options}"
        return sqlite3.connect(address, uri=True, isolation_level=None, check_same_thread=False)

    def _read_sensors(self) -> tuple[StoredSensor, ...]:
        sensors = []
        rows = self._database.execute(
            "SELECT placement, serial, profile FROM sensor ORDER BY number"
        )
        for placement, serial, profile in rows:
            try:
                place = Placement(placement)
            except ValueError as error:
                raise CorruptError(
                    self.path,
                    f"the sensor {str(serial)[:20]!r} is worn at the unknown place "
                    f"{str(placement)[:20]!r}",
                    "restore a copy of the file",
                ) from error
            sensors.append(StoredSensor(place, str(serial), parse_profile(str(profile), self.path)))
        if not sensors or len({sensor.placement for sensor in sensors}) != len(sensors):
            raise CorruptError(
                self.path, "the list of sensors is damaged", "restore a copy of the file"
            )
        return tuple(sensors)

    def _read_start(self) -> datetime | None:
        row = self._database.execute("SELECT value FROM about WHERE key = 'started_utc'").fetchone()
        if row is None:
            return None
        try:
            start = datetime.fromisoformat(str(row[0]))
        except ValueError:
            start = None
        if start is None or start.tzinfo is None:
            raise CorruptError(
                self.path, "the start of the recording is unreadable", "restore a copy of the file"
            )
        return start

    def _read_marks(self) -> tuple[Mark, ...]:
        rows = self._database.execute("SELECT time_s, text FROM mark ORDER BY number")
        return tuple(Mark(self._number(time_s), str(text)) for time_s, text in rows)

    def _read_changes(self) -> tuple[StatusChange, ...]:
        rows = self._database.execute(
            "SELECT time_s, kind, sensor, detail FROM status ORDER BY number"
        )
        changes = []
        for time_s, kind, sensor, detail in rows:
            if kind not in tuple(StatusKind) or not (
                sensor is None or (isinstance(sensor, int) and 0 <= sensor < len(self.sensors))
            ):
                raise CorruptError(
                    self.path, "the list of status changes is damaged", "restore a copy of the file"
                )
            placement = None if sensor is None else self.sensors[sensor].placement
            changes.append(
                StatusChange(self._number(time_s), StatusKind(kind), placement, str(detail))
            )
        return tuple(changes)

    def _number(self, value: object) -> float:
        if not isinstance(value, float):
            raise CorruptError(self.path, "a note has no time", "restore a copy of the file")
        return value


def _chunk_length(arrivals_s: Sequence[float], payloads: Sequence[bytes]) -> int:
    """How many of the packets at hand make a chunk; all of them where it does not end yet."""
    end_s = arrivals_s[0] + CHUNK_S
    size = 0
    for count, (arrival_s, data) in enumerate(zip(arrivals_s, payloads, strict=True)):
        size += len(data)
        if count and (arrival_s >= end_s or count >= CHUNK_PACKETS or size > CHUNK_BYTES):
            return count
    return len(payloads)


def _stamp(*paths: Path) -> list[tuple[int, int]]:
    return [(path.stat().st_size, path.stat().st_mtime_ns) for path in paths]
