"""The recorder in trouble: disk full, folder gone, file locked, drive swapped; nothing is lost."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import sys
import time

import pytest

from imujump.errors import RecordingError
from imujump.model import ClockReading, Mark, Placement
from imujump.recording.captured import CapturedPacket
from imujump.recording.clock_rows import clock_reading
from imujump.recording.format import StatusChange, StatusKind
from imujump.recording.keeper import RecordingKeeper
from imujump.recording.reader import RecordingReader
from recording.made_up import quiet_packets, sensors
from recording.test_recording_file import stored

PROFILE, _, PACKETS = quiet_packets(seconds=40.0)
THIRD = len(PACKETS) // 3

unix_only = pytest.mark.skipif(
    sys.platform == "win32", reason="Windows lets nobody remove a file that is being written"
)


def keeper(path, **more):
    return RecordingKeeper(path, sensors(PROFILE), **more)


def append(kept, packets):
    for packet in packets:
        kept.append(CapturedPacket(*packet))


def wait_until(condition, limit_s=8.0):
    deadline_s = time.monotonic() + limit_s
    while not condition():
        assert time.monotonic() < deadline_s, "it never came to that"
        time.sleep(0.02)


def all_written(kept):
    return lambda: kept.state.waiting_packets == 0 and kept.state.sentence is None


def storage_notes(path):
    with RecordingReader(path) as reader:
        return [c.detail for c in reader.changes if c.kind is StatusKind.STORAGE]


def test_everything_captured_is_written(tmp_path):
    path = tmp_path / "a.imujump"
    reading = ClockReading(Placement.PELVIS, 1.0, 1.02, 99)
    change = StatusChange(0.5, StatusKind.CONNECT, Placement.PELVIS, "boot=1 replay=yes")
    with keeper(path) as kept:
        kept.append(change)
        append(kept, PACKETS)
        kept.append(reading)
        kept.append(Mark(2.0, "first run-up"))
        wait_until(all_written(kept))
        assert kept.state.packets == len(PACKETS)
    assert stored(path) == PACKETS
    with RecordingReader(path) as reader:
        assert reader.changes[0] == change
        assert clock_reading(reader.changes[1]) == reading
        assert reader.info.marks == (Mark(2.0, "first run-up"),)
    assert kept.close() == path
    with pytest.raises(ValueError, match="closed"):
        kept.append(reading)


def test_a_place_that_cannot_be_written_to_is_told_at_once(tmp_path):
    with pytest.raises(RecordingError, match="cannot be written"):
        keeper(tmp_path / "nowhere" / "a.imujump")
    (tmp_path / "a.imujump").write_bytes(b"")
    with pytest.raises(RecordingError, match="exists already; choose another name"):
        keeper(tmp_path / "a.imujump")


@contextlib.contextmanager
def no_file_longer_than(size):
    """Let the system itself refuse to extend files, as it does on a full disk."""
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@unix_only
def test_full_disk(tmp_path):
    path = tmp_path / "a.imujump"
    with keeper(path) as kept:
        append(kept, PACKETS[:THIRD])
        wait_until(all_written(kept))
        with no_file_longer_than(path.with_name("a.imujump-wal").stat().st_size):
            append(kept, PACKETS[THIRD : 2 * THIRD])
            wait_until(lambda: kept.state.sentence)
            state = kept.state
            assert "the disk is full; capture goes on in memory (room for " in state.sentence
            assert state.sentence.endswith("free disk space.")
            assert state.waiting_packets > 0
            assert state.memory_left_s > 60.0
            append(kept, PACKETS[2 * THIRD : 2 * THIRD + 10])
        append(kept, PACKETS[2 * THIRD + 10 :])
        wait_until(all_written(kept))
        assert kept.state.lost_packets == 0
    assert stored(path) == PACKETS
    first, last = storage_notes(path)
    assert first == "the disk is full; capture goes on in memory"
    assert last.startswith("written again after")


@unix_only
@pytest.mark.parametrize("copied", [False, True], ids=["empty folder", "older copy"])
def test_folder_gone_and_back(tmp_path, copied):
    folder = tmp_path / "stick"
    folder.mkdir()
    path = folder / "a.imujump"
    with keeper(path) as kept:
        append(kept, PACKETS[:THIRD])
        wait_until(all_written(kept))
        shutil.copytree(folder, tmp_path / "copy")
        append(kept, PACKETS[THIRD : THIRD + 50])
        wait_until(all_written(kept))
        shutil.rmtree(folder)
        append(kept, PACKETS[THIRD + 50 : 2 * THIRD])
        wait_until(lambda: kept.state.sentence)
        assert "its folder or drive is gone; capture goes on in memory" in kept.state.sentence
        if copied:
            shutil.move(tmp_path / "copy", folder)
        else:
            folder.mkdir()
        append(kept, PACKETS[2 * THIRD :])
        wait_until(all_written(kept))
    assert stored(path) == PACKETS
    assert len(storage_notes(path)) == 2


@unix_only
def test_folder_gone_for_good(tmp_path):
    folder, rescue = tmp_path / "stick", tmp_path / "rescue"
    folder.mkdir()
    kept = keeper(folder / "a.imujump", rescue_folder=rescue)
    append(kept, PACKETS[:THIRD])
    wait_until(all_written(kept))
    shutil.rmtree(folder)
    append(kept, PACKETS[THIRD:])
    assert kept.close() == rescue / "a.imujump"
    assert stored(rescue / "a.imujump") == PACKETS
    assert kept.state.sentence.endswith(f"the recording was written to {rescue / 'a.imujump'}.")
    assert not kept.state.waiting_packets


@unix_only
def test_another_file_in_its_place_is_left_alone(tmp_path):
    path = tmp_path / "a.imujump"
    with keeper(path) as kept:
        append(kept, PACKETS[:THIRD])
        wait_until(all_written(kept))
        path.unlink()
        path.write_text("shopping list")
        append(kept, PACKETS[THIRD:])
        wait_until(lambda: kept.state.sentence)
        assert "another file has taken its name" in kept.state.sentence
        assert path.read_text() == "shopping list"
        path.unlink()
        wait_until(all_written(kept))
    assert stored(path) == PACKETS


def test_file_locked_by_another_program(tmp_path):
    path = tmp_path / "a.imujump"
    with keeper(path) as kept:
        append(kept, PACKETS[:THIRD])
        wait_until(all_written(kept))
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        started_s = time.monotonic()
        append(kept, PACKETS[THIRD:])
        assert time.monotonic() - started_s < 0.2
        wait_until(lambda: kept.state.sentence)
        assert "another program has locked the file" in kept.state.sentence
        other.execute("ROLLBACK")
        other.close()
        wait_until(all_written(kept))
    assert stored(path) == PACKETS


@unix_only
def test_what_does_not_fit_in_memory_is_counted(tmp_path):
    path = tmp_path / "a.imujump"
    with keeper(path, memory_bytes=300_000) as kept:
        with no_file_longer_than(0):
            append(kept, PACKETS)
            wait_until(lambda: kept.state.sentence)
            assert "capture goes on in memory (which is full)" in kept.state.sentence
        wait_until(all_written(kept))
        lost = kept.state.lost_packets
    assert 0 < lost < len(PACKETS)
    assert stored(path) == PACKETS[: len(PACKETS) - lost]
    assert storage_notes(path)[-1].endswith(f"{lost} packets lost")
