"""Motion-BIDS reading against hand-written files and against a plain pandas reading."""

from __future__ import annotations

import json
import math

import numpy as np
import pandas as pd
import pytest

from imujump.errors import CorruptError, RecordingError
from imujump.model import Placement
from imujump.recording.files import find_recordings, open_recording
from imujump.recording.placements import placement_of
from recording.bids_folder import channel_rows, data_lines, value, write


def gather(source):
    """Concatenate each sensor's batches: placement -> (ticks, accel, gyro)."""
    batches = list(source.batches())
    return {
        sensor.placement: tuple(
            np.concatenate([getattr(b, name) for b in batches if b.placement is sensor.placement])
            for name in ("ticks", "accel_mps2", "gyro_radps")
        )
        for sensor in source.info.sensors
        if any(b.placement is sensor.placement for b in batches)
    }


@pytest.mark.requires_shared("virtual_recordings")
def test_virtual_recordings_equal_a_plain_reading(shared_data):
    paths = find_recordings([shared_data / "virtual_recordings"])
    assert len(paths) == 57
    units_seen = set()
    for path in paths[::3]:
        stem = str(path).removesuffix("_motion.tsv")
        channels = pd.read_csv(stem + "_channels.tsv", sep="\t")
        table = pd.read_csv(path, sep="\t", header=None, na_values="n/a")
        rate_hz = json.loads((path.parent / (stem + "_motion.json")).read_text())[
            "SamplingFrequency"
        ]
        source = open_recording(path)
        data = gather(source)
        assert not source.info.warnings
        assert len(data) == 3
        for placement, (ticks, accel, gyro) in data.items():
            own = channels[channels.tracked_point == placement.value]
            columns = table[own.index].to_numpy()
            kept = ~np.isnan(columns).all(axis=1)
            assert np.array_equal(ticks, np.flatnonzero(kept))
            units = tuple(own.units.unique())
            units_seen.add(units)
            accel_unit = 9.80665 if units[0] == "g" else 1.0
            gyro_unit = math.pi / 180 if units[1] == "deg/s" else 1.0
            assert np.allclose(accel, columns[kept][:, :3] * accel_unit, rtol=1e-15, atol=0)
            assert np.allclose(gyro, columns[kept][:, 3:] * gyro_unit, rtol=1e-15, atol=0)
        for sensor in source.info.sensors:
            assert (sensor.rate_hz, sensor.tick_s) == (rate_hz, 1 / rate_hz)
    assert units_seen == {("m/s^2", "rad/s"), ("g", "deg/s")}


def test_gap_rows_jump_and_partly_missing_rows_keep_nan(tmp_path):
    lines = data_lines(8)
    for row in (3, 4):
        cells = lines[row].split("\t")
        lines[row] = "\t".join(["n/a"] * 6 + cells[6:])
    cells = lines[6].split("\t")
    lines[6] = "\t".join([*cells[:14], "n/a", *cells[15:]])
    source = open_recording(write(tmp_path, lines))
    data = gather(source)
    assert data[Placement.LEFT_SHANK][0].tolist() == [0, 1, 2, 5, 6, 7]
    assert data[Placement.RIGHT_SHANK][0].tolist() == list(range(8))
    pelvis = data[Placement.PELVIS][1]
    assert np.argwhere(np.isnan(pelvis)).tolist() == [[6, 2]]
    assert pelvis[7].tolist() == [value(7, 12), value(7, 13), value(7, 14)]
    assert source.info.warnings == ()


@pytest.mark.parametrize(
    ("text", "placement"),
    [
        ("left_shank", Placement.LEFT_SHANK),
        ("left shank", Placement.LEFT_SHANK),
        ("LeftShank", Placement.LEFT_SHANK),
        ("LEFT SHANK", Placement.LEFT_SHANK),
        ("leftshank", Placement.LEFT_SHANK),
        ("L_LowLeg", Placement.LEFT_SHANK),
        ("LShank", Placement.LEFT_SHANK),
        ("left lateral shank, about 10 cm above the ankle", Placement.LEFT_SHANK),
        ("LeftLowerLeg", Placement.LEFT_SHANK),
        ("lower_leg_left", Placement.LEFT_SHANK),
        ("tibia (L)", Placement.LEFT_SHANK),
        ("R_LowLeg2", Placement.RIGHT_SHANK),
        ("right-shin", Placement.RIGHT_SHANK),
        ("RightAnkle", Placement.RIGHT_SHANK),
        ("pelvis", Placement.PELVIS),
        ("Sacrum", Placement.PELVIS),
        ("lower back", Placement.PELVIS),
        ("LowerBack", Placement.PELVIS),
        ("lowback", Placement.PELVIS),
        ("L5", Placement.PELVIS),
        ("lumbar spine", Placement.PELVIS),
        ("left thigh", None),
        ("upper leg left", None),
        ("left foot", None),
        ("left and right shank", None),
        ("shank", None),
        ("head", None),
        ("upper back", None),
        ("", None),
    ],
)
def test_placement_from_free_text(text, placement):
    assert placement_of(text) is placement


def test_placement_column_counts_when_the_tracked_point_says_nothing(tmp_path):
    channels = channel_rows(points=("imu1", "imu2", "imu3"))
    for row in channels:
        row[5] = {"imu1": "LeftShank", "imu2": "n/a", "imu3": "lower back"}[row[3]]
    data = gather(open_recording(write(tmp_path, data_lines(3), channels)))
    assert set(data) == {Placement.LEFT_SHANK, Placement.PELVIS}
    assert data[Placement.PELVIS][2][1].tolist() == [1.15, 1.16, 1.17]


def test_latency_channel_gives_the_time(tmp_path):
    channels = [["t", "n/a", "LATENCY", "n/a", "s", "n/a"], *channel_rows()]
    stamps = [0.0, 0.01, 0.02, 0.05, 0.06]
    lines = [f"{t:.3f}\t{line}" for t, line in zip(stamps, data_lines(5), strict=True)]
    source = open_recording(write(tmp_path, lines, channels, sidecar=False))
    assert gather(source)[Placement.PELVIS][0].tolist() == [0, 1, 2, 5, 6]
    assert source.info.sensors[0].tick_s == pytest.approx(0.01)
    assert "no SamplingFrequency" in source.info.warnings[0]


def test_inherited_sidecar(tmp_path):
    (tmp_path / "task-jump_motion.json").write_text('{"SamplingFrequency": 50}')
    path = write(tmp_path / "sub-t1" / "motion", data_lines(3), sidecar=False)
    assert open_recording(path).info.sensors[0].rate_hz == 50
    path = write(tmp_path / "sub-t1" / "motion", data_lines(3), sidecar={"SamplingFrequency": 25})
    assert open_recording(path).info.sensors[0].rate_hz == 25


def drain(path):
    source = open_recording(path)
    for _ in source.batches():
        pass
    return source


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda lines: [*lines[:4], "1\t2\t3", *lines[5:]], "row 5 has 3 columns where 18"),
        (lambda lines: [*lines, "1\t2\t3"], "row 7 has 3 columns where 18"),
        (
            lambda lines: [*lines[:2], lines[2].replace("2.03", "2,03"), *lines[3:]],
            "row 3, column left_shank_gyro_x: '2,03' is not a number",
        ),
        (
            lambda lines: [*lines[:2], lines[2].replace("2.03", "wide"), *lines[3:]],
            "row 3, column left_shank_gyro_x: 'wide' is not a number",
        ),
        (lambda lines: ["1\t2", *lines], "row 1 has 2 columns where"),
        (lambda lines: [""], "the file is empty"),
        (lambda lines: ["\t".join(["n/a"] * 18)] * 4, "not one sample"),
    ],
)
def test_bad_rows_are_located(tmp_path, change, place):
    path = write(tmp_path, change(data_lines(6)))
    with pytest.raises(RecordingError, match=place) as caught:
        drain(path)
    assert str(caught.value).endswith(".")
    assert str(path) in str(caught.value)


def test_fault_far_inside_a_large_table_is_located(tmp_path):
    lines = data_lines(9000)
    lines[8123] = lines[8123].replace("8123.05", "81x3.05")
    with pytest.raises(CorruptError, match=r"row 8124, column left_shank_gyro_z: '81x3\.05'"):
        drain(write(tmp_path, lines))


def test_unfinished_last_row_is_left_out_with_a_warning(tmp_path):
    whole = data_lines(6)
    for cut in (1, 30, len(whole[5])):
        source = drain(write(tmp_path, [*whole[:5], whole[5][:cut]], end=""))
        assert "last row has no line end" in source.info.warnings[0]
        assert gather(source)[Placement.PELVIS][0].tolist() == [0, 1, 2, 3, 4]


def test_written_nan_and_infinity_count_as_missing(tmp_path):
    lines = data_lines(4)
    lines[1] = lines[1].replace("1.00", "inf").replace("1.01", "NaN").replace("1.02", "-Infinity")
    source = open_recording(write(tmp_path, lines))
    accel = gather(source)[Placement.LEFT_SHANK][1]
    assert np.isnan(accel[1]).all()
    assert np.isfinite(accel[[0, 2, 3]]).all()
    assert source.info.warnings == ("3 values that are NaN or infinite were taken as missing",)


def test_missing_channel_warns_and_reads_as_nan(tmp_path):
    channels = [row for row in channel_rows() if row[0] != "pelvis_gyro_z"]
    source = open_recording(write(tmp_path, data_lines(3, columns=17), channels))
    gyro = gather(source)[Placement.PELVIS][2]
    assert np.isnan(gyro[:, 2]).all()
    assert np.isfinite(gyro[:, :2]).all()
    assert source.info.warnings == ("pelvis has no channel gyro_z",)


def change_row(name, column, text):
    rows = channel_rows()
    for row in rows:
        if row[0] == name:
            row[column] = text
    return rows


@pytest.mark.parametrize(
    ("channels", "sidecar", "place"),
    [
        (change_row("pelvis_gyro_y", 4, "furlong/s"), None, r"row 18 .*'furlong/s' is not known"),
        (change_row("pelvis_gyro_y", 4, "n/a"), None, "'' is not known for GYRO"),
        (change_row("pelvis_gyro_y", 1, "w"), None, "component 'w' is not x, y or z"),
        (change_row("pelvis_gyro_y", 0, "pelvis_gyro_x"), None, "pelvis_gyro_x occurs twice"),
        (channel_rows(points=("head", "foot", "hand")), None, "no ACCEL or GYRO channel"),
        ([], None, "has no rows"),
        (None, False, r"SamplingFrequency is stated .*_motion\.json is missing"),
        (None, {"SamplingFrequency": -5}, "'-5', which is no positive number"),
        (None, {"SamplingFrequency": "fast"}, "'fast', which is no positive number"),
        (None, [1, 2], "no JSON object"),
    ],
)
def test_bad_descriptions(tmp_path, channels, sidecar, place):
    path = write(tmp_path, data_lines(3), channels, sidecar)
    with pytest.raises(RecordingError, match=place):
        drain(path)


def test_missing_and_foreign_files(tmp_path):
    path = write(tmp_path / "a", data_lines(3))
    table = next(path.parent.glob("*_channels.tsv"))
    table.write_bytes(table.read_bytes().replace(b"n/a", b"\xe4rmel"))
    with pytest.raises(RecordingError, match="not UTF-8 text"):
        drain(path)
    table.unlink()
    with pytest.raises(RecordingError, match=r"channel table .* is missing"):
        drain(path)
    path = write(tmp_path / "b", data_lines(3))
    path.with_name(path.name.replace(".tsv", ".json")).write_text("{broken")
    with pytest.raises(RecordingError, match="line 1 is not JSON"):
        drain(path)
    # The first bytes of a JPEG file (JFIF header).
    path.write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01" + bytes(range(256)) * 20)
    with pytest.raises(RecordingError, match="not a text table"):
        drain(path)
    path.write_bytes("höhe\tbreite\n".encode("latin-1"))
    with pytest.raises(RecordingError, match="not UTF-8 text"):
        drain(path)
    path.write_bytes(b"")
    with pytest.raises(RecordingError, match="is empty"):
        drain(path)
    with pytest.raises(RecordingError, match="no such file"):
        drain(tmp_path / "absent_motion.tsv")


def test_find_recordings(tmp_path):
    first = write(tmp_path / "sub-b" / "motion", data_lines(3))
    second = write(tmp_path / "sub-a" / "motion", data_lines(3))
    assert find_recordings([tmp_path, str(first)]) == [second, first]
    empty = tmp_path / "empty"
    empty.mkdir()
    with pytest.raises(RecordingError, match="holds no recording"):
        find_recordings([empty])
    with pytest.raises(RecordingError, match="no such file or folder"):
        find_recordings([tmp_path / "absent"])
