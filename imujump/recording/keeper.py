"""Keeps a recording while capturing: on the disk as long as it can be, else in memory.

A full disk, a folder that is gone or a file that another program locks do not end a capture:
what cannot be written waits in memory, is written as soon as it can be, and the recording
says so. At the end, what still has no place goes to a rescue folder.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path

from platformdirs import user_documents_path

from imujump.closing import Closing
from imujump.errors import RecordingError
from imujump.model import ClockReading, Mark
from imujump.recording.captured import CapturedPacket
from imujump.recording.clock_rows import clock_row
from imujump.recording.format import StatusChange, StatusKind
from imujump.recording.packing import pack_file
from imujump.recording.row_file import RecordedSensor, Row, RowFile
from imujump.recording.writer import COMMIT_S

MEMORY_BYTES = 512 << 20
"""What may wait in memory: own choice, three hours of three sensors at 400 Hz."""

ROW_BYTES = 300
"""Memory of a waiting packet besides its bytes (measured on CPython 3.11, rounded up)."""

RETRY_S = 0.5
"""How often writing is tried again: own choice."""

LOCK_WAIT_S = 0.5
"""How long a single attempt waits for another program's lock."""

ROWS_AT_ONCE = 5000
"""Rows in one transaction, so that catching up keeps no lock for long (own choice)."""

CLOSE_WAIT_S = 2.0
"""How long closing tries to write to the recording's own place (own choice)."""

_FULL = (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_WRITE, sqlite3.SQLITE_IOERR_SHMSIZE)


@dataclass(frozen=True, slots=True)
class KeeperState:
    """How a recording is doing.

    ``waiting_packets`` are in memory only, ``lost_packets`` had no room even there;
    ``memory_left_s`` is how long there is room at the present rate, None while all is
    written. ``sentence`` says what is the matter and what to do, None when all is well.
    """

    path: Path
    packets: int = 0
    waiting_packets: int = 0
    lost_packets: int = 0
    memory_left_s: float | None = None
    sentence: str | None = None


class RecordingKeeper(Closing):
    """Creates a recording and appends what is captured, whatever becomes of the disk.

    Parameters
    ----------
    path : Path or str
        The new file; it must not exist yet.
    sensors : sequence of RecordedSensor
        The sensors, each placement once.
    started_utc : datetime, optional
        The session's start, with time zone.
    memory_bytes : int
        How much may wait in memory; what comes after that is lost and counted.
    rescue_folder : Path, optional
        Where closing writes the recording when its own place cannot be written to; by
        default the user's documents.

    Raises
    ------
    RecordingError
        If the file exists or cannot be created: better told before the first run-up.

    Notes
    -----
    Appending never waits for the disk. A thread of its own commits every 0.08 s, so a kill
    loses at most the last 0.2 s, unless the disk was in trouble. Methods may be called from
    any thread.
    """

    def __init__(
        self,
        path: Path | str,
        sensors: Sequence[RecordedSensor],
        started_utc: datetime | None = None,
        memory_bytes: int = MEMORY_BYTES,
        rescue_folder: Path | None = None,
    ) -> None:
        self._file = RowFile(Path(path), sensors, started_utc, LOCK_WAIT_S)
        self._memory_bytes = memory_bytes
        self._rescue_folder = rescue_folder
        self._lock = threading.Lock()
        self._rows: deque[Row] = deque()
        self._waiting_bytes = 0
        self._packets = 0
        self._waiting = 0
        self._lost = 0
        self._first_s: float | None = None
        self._last_s = 0.0
        self._trouble: tuple[str, str] | None = None
        self._trouble_since_s = 0.0
        self._next_try_s = 0.0
        self._unpacked: str | None = None
        self._wake = threading.Event()
        self._closing = False
        self._thread = threading.Thread(target=self._write_regularly, daemon=True)
        self._thread.start()

    @property
    def path(self) -> Path:
        """Where the recording is."""
        return self._file.path

    @property
    def state(self) -> KeeperState:
        """How the recording is doing now."""
        with self._lock:
            sentence, left_s = self._unpacked, None
            if self._trouble is not None:
                left_s = self._memory_left_s()
                problem, remedy = self._trouble
                room = f"room for {left_s / 60.0:.0f} min" if left_s > 0.0 else "which is full"
                sentence = f"{self.path}: {problem}; capture goes on in memory ({room}): {remedy}."
            return KeeperState(
                self.path, self._packets, self._waiting, self._lost, left_s, sentence
            )

    def append(self, entry: CapturedPacket | ClockReading | StatusChange | Mark) -> None:
        """Add what was captured, or a person's note; it is written by itself."""
        row = clock_row(entry) if isinstance(entry, ClockReading) else entry
        is_packet = isinstance(row, CapturedPacket)
        if not isinstance(row, Mark) and row.placement not in (None, *self._file.numbers):
            raise ValueError(f"placement is {row.placement}, which has no sensor here")
        with self._lock:
            if self._closing:
                raise ValueError("the recording is closed")
            self._last_s = row.arrival_s if isinstance(row, CapturedPacket) else row.time_s
            if self._first_s is None:
                self._first_s = self._last_s
            size = _size(row)
            if self._waiting_bytes + size > self._memory_bytes and is_packet:
                self._lost += 1
                return
            self._rows.append(row)
            self._waiting_bytes += size
            self._packets += is_packet
            self._waiting += is_packet

    def close(self, pack: bool = True) -> Path:
        """Write what waits, pack the file and return where it is.

        Parameters
        ----------
        pack : bool
            Whether to bring the file into its final small form; it can be read and packed
            later too.

        Raises
        ------
        RecordingError
            If part of the recording could be written nowhere.
        """
        with self._lock:
            if self._closing:
                return self.path
            self._closing = True
        self._wake.set()
        self._thread.join()
        give_up_s = time.monotonic() + CLOSE_WAIT_S
        while not self._write_all() and time.monotonic() < give_up_s:
            time.sleep(0.1)
        rescued = bool(self._rows) or not self._file.is_in_place()
        if rescued:
            self._rescue()
        self._file.close()
        if pack and not rescued:
            try:
                pack_file(self.path)
            except RecordingError as error:
                self._unpacked = f"{error} The recording is whole but larger than it could be."
        return self.path

    def _write_regularly(self) -> None:
        while not self._wake.wait(COMMIT_S / 2):
            if time.monotonic() >= self._next_try_s:
                self._write_all()

    def _write_all(self) -> bool:
        """Write what waits; return whether all of it is in the file now."""
        while True:
            with self._lock:
                rows = list(islice(self._rows, ROWS_AT_ONCE))
            if not rows and self._trouble is None:
                return True
            trouble = self._write(rows)
            if trouble is not None:
                self._enter_trouble(trouble)
                return False
            with self._lock:
                for _ in rows:
                    row = self._rows.popleft()
                    self._waiting_bytes -= _size(row)
                    self._waiting -= isinstance(row, CapturedPacket)
                over = self._trouble is not None and not self._rows
            if over:
                self._leave_trouble()

    def _write(self, rows: Sequence[Row]) -> tuple[str, str] | None:
        """Write rows; return what prevents it and what to do, if anything."""
        try:
            if not self._file.is_in_place():
                self._lost += self._file.put_back()
            self._file.write(rows)
        except FileExistsError:
            return "another file has taken its name", "move that file away"
        except FileNotFoundError:
            return "its folder or drive is gone", "bring it back"
        except sqlite3.Error as error:
            code = getattr(error, "sqlite_errorcode", None)
            if code in _FULL:
                return "the disk is full", "free disk space"
            if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                return "another program has locked the file", "close that program"
            if not self._file.path.parent.exists():
                return "its folder or drive is gone", "bring it back"
            return f"it cannot be written ({error})", "check the drive and its rights"
        except OSError as error:
            return (
                f"it cannot be written ({error.strerror or error})",
                "check the drive and its rights",
            )
        return None

    def _enter_trouble(self, trouble: tuple[str, str]) -> None:
        now_s = time.monotonic()
        self._next_try_s = now_s + RETRY_S
        with self._lock:
            if self._trouble is None:
                self._trouble_since_s = now_s
                self._note(f"{trouble[0]}; capture goes on in memory")
            self._trouble = trouble

    def _leave_trouble(self) -> None:
        with self._lock:
            self._trouble = None
            self._next_try_s = 0.0
            lost = f", {self._lost} packets lost" if self._lost else ""
            self._note(
                f"written again after {time.monotonic() - self._trouble_since_s:.1f} s{lost}"
            )

    def _note(self, text: str) -> None:
        row = StatusChange(self._last_s, StatusKind.STORAGE, None, text)
        self._rows.append(row)
        self._waiting_bytes += _size(row)

    def _rescue(self) -> None:
        folder = self._rescue_folder or user_documents_path()
        problem = self._trouble[0] if self._trouble else "its folder or drive is gone"
        wanted = self.path
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._file.move_to(_free_name(folder / wanted.name))
            with self._lock:
                self._note(f"{problem}; written to another folder")
            self._file.write(list(self._rows))
        except (OSError, sqlite3.Error) as error:
            self._file.close()
            raise RecordingError(
                wanted,
                f"{problem}, and {folder} could not be written to either ({error}): "
                f"{self._waiting} packets are lost",
                "free disk space and record again",
            ) from error
        with self._lock:
            self._rows.clear()
            self._waiting = self._waiting_bytes = 0
            self._trouble = None
            self._unpacked = f"{wanted}: {problem}; the recording was written to {self.path}."

    def _memory_left_s(self) -> float:
        """Time until memory is full at the rate so far, at least that of one slow sensor."""
        span_s = self._last_s - (self._first_s or 0.0)
        per_s = max(self._packets / span_s if span_s > 0.0 else 0.0, 10.0)
        mean_bytes = self._waiting_bytes / max(len(self._rows), 1) or ROW_BYTES
        return max(0.0, self._memory_bytes - self._waiting_bytes) / mean_bytes / per_s


def _size(row: Row) -> int:
    return ROW_BYTES + (len(row.data) if isinstance(row, CapturedPacket) else 0)


def _free_name(path: Path) -> Path:
    candidate, number = path, 2
    while candidate.exists():
        candidate = path.with_name(f"{path.stem} {number}{path.suffix}")
        number += 1
    return candidate
