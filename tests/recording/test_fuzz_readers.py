"""Arbitrary bytes and mutated files: every reader reads or raises one clear sentence."""

from __future__ import annotations

import contextlib

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from imujump.errors import ImuJumpError
from imujump.recording.export_tables import export_parquet
from imujump.recording.files import open_recording
from recording.bids_folder import channel_rows, data_lines, write
from recording.test_exports import made_up_source
from recording.test_tables import MAP

FUZZ = settings(max_examples=80, deadline=None)

# Pieces that parsers trip over: number ends, quotes, separators, foreign encodings.
PIECES = st.one_of(
    st.binary(max_size=6),
    st.sampled_from(
        [
            b"\t",
            b"\n",
            b"\r",
            b"\r\n\r\n",
            b'"',
            b",",
            b";",
            b"\0",
            b"n/a",
            b"nan",
            b"-inf",
            b"1e999",
            b"-1e308",
            b"9" * 400,
            b"1_0",
            b"0x1p3",
            b"\xef\xbb\xbf",
            b"\xff\xfe",
            "½".encode(),
            b"{}",
            b"[[",
            b"null",
        ]
    ),
)
EDITS = st.lists(st.tuples(st.floats(0, 1), PIECES, st.integers(0, 40)), min_size=1, max_size=4)


def edited(content, edits):
    for share, piece, removed in edits:
        at = int(share * len(content))
        content = content[:at] + piece + content[at + removed :]
    return content


def read(path, column_map=None):
    """Read to the end; samples that come out must keep the promises of the data types."""
    with contextlib.suppress(ImuJumpError):
        source = open_recording(path, column_map)
        try:
            last = {}
            for batch in source.batches():
                assert np.all(np.diff(batch.ticks) > 0)
                assert batch.ticks[0] > last.get(batch.placement, -(2**63))
                last[batch.placement] = batch.ticks[-1]
                assert batch.accel_mps2.shape == batch.gyro_radps.shape == (len(batch.ticks), 3)
                assert not np.isinf(batch.accel_mps2).any()
                assert not np.isinf(batch.gyro_radps).any()
            for sensor in source.info.sensors:
                assert 0 < sensor.rate_hz < np.inf
                assert 0 < sensor.tick_s < np.inf
        finally:
            source.close()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz")


@given(edits=EDITS, stamped=st.booleans())
@FUZZ
def test_mutated_motion_table(folder, edits, stamped):
    lines, channels = data_lines(12), None
    if stamped:
        channels = [["t", "n/a", "LATENCY", "n/a", "s", "n/a"], *channel_rows()]
        lines = [f"{number / 100:.2f}\t{line}" for number, line in enumerate(lines)]
    path = write(folder, lines, channels)
    path.write_bytes(edited(path.read_bytes(), edits))
    read(path)


@given(edits=EDITS, which=st.sampled_from(["channels.tsv", "motion.json"]))
@FUZZ
def test_mutated_sidecar(folder, edits, which):
    path = write(folder, data_lines(12))
    sidecar = path.with_name(path.name.replace("motion.tsv", which))
    sidecar.write_bytes(edited(sidecar.read_bytes(), edits))
    read(path)


@given(edits=EDITS, which=st.sampled_from(["scans", "events"]))
@FUZZ
def test_mutated_notes_beside_a_recording(folder, edits, which):
    path = write(folder / "sub-t1" / "motion", data_lines(3))
    notes = {
        "scans": (
            folder / "sub-t1" / "sub-t1_scans.tsv",
            f"filename\tacq_time\nmotion/{path.name}\t2025-01-02T03:04:05Z\n",
        ),
        "events": (
            path.with_name(path.name.replace("motion.tsv", "events.tsv")),
            "onset\tduration\tnote\n1.5\tn/a\tgood\n",
        ),
    }
    target, text = notes[which]
    target.write_bytes(edited(text.encode(), edits))
    try:
        read(path)
    finally:
        target.unlink()


@given(content=st.binary(max_size=300))
@FUZZ
def test_arbitrary_bytes_as_any_file(folder, content):
    column_map = folder / "whole.toml"
    column_map.write_text(MAP)
    for name in ("a.csv", "a.parquet", "a.txt", "a.imujump"):
        (folder / name).write_bytes(content)
        read(folder / name, column_map)
        read(folder / name)
    path = write(folder, data_lines(3))
    path.write_bytes(content)
    read(path)


CSV = pd.DataFrame({name: np.arange(12.0) for name in ("t", "ax", "ay", "az", "gx", "gy", "gz")})


@given(edits=EDITS, which=st.sampled_from(["table", "map"]))
@FUZZ
def test_mutated_csv_or_map(folder, edits, which):
    table, column_map = CSV.to_csv(index=False).encode(), MAP.encode()
    if which == "table":
        table = edited(table, edits)
    else:
        column_map = edited(column_map, edits)
    (folder / "b.csv").write_bytes(table)
    (folder / "b.toml").write_bytes(column_map)
    read(folder / "b.csv", folder / "b.toml")


@given(data=st.data())
@FUZZ
def test_mutated_parquet(folder, data):
    path = folder / "c.parquet"
    if not path.exists():
        export_parquet(made_up_source(samples=40)[0], path)
    content = edited(path.read_bytes(), data.draw(EDITS))
    broken = folder / "d.parquet"
    broken.write_bytes(content)
    read(broken)
