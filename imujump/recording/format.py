"""The recording file: one SQLite database, its tables, and the check before it is trusted.

While capturing, packets are rows and the file is in write-ahead mode. A closed recording is
a single file in which the packets lie in compressed blocks. The same packets, arrivals and
notes always give the same bytes (with the same SQLite and LZMA libraries): nothing in the
file depends on when or how fast it was written.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from imujump.errors import CorruptError, RecordingError, VersionError
from imujump.model import Placement
from imujump.recording.text_table import unreadable

APPLICATION_ID = 0x494A524D
"""SQLite application id of a recording ("IJRM" in ASCII)."""

FORMAT_VERSION = 1
"""Raised when an older program could no longer read the file."""

PAGE_BYTES = 1024
"""SQLite page size: small, because blocks end on page borders and commits are small."""

SQLITE_MAGIC = b"SQLite format 3\0"
_HEADER_BYTES = 100
_USER_VERSION_AT = 60  # offsets from the SQLite file format, section 1.3
_APPLICATION_ID_AT = 68

SCHEMA = """
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE sensor (
    number INTEGER PRIMARY KEY,
    placement TEXT NOT NULL,
    serial TEXT NOT NULL,
    profile TEXT NOT NULL
);
CREATE TABLE packet (
    number INTEGER PRIMARY KEY,
    sensor INTEGER NOT NULL,
    arrival_s REAL NOT NULL,
    data BLOB NOT NULL
);
CREATE TABLE block (
    first_packet INTEGER PRIMARY KEY,
    packets INTEGER NOT NULL,
    data BLOB NOT NULL
);
CREATE TABLE status (
    number INTEGER PRIMARY KEY,
    sensor INTEGER,
    time_s REAL NOT NULL,
    kind TEXT NOT NULL,
    detail TEXT NOT NULL
);
CREATE TABLE mark (number INTEGER PRIMARY KEY, time_s REAL NOT NULL, text TEXT NOT NULL);
"""


class StatusKind(StrEnum):
    """What can happen to a sensor, its link or the recording while it is made.

    ``detail`` holds for

    - ``CONNECT``: ``boot=N replay=yes|no next=N``, the sensor's start number (``-`` if it has
      none), whether it can send again what was missed, and the number of its next packet
      (``-`` if it does not tell)
    - ``DROP``: why the link ended
    - ``REPLAY``: ``asked=FIRST-LAST`` or ``recovered=N``, packet numbers as the sensor counts
    - ``GAP``: ``lost=FIRST-LAST``, packets that will not come any more
    - ``REBOOT``: ``boot=N``; the sensor's counters began again before its next packet
    - ``OVERFLOW``: the sensor's own buffer ran over
    - ``BATTERY``: percent left
    - ``CLOCK``: a reading of the sensor's clock, see :mod:`imujump.recording.clock_rows`
    - ``STORAGE``: what became of the recording itself (disk full, written again)
    """

    CONNECT = "connect"
    DROP = "drop"
    REPLAY = "replay"
    GAP = "gap"
    REBOOT = "reboot"
    OVERFLOW = "overflow"
    BATTERY = "battery"
    CLOCK = "clock"
    STORAGE = "storage"


@dataclass(frozen=True, slots=True)
class StatusChange:
    """Something that happened to a sensor, or to the recording when ``placement`` is None."""

    time_s: float
    kind: StatusKind
    placement: Placement | None = None
    detail: str = ""


def is_sqlite(path: Path) -> bool:
    """Tell whether a file begins like an SQLite database."""
    try:
        with path.open("rb") as stream:
            return stream.read(len(SQLITE_MAGIC)) == SQLITE_MAGIC
    except OSError as error:
        raise unreadable(path, error) from error


def check_header(path: Path) -> None:
    """Refuse a file that is no recording or too new, without handing it to SQLite.

    Raises
    ------
    RecordingError
        If it is not a recording.
    VersionError
        If a newer program wrote it.
    """
    try:
        with path.open("rb") as stream:
            header = stream.read(_HEADER_BYTES)
    except OSError as error:
        raise unreadable(path, error) from error
    if not header:
        raise RecordingError(path, "the file is empty", "record again or restore a copy")
    if len(header) < _HEADER_BYTES or not header.startswith(SQLITE_MAGIC):
        raise RecordingError(
            path, "the file is not a recording", "choose a recording or name its column map"
        )
    application = int.from_bytes(header[_APPLICATION_ID_AT : _APPLICATION_ID_AT + 4], "big")
    if application != APPLICATION_ID:
        raise RecordingError(
            path, "the file is a database of another program", "choose a recording"
        )
    version = int.from_bytes(header[_USER_VERSION_AT : _USER_VERSION_AT + 4], "big")
    if version > FORMAT_VERSION:
        raise VersionError(
            path,
            f"the recording has format version {version}, this program knows up to "
            f"{FORMAT_VERSION}",
            "update the program",
        )
    if version < 1:
        raise CorruptError(path, "the format version is missing", "restore a copy of the file")


def check_pages(path: Path, database: sqlite3.Connection) -> None:
    """Let SQLite check its pages.

    Raises
    ------
    CorruptError
        If a page or a row is damaged.
    """
    with damage_reported(path):
        found = [str(row[0]) for row in database.execute("PRAGMA quick_check(1)")]
    if found != ["ok"]:
        first = found[0].splitlines()[-1] if found else "no answer"
        raise CorruptError(
            path, f"the file's pages are damaged ({first})", "restore a copy of the file"
        )


@contextmanager
def damage_reported(path: Path) -> Iterator[None]:
    """Turn SQLite's complaints inside the block into a :class:`CorruptError`."""
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise CorruptError(
            path, f"the file's pages are damaged ({error})", "restore a copy of the file"
        ) from error


def create_database(path: Path) -> None:
    """Write an empty recording.

    Its header is complete from the first instant on, so that it is recognised even when the
    writer is killed before the first packet.
    """
    database = sqlite3.connect(path, isolation_level=None)
    try:
        database.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        database.execute("PRAGMA auto_vacuum = NONE")
        database.execute("PRAGMA encoding = 'UTF-8'")
        database.execute("PRAGMA journal_mode = MEMORY")
        database.execute("BEGIN")
        database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        database.execute(f"PRAGMA user_version = {FORMAT_VERSION}")
        for statement in SCHEMA.split(";"):
            if statement.strip():
                database.execute(statement)
        database.execute("COMMIT")
    finally:
        database.close()


def log_path(path: Path) -> Path:
    """Return the write-ahead log that belongs to a recording."""
    return path.with_name(path.name + "-wal")
