"""CSV and Parquet tables with a column map, and the faults of time columns."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from imujump.errors import CorruptError, RecordingError
from imujump.model import Placement
from imujump.recording.column_map import read_column_map
from imujump.recording.files import open_recording
from imujump.recording.timeline import timeline_from_stamps
from imujump.recording.units import ACCEL_UNITS, GYRO_UNITS, TIME_UNITS, unit_factor
from recording.test_motion_bids import drain, gather

MAP = """
[time]
column = "t"
unit = "ms"
[pelvis]
accel = ["ax", "ay", "az"]
accel_unit = "g"
accel_range = 16
gyro = ["gx", "gy", "gz"]
gyro_unit = "deg/s"
id = "A1"
"""


@pytest.fixture
def column_map(tmp_path):
    path = tmp_path / "map.toml"
    path.write_text(MAP)
    return path


def frame(rows=50, step_ms=10.0):
    t = np.arange(rows) * step_ms + 1.7e12
    table = pd.DataFrame({"t": t})
    for number, name in enumerate(("ax", "ay", "az", "gx", "gy", "gz")):
        table[name] = np.arange(rows) + number / 10
    table["note"] = "a, b"
    return table


def csv(tmp_path, table, **more):
    path = tmp_path / "a.csv"
    table.to_csv(path, index=False, **more)
    return path


def test_csv_with_map(tmp_path, column_map):
    source = open_recording(csv(tmp_path, frame()), column_map)
    ticks, accel, gyro = gather(source)[Placement.PELVIS]
    assert source.info.warnings == ()
    assert ticks.tolist() == list(range(50))
    assert accel[3] == pytest.approx(np.array([3.0, 3.1, 3.2]) * 9.80665, rel=1e-15)
    assert gyro[3] == pytest.approx(np.array([3.3, 3.4, 3.5]) * math.pi / 180, rel=1e-15)
    sensor = source.info.sensors[0]
    assert (sensor.sensor_id, sensor.rate_hz) == ("A1", 100.0)
    assert sensor.accel_range_mps2 == pytest.approx(156.9064)


def test_csv_with_semicolons_and_decimal_commas(tmp_path, column_map):
    column_map.write_text('decimal = ","\n' + MAP)
    path = csv(tmp_path, frame(), sep=";", decimal=",")
    _, accel, _ = gather(open_recording(path, column_map))[Placement.PELVIS]
    assert accel[3, 1] == pytest.approx(3.1 * 9.80665, rel=1e-15)
    path.write_text(path.read_text().replace("7,3", "7.3"))
    with pytest.raises(CorruptError, match=r"row 9, column gx: '7\.3' is not a number"):
        for _ in open_recording(path, column_map).batches():
            pass


@pytest.mark.parametrize("kind", ["number", "datetime64[ns]", "datetime64[ms]", "timedelta64[us]"])
def test_parquet_with_map(tmp_path, column_map, kind):
    table = frame()
    since_ms = (table["t"] - table["t"][0]).astype("int64")
    if kind.startswith("datetime"):
        table["t"] = pd.Series(table["t"].astype("int64").to_numpy().astype("datetime64[ms]"))
        table["t"] = table["t"].astype(kind)
    elif kind.startswith("timedelta"):
        table["t"] = since_ms.to_numpy().astype("timedelta64[ms]").astype(kind)
    path = tmp_path / "a.parquet"
    table.to_parquet(path)
    source = open_recording(path, column_map)
    ticks, _, gyro = gather(source)[Placement.PELVIS]
    assert source.info.sensors[0].rate_hz == 100.0
    assert ticks.tolist() == list(range(50))
    assert gyro[3, 2] == pytest.approx(3.5 * math.pi / 180, rel=1e-15)


def test_table_without_time_needs_the_rate(tmp_path, column_map):
    column_map.write_text("rate_hz = 250\n" + MAP[MAP.index("[pelvis]") :])
    source = open_recording(csv(tmp_path, frame()), column_map)
    assert source.info.sensors[0].tick_s == 1 / 250
    column_map.write_text(MAP[MAP.index("[pelvis]") :])
    with pytest.raises(RecordingError, match="key rate_hz is missing"):
        open_recording(tmp_path / "a.csv", column_map)


def test_time_running_backwards_is_refused(tmp_path, column_map):
    table = frame()
    table.loc[20:, "t"] -= 100.0
    with pytest.raises(RecordingError, match="time runs backwards at row 22"):
        open_recording(csv(tmp_path, table), column_map)


def test_repeated_rows_are_left_out(tmp_path, column_map):
    table = frame()
    table = pd.concat([table[:20], table[19:20], table[20:30], table[29:]])
    source = open_recording(csv(tmp_path, table), column_map)
    ticks, accel, _ = gather(source)[Placement.PELVIS]
    assert ticks.tolist() == list(range(50))
    assert (accel[:, 0] / 9.80665).round(9).tolist() == list(range(50))
    assert "2 rows repeat the time stamp of the row before" in source.info.warnings[0]
    assert "(first: row 22)" in source.info.warnings[0]


def test_rows_without_time_are_left_out(tmp_path, column_map):
    table = frame()
    table.loc[[4, 5], "t"] = np.nan
    source = open_recording(csv(tmp_path, table), column_map)
    assert gather(source)[Placement.PELVIS][0].tolist() == [0, 1, 2, 3, *range(6, 50)]
    assert source.info.warnings == ("2 rows without a time stamp were left out",)
    table["t"] = np.nan
    with pytest.raises(RecordingError, match="no row has a time stamp"):
        open_recording(csv(tmp_path, table), column_map)


def test_absurd_numbers(tmp_path, column_map):
    table = frame()
    table.loc[7, "ax"] = 1e308  # times 9.8 it leaves the range of a float64
    source = open_recording(csv(tmp_path, table), column_map)
    assert np.isnan(gather(source)[Placement.PELVIS][1][7, 0])
    for stamp in (1e305, -1e305, 1e15):
        table.loc[30, "t"] = stamp
        with pytest.raises(RecordingError, match="row 32 lies years away"):
            open_recording(csv(tmp_path, table), column_map)


def test_rate_that_does_not_fit_the_time_stamps(tmp_path, column_map):
    column_map.write_text("rate_hz = 200\n" + MAP)
    source = open_recording(csv(tmp_path, frame()), column_map)
    assert source.info.sensors[0].rate_hz == 100.0
    assert source.info.sensors[0].tick_s == 0.01
    assert (
        "stated rate of 200 Hz does not fit the time stamps (100.00 Hz)"
        in (source.info.warnings[0])
    )


def test_uneven_time_counts_microseconds(tmp_path, column_map):
    rng = np.random.default_rng(1)
    table = frame(rows=400)
    table["t"] = 1000.0 + np.cumsum(rng.uniform(4.0, 16.0, size=400)).round(3)
    source = open_recording(csv(tmp_path, table), column_map)
    ticks = gather(source)[Placement.PELVIS][0]
    assert source.info.sensors[0].tick_s == 1e-6
    assert np.array_equal(ticks, np.rint((table["t"] - table["t"][0]) * 1000).astype(int))
    assert source.info.sensors[0].rate_hz == pytest.approx(100.0, rel=0.05)


@pytest.mark.parametrize("rate_hz", [60.0, 100.0, 128.0, 204.8, 225.0, 400.0])
@pytest.mark.parametrize("step_s", [1e-3, 1e-6, None])
def test_rounded_stamps_give_even_ticks(rate_hz, step_s):
    rows = np.delete(np.arange(20_000), slice(700, 900))
    stamps_s = 1.7e9 + rows / rate_hz
    if step_s:
        stamps_s = np.round(stamps_s / step_s) * step_s
    line = timeline_from_stamps(None, stamps_s, None)
    assert line.regular
    assert np.array_equal(line.ticks, rows)
    # 1 ms over the length of the recording, and no error at all for whole rates.
    assert line.tick_s == pytest.approx(1 / rate_hz, rel=1e-3 * rate_hz / 20_000)


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ('"g"', '"furlong"', r"pelvis\.accel_unit is 'furlong'; use one of m/s\^2"),
        ('"deg/s"', "3", r"pelvis\.gyro_unit is '3'"),
        ('"ms"', '"h"', r"time\.unit is 'h'"),
        ('column = "t"\n', "", r"time\.column is missing"),
        ('["ax", "ay", "az"]', '["ax", "ay"]', r"pelvis\.accel is no list of three"),
        ("[pelvis]", "[head]", "head is not known"),
        ("accel_range", "accel_scale", r"pelvis\.accel_scale is not known"),
        ("accel_range = 16", "accel_range = -16", r"pelvis\.accel_range is '-16'"),
        ("[pelvis]", "[pelvis", r"not TOML .*line 5"),
    ],
)
def test_bad_column_map_names_the_key(column_map, old, new, named):
    assert MAP.count(old) == 1
    column_map.write_text(MAP.replace(old, new))
    with pytest.raises(RecordingError, match=named):
        read_column_map(column_map)


def test_column_map_must_fit_the_table(tmp_path, column_map):
    path = csv(tmp_path, frame())
    with pytest.raises(RecordingError, match="columns is not known; give a column map"):
        open_recording(path)
    column_map.write_text(MAP.replace('"gz"', '"gw"'))
    with pytest.raises(RecordingError, match="no column 'gw'"):
        open_recording(path, column_map)
    column_map.write_text(MAP.replace('"gz"', '"gy"'))
    with pytest.raises(RecordingError, match="uses the column 'gy' twice"):
        open_recording(path, column_map)
    column_map.write_text(MAP.replace('"gz"', '""'))
    source = open_recording(path, column_map)
    assert np.isnan(gather(source)[Placement.PELVIS][2][:, 2]).all()
    assert source.info.warnings == ("pelvis has no channel gyro_z",)
    column_map.write_text(MAP)
    path.write_text(path.read_text().replace("gz,note", "gz,ax"))
    with pytest.raises(RecordingError, match="'ax' occurs twice"):
        open_recording(path, column_map)
    with pytest.raises(RecordingError, match="cannot be read"):
        open_recording(path, tmp_path / "absent.toml")


def test_bad_tables(tmp_path, column_map):
    path = tmp_path / "a.parquet"
    for content, place in (
        (b"", "is empty"),
        (b"\xff\xd8\xff\xe0JFIF" * 10, "not a Parquet table"),
        (b"PAR1" + bytes(100), "Parquet table is damaged"),
    ):
        path.write_bytes(content)
        with pytest.raises(RecordingError, match=place):
            open_recording(path, column_map)
    table = frame()
    table["gx"] = "fast"
    table.to_parquet(path)
    with pytest.raises(RecordingError, match=r"column 'gx' holds .*, not numbers"):
        open_recording(path, column_map)
    path = tmp_path / "a.csv"
    for content, place in (
        (b"", "is empty"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF" * 10, "not a text table"),
        (b"t,ax,ay,az,gx,gy,gz\n", "no rows|no row"),
        (b"t,ax,ay,az,gx,gy,gz", "no complete row"),
        (b"t,ax,ay,az,gx,gy,gz\n1,2,3,4,5,6,7\n2,3\n", "row 3 has 2 columns where 7"),
        (b"t,ax,ay,az,gx,gy,gz\n1,2,3,4,5,6,x\n", "row 2, column gz: 'x' is not a number"),
        (b"t,ax,ay,az,gx,gy,gz\n1,,,,,,\n", "not one sample"),
    ):
        path.write_bytes(content)
        with pytest.raises(RecordingError, match=place):
            for _ in open_recording(path, column_map).batches():
                pass
    other = tmp_path / "photo.jpg"
    other.write_bytes(b"\xff\xd8\xff")
    with pytest.raises(RecordingError, match="name does not end in"):
        drain(other)


def test_unit_factors_against_hand_values():
    # g: ISO 80000-3 standard gravity; degree: pi / 180.
    for text, units, factor in (
        ("m/s^2", ACCEL_UNITS, 1.0),
        ("m/s²", ACCEL_UNITS, 1.0),
        ("M/S2", ACCEL_UNITS, 1.0),
        ("g", ACCEL_UNITS, 9.80665),
        ("mg", ACCEL_UNITS, 0.00980665),
        ("rad/s", GYRO_UNITS, 1.0),
        ("deg/s", GYRO_UNITS, 0.017453292519943295),
        ("°/s", GYRO_UNITS, 0.017453292519943295),
        ("dps", GYRO_UNITS, 0.017453292519943295),
        ("µs", TIME_UNITS, 1e-6),
    ):
        assert unit_factor(text, units) == pytest.approx(factor, rel=1e-15)
    assert unit_factor("rad/s", ACCEL_UNITS) is None
    assert unit_factor("", TIME_UNITS) is None
