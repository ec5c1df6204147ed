"""Round trips through every exported kind, and the standard's own rules for Motion-BIDS."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
from bidsschematools import schema as bids_schema
from bidsschematools import validator

from imujump.errors import RecordingError
from imujump.model import Mark, Placement, RecordingInfo, SensorInfo
from imujump.recording.column_map import own_column
from imujump.recording.export_motion_bids import export_motion_bids
from imujump.recording.export_tables import export_csv, export_parquet
from imujump.recording.files import find_recordings, open_recording
from imujump.recording.memory import MemorySource, from_arrays
from imujump.recording.profiles import compact_profile
from imujump.recording.reader import RecordingReader
from imujump.recording.saving import save_recording
from imujump.recording.shared_clock import clock_from_arrivals
from recording.made_up import PLACEMENTS, quiet_packets, radio_packets, write
from recording.test_motion_bids import gather

START = datetime(2025, 6, 7, 8, 9, 10, 250000, tzinfo=UTC)


def made_up_source(rate_hz=128.0, samples=300):
    """Three sensors on one clock; a gap in one, a channel missing for a while in another."""
    rng = np.random.default_rng(4)
    sensors = tuple(
        SensorInfo(place, f"sn-{n}", rate_hz, 1 / rate_hz, 156.9064, 34.9)
        for n, place in enumerate(PLACEMENTS)
    )
    marks = (Mark(0.5, "first try"), Mark(1.25, "more lean\tnext"))
    info = RecordingInfo(sensors, START, marks)
    channels = {}
    for place in PLACEMENTS:
        rows = np.arange(samples)
        if place is Placement.RIGHT_SHANK:
            rows = np.delete(rows, slice(40, 60))
        accel, gyro = rng.normal(size=(2, len(rows), 3)) * 10
        if place is Placement.PELVIS:
            gyro[10:20, 1] = np.nan
        channels[place] = (rows, accel, gyro)
    return from_arrays(info, channels), channels


EXPORTS = {
    "bids": lambda source, folder: export_motion_bids(source, folder / "set"),
    "csv": lambda source, folder: export_csv(source, folder / "a.csv") or folder / "a.csv",
    "parquet": lambda source, folder: (
        export_parquet(source, folder / "a.parquet") or folder / "a.parquet"
    ),
    "recording": lambda source, folder: (
        save_recording(source, folder / "a.imujump") or folder / "a.imujump"
    ),
}


@pytest.mark.parametrize("kind", EXPORTS)
@pytest.mark.parametrize("rate_hz", [100.0, 128.0, 200.0, 400.0, 225.0, 60.0])
def test_samples_come_back_bit_for_bit(tmp_path, kind, rate_hz):
    source, channels = made_up_source(rate_hz)
    path = EXPORTS[kind](source, tmp_path)
    again = open_recording(path)
    data = gather(again)
    assert again.info.warnings == ()
    for place, (ticks, accel, gyro) in channels.items():
        assert np.array_equal(data[place][0], ticks)
        assert data[place][1].tobytes() == accel.tobytes()
        assert np.array_equal(data[place][2], gyro, equal_nan=True)
    for sensor, given in zip(again.info.sensors, source.info.sensors, strict=True):
        assert sensor.placement is given.placement
        assert sensor.rate_hz == pytest.approx(rate_hz, rel=1e-12)
        assert sensor.tick_s == pytest.approx(given.tick_s, rel=1e-12)
        if kind != "csv":
            assert sensor.sensor_id == given.sensor_id
            assert sensor.accel_range_mps2 == given.accel_range_mps2
            assert sensor.gyro_range_radps == given.gyro_range_radps
    if kind != "csv":
        assert again.info.started_utc == START
        assert [mark.time_s for mark in again.info.marks] == [0.5, 1.25]
        note = "more lean next" if kind == "bids" else "more lean\tnext"
        assert [mark.text for mark in again.info.marks] == ["first try", note]


def test_sensors_that_take_turns_on_an_even_grid_keep_their_own_rate(tmp_path):
    rows = 400
    # Every 5 ms one sensor, 4 ms and 4.5 ms later the others: all rows lie on a grid of 0.5 ms.
    times_s = np.sort(
        np.concatenate([0.005 * np.arange(rows) + late for late in (0, 0.004, 0.0045)])
    )
    lines = ["time_s," + ",".join(own_column(place, "gyro", "x") for place in Placement)]
    for number, time_s in enumerate(times_s):
        cells = ["" if number % 3 != k else "0.5" for k in range(3)]
        lines.append(",".join([f"{time_s:.6f}", *cells]))
    path = tmp_path / "turns.csv"
    path.write_text("\n".join(lines) + "\n")
    source = open_recording(path)
    assert [sensor.rate_hz for sensor in source.info.sensors] == pytest.approx([200.0] * 3)


def test_recording_keeps_batches_arrivals_and_ticks(tmp_path):
    source, _ = made_up_source()
    odd = [
        type(b)(b.placement, b.first_index, b.ticks * 7 + 2**40, b.arrival_s + 0.1 / 3, *rest)
        for b in source.batches()
        for rest in [(b.accel_mps2, b.gyro_radps)]
    ]
    save_recording(MemorySource(source.info, odd), tmp_path / "a.imujump")
    with RecordingReader(tmp_path / "a.imujump") as reader:
        for given, read in zip(odd, reader.batches(), strict=True):
            assert (read.placement, read.first_index) == (given.placement, given.first_index)
            assert read.arrival_s == given.arrival_s
            assert np.array_equal(read.ticks, given.ticks)
            assert read.accel_mps2.tobytes() == given.accel_mps2.tobytes()
            assert np.array_equal(read.gyro_radps, given.gyro_radps, equal_nan=True)


def test_saving_with_a_compact_profile(tmp_path):
    source, channels = made_up_source(rate_hz=100.0)
    profile = compact_profile(100.0)
    shanks = {Placement.LEFT_SHANK: profile, Placement.RIGHT_SHANK: profile}
    save_recording(source, tmp_path / "a.imujump", shanks)
    data = gather(open_recording(tmp_path / "a.imujump"))
    ticks, accel, _ = channels[Placement.RIGHT_SHANK]
    # One sample of 100 Hz is 10 000 ticks of a microsecond; the gap stays where it was.
    assert np.array_equal(data[Placement.RIGHT_SHANK][0], ticks * 10_000)
    assert np.abs(data[Placement.RIGHT_SHANK][1] - accel).max() <= 16 * 9.80665 / 65536 * 1.000001
    everywhere = dict.fromkeys(PLACEMENTS, profile)
    with pytest.raises(RecordingError, match="pelvis does not fit the profile"):
        save_recording(source, tmp_path / "b.imujump", everywhere)


def test_csv_and_parquet_read_alike_in_pandas(tmp_path):
    source, channels = made_up_source()
    export_csv(source, tmp_path / "a.csv")
    export_parquet(source, tmp_path / "a.parquet")
    from_csv = pd.read_csv(tmp_path / "a.csv", engine="pyarrow")
    from_parquet = pd.read_parquet(tmp_path / "a.parquet")
    pd.testing.assert_frame_equal(from_csv, from_parquet, check_exact=True)
    assert list(from_csv.columns[:2]) == ["time_s", "left_shank_accel_x_mps2"]
    assert len(from_csv.columns) == 19
    assert np.array_equal(from_csv["pelvis_gyro_z_radps"], channels[Placement.PELVIS][2][:, 2])


def unaligned_source(tmp_path):
    """Three sensors whose clocks start anywhere and run 80 ppm apart, over a radio."""
    profile, values, _ = quiet_packets(seconds=120.0)
    packets = []
    for number, place in enumerate(PLACEMENTS):
        own = radio_packets(profile, {place: values[place]}, seed=number, start_tick=10**6 * number)
        skew = 1 + 80e-6 * (number - 1)
        packets += [(p, round((a - 0.1) * skew + 0.1 + 0.0013 * number, 6), d) for p, a, d in own]
    packets.sort(key=lambda packet: packet[1])
    return RecordingReader(write(tmp_path / "live.imujump", profile, packets))


@pytest.mark.parametrize("kind", ["bids", "csv", "parquet"])
def test_sensors_on_their_own_clocks_share_time_after_export(tmp_path, kind):
    with unaligned_source(tmp_path) as source:
        given = gather(source)
        path = EXPORTS[kind](source, tmp_path)
    again = open_recording(path)
    data = gather(again)
    assert again.info.warnings == ()
    starts_s = {}
    for number, place in enumerate(PLACEMENTS):
        assert np.array_equal(data[place][1], given[place][1])
        assert np.array_equal(data[place][2], given[place][2])
        sensor = again.info.sensors[number]
        assert sensor.rate_hz == pytest.approx(100.0, rel=1e-4)
        time_s = data[place][0] * sensor.tick_s
        steps_s = np.diff(time_s)
        # Shortest delays of the two ends differ by about 1.5 ms over 100 s.
        assert steps_s.mean() == pytest.approx(0.01 * (1 + 80e-6 * (number - 1)), rel=3e-5)
        starts_s[place] = time_s[0]
    # Sensors start 1.3 ms apart; each fit sees its own shortest delay. 1200 delays drawn from
    # gamma(4, 3 ms) have minima around 1 ms that differ by about as much.
    assert starts_s[PLACEMENTS[2]] - starts_s[PLACEMENTS[0]] == pytest.approx(0.0026, abs=0.0015)


def test_clock_fit_finds_offset_and_skew():
    rng = np.random.default_rng(9)
    ticks = 5_000_000 + np.arange(3000) * 100_000
    true_s = 12.5 + ticks * 1e-6 * (1 + 50e-6)
    arrivals_s = true_s + rng.exponential(0.01, size=3000)
    fit = clock_from_arrivals(arrivals_s, ticks, 1e-6)
    # The least of the exponential delays near either end is about 10 ms / 1500 above zero.
    assert fit.tick_s == pytest.approx(1e-6 * (1 + 50e-6), abs=1e-6 * 1e-6)
    assert np.abs(fit.offset_s + ticks * fit.tick_s - true_s).max() < 1e-4
    single = clock_from_arrivals(arrivals_s[:1], ticks[:1], 1e-6)
    assert single.offset_s + ticks[0] * single.tick_s == pytest.approx(arrivals_s[0])


def test_nothing_is_overwritten_and_nothing_empty_written(tmp_path):
    source, _ = made_up_source()
    empty = MemorySource(source.info, [])
    for kind, export in EXPORTS.items():
        folder = tmp_path / kind
        folder.mkdir()
        path = export(source, folder)
        before = path.read_bytes()
        with pytest.raises(RecordingError, match="exists already"):
            export(source, folder)
        assert path.read_bytes() == before
        if kind != "recording":
            other = tmp_path / f"{kind}-empty"
            other.mkdir()
            with pytest.raises(RecordingError, match="no samples to export"):
                export(empty, other)
    for export, name in ((export_csv, "a.csv"), (export_parquet, "a.parquet")):
        with pytest.raises(RecordingError, match="cannot be written"):
            export(source, tmp_path / "no" / "folder" / name)
    (tmp_path / "plain").write_text("x")
    with pytest.raises(RecordingError, match="cannot be written"):
        export_motion_bids(source, tmp_path / "plain")
    with pytest.raises(ValueError, match="letters and digits"):
        export_motion_bids(source, tmp_path, subject="a b")
    with pytest.raises(ValueError, match="run is -1"):
        export_motion_bids(source, tmp_path, run=-1)


@pytest.fixture(scope="module")
def data_set(tmp_path_factory):
    root = tmp_path_factory.mktemp("bids") / "set"
    for subject, run in (("01", 1), ("01", 2), ("mia", None)):
        export_motion_bids(made_up_source()[0], root, subject=subject, run=run)
    return root


def test_file_names_follow_the_standard(data_set):
    result = validator.validate_bids(str(data_set))
    assert result["path_tracking"] == []
    assert len(result["path_listing"]) == len([p for p in data_set.rglob("*") if p.is_file()])
    assert find_recordings([data_set]) == sorted(data_set.rglob("*_motion.tsv"))
    assert len(find_recordings([data_set])) == 3


def table(path):
    return pd.read_csv(path, sep="\t", dtype=str, keep_default_na=False)


def test_tables_and_sidecars_hold_what_the_standard_requires(data_set):
    schema = bids_schema.load_schema()
    motion = next(data_set.rglob("*mia*_motion.json"))
    sidecar = json.loads(motion.read_text())
    required = [
        name
        for rule in schema.rules.sidecars.motion.values()
        for name, level in rule.fields.items()
        if level == "required" or (not isinstance(level, str) and level.get("level") == "required")
    ]
    assert {"TaskName", "SamplingFrequency"} <= set(required)
    for name in required:
        assert name in sidecar
    metadata = schema.objects.metadata
    kinds = {"number": (int, float), "integer": int, "string": str}
    for name, value in sidecar.items():
        known = [meta for meta in metadata.values() if meta["name"] == name]
        assert known, f"{name} is no field of the standard"
        if "type" in known[0]:
            assert isinstance(value, kinds[known[0]["type"]])
        if "enum" in known[0]:
            assert value in known[0]["enum"]
    assert sidecar["TaskName"] == "approachjump"

    rule = schema.rules.tabular_data.motion.motionChannels
    objects = schema.objects.columns
    channels = table(next(data_set.rglob("*mia*_channels.tsv")))
    initial = [objects[name]["name"] for name in rule.initial_columns]
    assert list(channels.columns[: len(initial)]) == initial
    for key, level in rule.columns.items():
        if level == "required":
            assert objects[key]["name"] in channels
    assert channels["name"].is_unique
    allowed = [getattr(value, "value", value) for value in objects["type__channels"]["enum"]]
    assert set(channels["type"]) <= set(allowed)
    assert set(channels["component"]) <= {*objects["component"]["enum"], "n/a"}
    # "allowed_if_defined": columns of one's own need a description beside the table.
    described = json.loads(next(data_set.rglob("*mia*_channels.json")).read_text())
    known_names = {objects[key]["name"] for key in rule.columns}
    assert set(channels.columns) - known_names == set(described)

    rows = next(data_set.rglob("*mia*_motion.tsv")).read_text().splitlines()
    assert {len(row.split("\t")) for row in rows} == {len(channels)}
    counts = channels["type"].value_counts()
    for kind in ("ACCEL", "GYRO", "LATENCY"):
        assert sidecar[f"{kind}ChannelCount"] == counts[kind]
    assert sidecar["MotionChannelCount"] == len(channels)

    description = json.loads((data_set / "dataset_description.json").read_text())
    for name, level in schema.rules.json.dataset.dataset_description.fields.items():
        if level == "required":
            assert name in description
    assert list(table(data_set / "participants.tsv").participant_id) == ["sub-01", "sub-mia"]
    scans = table(data_set / "sub-01" / "sub-01_scans.tsv")
    assert list(scans.acq_time) == ["2025-06-07T08:09:10.250000Z"] * 2
    for name in scans.filename:
        assert (data_set / "sub-01" / name).is_file()
    events = table(next(data_set.rglob("*mia*_events.tsv")))
    assert list(events.columns[:2]) == list(schema.rules.tabular_data.events.Events.initial_columns)


def test_broken_tables_of_an_existing_data_set(tmp_path):
    source, _ = made_up_source()
    (tmp_path / "participants.tsv").write_text("who\nsub-1\n")
    with pytest.raises(RecordingError, match="first column is not participant_id"):
        export_motion_bids(source, tmp_path)
