"""The recording file: exact content, size, reproducible bytes, refusals, damage."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import stat
import time
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imujump.errors import CorruptError, ImuJumpError, RecordingError, VersionError
from imujump.model import Mark, Placement
from imujump.recording.blocks import pack_chunk, unpack_block
from imujump.recording.chunks import Packet, chunk_from_packets
from imujump.recording.columns import backward, forward
from imujump.recording.files import find_recordings, open_recording
from imujump.recording.format import StatusChange, StatusKind, check_header
from imujump.recording.packing import pack_file
from imujump.recording.profiles import compact_profile, parse_profile
from imujump.recording.reader import RecordingReader
from imujump.recording.writer import RecordingWriter
from recording.made_up import (
    PLACEMENTS,
    quiet_packets,
    quiet_values,
    radio_packets,
    sensors,
    write,
)


def stored(path):
    with RecordingReader(path) as reader:
        return [
            (PLACEMENTS[packet.sensor], packet.arrival_s, packet.data)
            for packet in reader.packets()
        ]


def drain(path):
    reader = open_recording(path)
    try:
        return list(reader.batches()), reader.info
    finally:
        reader.close()


def test_packets_arrivals_and_notes_come_back_exactly(tmp_path):
    profile, _, packets = quiet_packets(seconds=150.0)
    path = tmp_path / "a.imujump"
    start = datetime(2025, 3, 4, 17, 30, tzinfo=timezone(timedelta(hours=2)))
    changes = [
        StatusChange(0.0, StatusKind.CONNECT, Placement.PELVIS),
        StatusChange(1.25, StatusKind.BATTERY, Placement.LEFT_SHANK, "82 %"),
        StatusChange(2.5, StatusKind.DROP, None, "radio off"),
    ]
    with RecordingWriter(path, sensors(profile), start) as writer:
        for packet in packets:
            writer.append_packet(*packet)
        for change in changes:
            writer.append_status(change)
        writer.append_mark(Mark(3.5, "knee felt tight — rest"))
    assert sorted(os.listdir(tmp_path)) == ["a.imujump"]
    assert stored(path) == packets
    with RecordingReader(path) as reader:
        assert list(reader.changes) == changes
        assert reader.info.marks == (Mark(3.5, "knee felt tight — rest"),)
        assert reader.info.started_utc == start
        assert [s.sensor_id for s in reader.info.sensors] == ["S0", "S1", "S2"]
        assert reader.profiles[Placement.PELVIS] == profile
    # A plain SQLite client sees a sound database with our numbers in its header.
    database = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    assert database.execute("PRAGMA application_id").fetchone() == (0x494A524D,)
    assert database.execute("PRAGMA user_version").fetchone() == (1,)
    assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert database.execute("SELECT count(*) FROM packet").fetchone() == (0,)
    database.close()


def test_batches_follow_the_packets(tmp_path):
    profile, values, packets = quiet_packets(seconds=400.0)
    batches, info = drain(write(tmp_path / "a.imujump", profile, packets))
    assert info.warnings == ()
    assert [(b.placement, b.arrival_s) for b in batches] == [p[:2] for p in packets]
    for place in PLACEMENTS:
        own = [b for b in batches if b.placement is place]
        ticks = np.concatenate([b.ticks for b in own])
        # The 32-bit clock wrapped after 300 s; unwrapped it goes on in even steps.
        assert ticks[0] == 2**32 - 300_000_000
        assert set(np.diff(ticks)) == {10_000}
        assert [b.first_index for b in own] == list(range(0, len(ticks), 10))
        for part, name in ((slice(0, 3), "accel_mps2"), (slice(3, 6), "gyro_radps")):
            read = np.concatenate([getattr(b, name) for b in own])
            # Half a step of 16 g or 2000 deg/s in 16 bits.
            half = (16 * 9.80665 if part.start == 0 else np.radians(2000)) / 32768 / 2
            assert np.abs(read - values[place][:, part]).max() <= half * (1 + 1e-9)
        assert own[0].accel_mps2.flags.c_contiguous


def twenty_minutes(bursts):
    """Standing for 20 min at 100 Hz, with the given bursts (n, 18) laid evenly over it."""
    profile = compact_profile(100.0)
    rng = np.random.default_rng(5)
    values = {p: quiet_values(rng, 120_000, profile) for p in PLACEMENTS}
    for number, burst in enumerate(bursts):
        start = 3000 + number * (115_000 // len(bursts))
        for sensor, place in enumerate(PLACEMENTS):
            values[place][start : start + len(burst)] = burst[:, 6 * sensor : 6 * sensor + 6]
    return profile, radio_packets(profile, values)


def test_twenty_minutes_of_three_sensors_stay_below_one_megabyte(tmp_path):
    # Ten bursts of ten seconds: swings of 1 g and 3 rad/s at 3 Hz with impacts of 10 g at
    # one sensor, and noise of a hundredth of the swing, which no predictor can take out.
    rng = np.random.default_rng(6)
    size = np.tile([9.8, 9.8, 9.8, 3.0, 3.0, 3.0], 3)
    bursts = []
    for _ in range(10):
        phase = 2 * np.pi * 3.0 * np.arange(1000)[:, None] / 100.0 + rng.uniform(0, 6.28, size=18)
        burst = size * (np.sin(phase) + 0.01 * rng.normal(size=(1000, 18)))
        burst[::33, :3] += 98.0 * rng.normal(size=(31, 3))
        bursts.append(burst)
    profile, packets = twenty_minutes(bursts)
    path = write(tmp_path / "long.imujump", profile, packets)
    assert path.stat().st_size < 1_000_000
    assert stored(path) == packets


@pytest.mark.requires_shared("virtual_recordings")
def test_twenty_minutes_with_twenty_jumps_stay_below_one_megabyte(tmp_path, shared_data):
    folder = shared_data / "virtual_recordings"
    bursts = []
    for path in find_recordings([folder / "kinematic", folder / "physics"])[:20]:
        source = open_recording(path)
        keep = round(source.info.sensors[0].rate_hz / 100.0)
        rows = {p: [] for p in PLACEMENTS}
        for batch in source.batches():
            rows[batch.placement].append(np.hstack([batch.accel_mps2, batch.gyro_radps]))
        parts = [np.concatenate(rows[p])[::keep] for p in PLACEMENTS]
        shortest = min(map(len, parts))
        bursts.append(np.hstack([part[:shortest] for part in parts]))
    assert sum(map(len, bursts)) > 18_000  # 15 % of the time in motion
    profile, packets = twenty_minutes(bursts)
    assert write(tmp_path / "long.imujump", profile, packets).stat().st_size < 1_000_000


def test_same_packets_give_the_same_bytes(tmp_path):
    profile, _, packets = quiet_packets(seconds=90.0)
    start = datetime(2025, 1, 1, tzinfo=UTC)
    first = write(tmp_path / "a.imujump", profile, packets, started_utc=start)
    # Slower, with other commits in between: nothing of it may show in the file.
    second = tmp_path / "b.imujump"
    with RecordingWriter(second, sensors(profile), start) as writer:
        for number, packet in enumerate(packets):
            writer.append_packet(*packet)
            if number % 50 == 0:
                writer.flush()
            if number == 100:
                time.sleep(0.2)
    assert first.read_bytes() == second.read_bytes()
    pack_file(second)
    assert first.read_bytes() == second.read_bytes()


def unpacked_copy(path, target):
    """Copy a recording that is still being written, as a killed writer leaves it."""
    shutil.copyfile(path, target)
    shutil.copyfile(f"{path}-wal", f"{target}-wal")
    return target


@pytest.fixture(scope="module")
def left_over(tmp_path_factory):
    """A killed recording (file and log), and the packets it must hold."""
    folder = tmp_path_factory.mktemp("left")
    profile, _, packets = quiet_packets(seconds=12.0)
    writer = RecordingWriter(folder / "live.imujump", sensors(profile))
    for packet in packets:
        writer.append_packet(*packet)
        if packet is packets[len(packets) // 2]:
            writer.flush()
    writer.flush()
    target = unpacked_copy(writer.path, folder / "killed.imujump")
    writer.close()
    return target, packets


def test_left_over_file_is_read_without_being_changed(left_over, tmp_path):
    source, packets = left_over
    folder = tmp_path / "stick"
    folder.mkdir()
    path = unpacked_copy(source, folder / "a.imujump")
    before = {name: (folder / name).read_bytes() for name in os.listdir(folder)}
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        assert stored(path) == packets
    finally:
        folder.chmod(stat.S_IRWXU)
    assert {name: (folder / name).read_bytes() for name in os.listdir(folder)} == before
    # Packing recovers it into the very file that a regular end would have given.
    pack_file(path)
    assert os.listdir(folder) == ["a.imujump"]
    assert stored(path) == packets
    profile, _, _ = quiet_packets(seconds=12.0)
    whole = write(tmp_path / "whole.imujump", profile, packets)
    assert path.read_bytes() == whole.read_bytes()


def test_log_cut_at_any_byte_still_opens(left_over, tmp_path):
    source, packets = left_over
    log = (source.parent / f"{source.name}-wal").read_bytes()
    path = tmp_path / "a.imujump"
    shutil.copyfile(source, path)
    rng = np.random.default_rng(8)
    lengths = set()
    for cut in [0, 1, 31, 32, 33, *rng.integers(0, len(log), size=30).tolist(), len(log)]:
        (tmp_path / "a.imujump-wal").write_bytes(log[:cut])
        read = stored(path)
        assert read == packets[: len(read)]
        lengths.add(len(read))
    assert len(packets) in lengths
    assert len(lengths) > 1


def test_wal_mode_file_without_log_reads_in_a_read_only_folder(tmp_path):
    profile, _, packets = quiet_packets(seconds=3.0)
    writer = RecordingWriter(tmp_path / "live.imujump", sensors(profile))
    for packet in packets:
        writer.append_packet(*packet)
    writer.flush()
    target = tmp_path / "ro"
    target.mkdir()
    path = unpacked_copy(writer.path, target / "a.imujump")
    writer.close()
    database = sqlite3.connect(path)
    database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()
    assert path.read_bytes()[18:20] == b"\x02\x02"  # SQLite's mark of write-ahead mode
    target.chmod(stat.S_IRUSR | stat.S_IXUSR)
    try:
        assert stored(path) == packets
    finally:
        target.chmod(stat.S_IRWXU)


def test_refusals(tmp_path):
    path = tmp_path / "a.imujump"
    for content, place in (
        (b"", "the file is empty"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(500), "not a recording"),
        (b"SQLite format 3\0" + bytes(20), "not a recording"),
    ):
        path.write_bytes(content)
        with pytest.raises(RecordingError, match=place):
            open_recording(path)
    path.unlink()
    database = sqlite3.connect(path)
    database.execute("CREATE TABLE sensor (number)")
    database.commit()
    database.close()
    before = path.read_bytes()
    with pytest.raises(RecordingError, match="database of another program"):
        open_recording(path)
    assert path.read_bytes() == before
    with pytest.raises(RecordingError, match="no such file"):
        open_recording(tmp_path / "absent.imujump")
    with pytest.raises(RecordingError, match="cannot be read"):
        check_header(tmp_path / "absent.imujump")
    with pytest.raises(RecordingError, match="this is a folder"):
        open_recording(tmp_path)
    profile, _, packets = quiet_packets(seconds=1.0)
    with pytest.raises(RecordingError, match="exists already"):
        RecordingWriter(path, sensors(profile))
    with pytest.raises(RecordingError, match="cannot be written"):
        RecordingWriter(tmp_path / "no" / "such" / "b.imujump", sensors(profile))
    newer = write(tmp_path / "newer.imujump", profile, packets)
    database = sqlite3.connect(newer)
    database.execute("PRAGMA user_version = 2")
    database.close()
    with pytest.raises(VersionError, match="format version 2, this program knows up to 1; update"):
        open_recording(newer)


def test_a_file_being_recorded_is_not_packed(tmp_path):
    profile, _, packets = quiet_packets(seconds=3.0)
    with RecordingWriter(tmp_path / "a.imujump", sensors(profile)) as writer:
        for packet in packets[:40]:
            writer.append_packet(*packet)
        writer.flush()
        assert stored(writer.path) == packets[:40]
        with pytest.raises(RecordingError, match="in use"):
            pack_file(writer.path)
        for packet in packets[40:]:
            writer.append_packet(*packet)
    assert os.listdir(tmp_path) == ["a.imujump"]
    assert stored(writer.path) == packets


def test_full_disk_is_told_and_what_was_stored_stays(tmp_path):
    profile, _, packets = quiet_packets(seconds=60.0)
    writer = RecordingWriter(tmp_path / "a.imujump", sensors(profile))
    # SQLite's own limit stands in for the disk's.
    writer._file._database.execute("PRAGMA max_page_count = 40")

    def fill():
        for packet in packets:
            writer.append_packet(*packet)
            writer.flush()

    with pytest.raises(RecordingError, match=r"could not be continued \(.*full\); free disk space"):
        fill()
    with pytest.raises(RecordingError, match="could not be continued"):
        writer.close()
    read = stored(writer.path)
    assert len(read) > 10
    assert read == packets[: len(read)]


def test_misuse_of_the_writer(tmp_path):
    profile = compact_profile(100.0)
    two = sensors(profile)[:2]
    with pytest.raises(ValueError, match="placement twice"):
        RecordingWriter(tmp_path / "a.imujump", [two[0], two[0]])
    with pytest.raises(ValueError, match="no time zone"):
        RecordingWriter(tmp_path / "a.imujump", two, datetime(2025, 1, 1))  # noqa: DTZ001
    writer = RecordingWriter(tmp_path / "a.imujump", two)
    with pytest.raises(ValueError, match="no sensor"):
        writer.append_packet(Placement.PELVIS, 0.0, b"")
    with pytest.raises(ValueError, match="must be finite"):
        writer.append_packet(Placement.LEFT_SHANK, float("nan"), b"")
    writer.close()
    writer.close()
    with pytest.raises(ValueError, match="closed"):
        writer.append_packet(Placement.LEFT_SHANK, 0.0, b"")


def test_repeated_late_and_foreign_packets(tmp_path):
    profile, _, packets = quiet_packets(seconds=5.0)
    pelvis = [packet for packet in packets if packet[0] is Placement.PELVIS]
    sent = [*pelvis[:10], pelvis[9], *pelvis[12:20], pelvis[10], (*pelvis[20][:2], b"odd")]
    sent += [(*pelvis[20][:2], b""), *pelvis[21:]]
    path = write(tmp_path / "a.imujump", profile, sent)
    assert stored(path) == sent
    batches, info = drain(path)
    ticks = np.concatenate([batch.ticks for batch in batches])
    assert np.all(np.diff(ticks) > 0)
    missing = [10, 11, 20]
    expected = [n for n in range(len(pelvis)) if n not in missing]
    assert ((ticks[::10] - ticks[0]) // 100_000).tolist() == expected
    assert "left_shank has no samples" in info.warnings
    assert any("pelvis: 20 samples arrived twice or too late" in text for text in info.warnings)
    assert any("pelvis: 2 packets do not fit" in text for text in info.warnings)


def test_silence_longer_than_a_turn_of_the_clock(tmp_path):
    text = compact_profile(100.0).text.replace('"uint32"', '"uint16"').replace("1e-06", "0.001")
    profile = parse_profile(text)
    rng = np.random.default_rng(2)
    values = {Placement.PELVIS: quiet_values(rng, 30_000, profile)}
    packets = radio_packets(profile, values, start_tick=100)
    kept = packets[:100] + packets[2000:]  # 190 s of silence; 16 bits of 1 ms turn in 65.5 s
    batches, _ = drain(write(tmp_path / "a.imujump", profile, kept))
    steps = np.diff(np.concatenate([batch.ticks for batch in batches]))
    assert sorted(set(steps.tolist())) == [10, 190_010]


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    profile, _, packets = quiet_packets(seconds=8.0)
    return write(tmp_path_factory.mktemp("small") / "a.imujump", profile, packets).read_bytes()


@given(data=st.data())
@settings(max_examples=150, deadline=None)
def test_mutated_recordings_read_or_complain(small, tmp_path_factory, data):
    content = bytearray(small)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        piece = data.draw(st.binary(min_size=1, max_size=8))
        content[at : at + len(piece)] = piece
    end = data.draw(st.sampled_from([len(content), len(content) // 2, 1024, 150]))
    path = tmp_path_factory.mktemp("fuzz") / "a.imujump"
    path.write_bytes(content[:end])
    with contextlib.suppress(ImuJumpError):
        drain(path)


@given(content=st.binary(max_size=300), head=st.sampled_from([0, 16, 100, 1024]))
@settings(max_examples=60, deadline=None)
def test_arbitrary_bytes_complain(small, tmp_path_factory, content, head):
    path = tmp_path_factory.mktemp("fuzz") / "a.imujump"
    path.write_bytes(small[:head] + content)
    with pytest.raises(RecordingError):
        drain(path)


def test_damaged_pages_are_named(small, tmp_path):
    path = tmp_path / "a.imujump"
    path.write_bytes(small[: len(small) - 2048])
    with pytest.raises(CorruptError, match="pages are damaged"):
        drain(path)
    flipped = bytearray(small)
    flipped[len(small) - 3000] ^= 255  # inside a compressed block
    path.write_bytes(flipped)
    with pytest.raises(CorruptError, match=r"block of packet \d+ is damaged"):
        drain(path)


packet_lists = st.lists(
    st.builds(
        Packet,
        st.integers(0, 2),
        st.floats(allow_nan=False, allow_infinity=False),
        st.one_of(st.binary(max_size=40), st.binary(min_size=30, max_size=30)),
    ),
    max_size=40,
)


@given(packet_lists)
@settings(max_examples=100, deadline=None)
def test_blocks_keep_any_packets(packets):
    profiles = [compact_profile(100.0)] * 3
    block = pack_chunk(chunk_from_packets(packets), profiles)
    assert unpack_block(block, profiles).packets == packets
    assert repr(unpack_block(block, profiles).packets) == repr(packets)  # -0.0 too


@given(st.binary(max_size=200), packet_lists, st.integers(0, 10**6))
@settings(max_examples=100, deadline=None)
def test_damaged_blocks_raise_value_error(junk, packets, at):
    profiles = [compact_profile(100.0)] * 3
    block = pack_chunk(chunk_from_packets(packets), profiles)
    at %= len(block)
    for damaged in (junk, block[:at] + junk + block[at:]):
        try:
            unpack_block(damaged, profiles)
        except ValueError:
            continue


@given(st.data(), st.sampled_from(["i1", "i2", "i4", "i8"]))
@settings(max_examples=80, deadline=None)
def test_columns_come_back(data, kind):
    dtype = np.dtype(kind)
    count, length = data.draw(st.integers(0, 4)), data.draw(st.integers(0, 400))
    rng = np.random.default_rng(data.draw(st.integers(0, 2**32)))
    limits = np.iinfo(dtype)
    smooth = np.cumsum(rng.integers(-3, 4, size=(count, length)), axis=1).astype(dtype)
    wild = rng.integers(limits.min, limits.max, size=(count, length), dtype=dtype, endpoint=True)
    for columns in (smooth, wild):
        assert np.array_equal(backward(forward(columns), count, length, dtype), columns)


def test_find_recordings_lists_recording_files(tmp_path):
    profile, _, packets = quiet_packets(seconds=1.0)
    second = write(tmp_path / "b.imujump", profile, packets)
    first = write(tmp_path / "a.imujump", profile, packets)
    assert find_recordings([tmp_path]) == [first, second]
