"""Turns a finished or left-over recording into its final form: one small, reproducible file."""

from __future__ import annotations

import os
import sqlite3
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from imujump.errors import RecordingError
from imujump.recording.blocks import pack_chunk
from imujump.recording.chunks import PacketChunk
from imujump.recording.content import RecordingContent
from imujump.recording.format import create_database, log_path
from imujump.recording.profiles import PacketProfile

MOST_WORKERS = 4
"""Blocks packed at one time, at most: a laptop's cores, and little memory (own choice)."""


def pack_file(path: Path) -> None:
    """Pack a recording that nobody is writing to any more.

    The packed file is built beside the old one and then takes its place in one step, so a
    kill leaves either the old or the new. A left-over write-ahead log is taken in and
    removed.

    Raises
    ------
    RecordingError
        If the file cannot be read or the folder cannot be written to.
    """
    content = RecordingContent(path)
    draft = path.with_name(path.name + ".new")
    try:
        draft.unlink(missing_ok=True)
        create_database(draft)
        _copy_packed(content, draft)
    except (OSError, sqlite3.Error) as error:
        draft.unlink(missing_ok=True)
        raise RecordingError(
            path, f"cannot be packed ({error})", "check the folder, its rights and space"
        ) from error
    finally:
        content.close()
    # The old log must not be replayed onto the new file, so it goes first; what it held is
    # in the draft, and until the next line a kill leaves the draft beside the old file.
    try:
        _retire_log(path)
        os.replace(draft, path)
    except (OSError, sqlite3.Error) as error:
        draft.unlink(missing_ok=True)
        raise RecordingError(
            path, f"the file is in use ({error})", "end the recording and pack it then"
        ) from error


def _retire_log(path: Path) -> None:
    """Move the log's content into the old file and remove the log."""
    if log_path(path).exists():
        database = sqlite3.connect(path, isolation_level=None, timeout=1.0)
        try:
            database.execute("PRAGMA journal_mode = DELETE")
        finally:
            database.close()
    for leftover in (log_path(path), path.with_name(path.name + "-shm")):
        leftover.unlink(missing_ok=True)


def _blocks(
    chunks: Iterable[PacketChunk], profiles: Sequence[PacketProfile]
) -> Iterator[tuple[int, bytes]]:
    """Pack chunks on all cores; yield the number of packets and the block of each, in order."""
    workers = min(os.cpu_count() or 1, MOST_WORKERS)
    waiting: deque[tuple[int, Future[bytes]]] = deque()
    # Compression, most of the work, runs outside the interpreter's lock.
    with ThreadPoolExecutor(workers, "packing") as pool:
        for chunk in chunks:
            waiting.append((len(chunk.sensors), pool.submit(pack_chunk, chunk, profiles)))
            if len(waiting) > workers:
                count, block = waiting.popleft()
                yield count, block.result()
        for count, block in waiting:
            yield count, block.result()


def _copy_packed(content: RecordingContent, draft: Path) -> None:
    profiles = [sensor.profile for sensor in content.sensors]
    numbers = {sensor.placement: number for number, sensor in enumerate(content.sensors)}
    database = sqlite3.connect(draft, isolation_level=None)
    try:
        # A draft that fails is thrown away: a journal would only fill memory.
        database.execute("PRAGMA journal_mode = OFF")
        database.execute("PRAGMA synchronous = OFF")
        database.execute("BEGIN")
        if content.started_utc is not None:
            database.execute(
                "INSERT INTO about VALUES ('started_utc', ?)", (content.started_utc.isoformat(),)
            )
        database.executemany(
            "INSERT INTO sensor VALUES (?, ?, ?, ?)",
            [
                (number, sensor.placement.value, sensor.serial, sensor.profile.text)
                for number, sensor in enumerate(content.sensors)
            ],
        )
        first_packet = 1
        for count, block in _blocks(content.chunks(), profiles):
            database.execute("INSERT INTO block VALUES (?, ?, ?)", (first_packet, count, block))
            first_packet += count
        database.executemany(
            "INSERT INTO status (sensor, time_s, kind, detail) VALUES (?, ?, ?, ?)",
            [
                (
                    None if change.placement is None else numbers[change.placement],
                    change.time_s,
                    change.kind.value,
                    change.detail,
                )
                for change in content.changes
            ],
        )
        database.executemany(
            "INSERT INTO mark (time_s, text) VALUES (?, ?)",
            [(mark.time_s, mark.text) for mark in content.marks],
        )
        database.execute("COMMIT")
        database.execute("VACUUM")
    finally:
        database.close()
    # The packed file must be on the disk before it takes the old one's place.
    with draft.open("rb+") as stream:
        os.fsync(stream.fileno())
