"""Writes a recording as a Motion-BIDS data set (open standard, see :mod:`.motion_bids`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pa_csv

from imujump.errors import RecordingError
from imujump.model import FloatArray, Placement, RecordingInfo, SampleSource, SensorInfo
from imujump.recording.bids_tables import write_json, write_tsv
from imujump.recording.export_tables import filled_table, new_file, record_batches, unwritable
from imujump.recording.motion_bids import MOTION_SUFFIX
from imujump.recording.profiles import CHANNELS
from imujump.recording.shared_clock import SensorClock, WideTable

BIDS_VERSION = "1.10.0"
TRACKING_SYSTEM = "imu"
_UNITS = {"accel": "m/s^2", "gyro": "rad/s"}
_HEADER = (
    "name",
    "component",
    "type",
    "tracked_point",
    "units",
    "placement",
    "sampling_frequency",
    "range",
    "sensor",
)
_WORN: Mapping[Placement, str] = {
    Placement.LEFT_SHANK: "left shank",
    Placement.RIGHT_SHANK: "right shank",
    Placement.PELVIS: "pelvis",
}


def export_motion_bids(
    source: SampleSource,
    folder: Path | str,
    subject: str = "01",
    task: str = "approachjump",
    run: int | None = None,
    clocks: Mapping[Placement, SensorClock] | None = None,
) -> Path:
    """Write a recording into a Motion-BIDS data set, a new one or one written before.

    Parameters
    ----------
    source : SampleSource
        Read once from front to back.
    folder : Path or str
        The data set's root; made when absent.
    subject, task : str
        Labels of letters and digits.
    run : int, optional
        Number of the repetition.
    clocks : mapping of Placement to SensorClock, optional
        See :func:`imujump.recording.shared_clock.wide_table`.

    Returns
    -------
    Path
        The ``…_motion.tsv`` file.

    Raises
    ------
    RecordingError
        If that recording exists, a file cannot be written, or there is no sample.
    """
    for name, label in (("subject", subject), ("task", task)):
        if not (label.isascii() and label.isalnum()):
            raise ValueError(f"{name} is {label!r}, must consist of letters and digits")
    if run is not None and run < 0:
        raise ValueError(f"run is {run}, must not be negative")
    root = Path(folder)
    part = "" if run is None else f"_run-{run}"
    stem = f"sub-{subject}_task-{task}_tracksys-{TRACKING_SYSTEM}{part}"
    motion = root / f"sub-{subject}" / "motion"
    target = new_file(motion / f"{stem}{MOTION_SUFFIX}")
    table = filled_table(source, target, clocks)
    try:
        motion.mkdir(parents=True, exist_ok=True)
        _write_root(root, subject)
        _write_channels(motion / f"{stem}_channels", table)
        write_json(motion / f"{stem}_motion.json", _motion_sidecar(task, table))
        _write_marks(motion / f"{stem}_events", table.info)
        _write_scan(root / f"sub-{subject}", f"motion/{target.name}", table.info)
        _write_motion(target, table)
    except OSError as error:
        raise unwritable(target, error) from error
    return target


def _write_motion(path: Path, table: WideTable) -> None:
    columns: dict[str, FloatArray] = {"time": table.time_s}
    for placement, values in table.values.items():
        for index, channel in enumerate(CHANNELS):
            columns[f"{placement}_{channel}"] = np.ascontiguousarray(values[:, index])
    schema = pa.schema([(name, pa.string()) for name in columns])
    options = pa_csv.WriteOptions(include_header=False, delimiter="\t", quoting_style="none")
    try:
        with pa_csv.CSVWriter(str(path), schema, write_options=options) as writer:
            for block in record_batches(columns):
                # Arrow writes the shortest digits that read back to the same number.
                texts = [pc.fill_null(column.cast(pa.string()), "n/a") for column in block.columns]
                writer.write_batch(pa.record_batch(texts, schema=schema))
    except pa.ArrowException as error:
        raise unwritable(path, error) from error


def _write_channels(stem: Path, table: WideTable) -> None:
    rows: list[Sequence[object]] = [
        ("time", "n/a", "LATENCY", "n/a", "s", "n/a", "n/a", "n/a", "n/a")
    ]
    for sensor in _measured(table):
        for channel in CHANNELS:
            kind, axis = channel.split("_")
            full = sensor.accel_range_mps2 if kind == "accel" else sensor.gyro_range_radps
            rows.append(
                (
                    f"{sensor.placement}_{channel}",
                    axis,
                    kind.upper(),
                    sensor.placement.value,
                    _UNITS[kind],
                    _WORN[sensor.placement],
                    repr(sensor.rate_hz),
                    "n/a" if full is None else repr(full),
                    _cell(sensor.sensor_id),
                )
            )
    write_tsv(stem.with_name(stem.name + ".tsv"), _HEADER, rows)
    # The standard asks that columns of one's own are described.
    described = {
        "range": {"Description": "Full scale of the channel, in the channel's units"},
        "sensor": {"Description": "Identifier or serial number of the sensor"},
    }
    write_json(stem.with_name(stem.name + ".json"), described)


def _motion_sidecar(task: str, table: WideTable) -> dict[str, object]:
    sensors = _measured(table)
    rates_hz = [sensor.rate_hz for sensor in sensors]
    return {
        "TaskName": task,
        "TaskDescription": "Run-up and jump with inertial sensors worn on the body",
        "SamplingFrequency": max(rates_hz),
        "TrackingSystemName": TRACKING_SYSTEM,
        "MotionChannelCount": 6 * len(sensors) + 1,
        "ACCELChannelCount": 3 * len(sensors),
        "GYROChannelCount": 3 * len(sensors),
        "LATENCYChannelCount": 1,
        "TrackedPointsCount": len(sensors),
        "RecordingDuration": float(table.time_s[-1]),
        "RecordingType": "continuous",
        "MissingValues": "n/a",
    }


def _write_root(root: Path, subject: str) -> None:
    description = root / "dataset_description.json"
    if not description.exists():
        content = {
            "Name": "Approach jumps",
            "BIDSVersion": BIDS_VERSION,
            "DatasetType": "raw",
            "GeneratedBy": [{"Name": "imujump"}],
        }
        write_json(description, content)
    readme = root / "README"
    if not readme.exists():
        readme.write_text(
            "Approach jumps recorded with inertial sensors on both shanks and the pelvis.\n"
            "Accelerometers report specific force; axes are the sensors' own.\n",
            encoding="utf-8",
        )
    _add_row(root / "participants.tsv", ("participant_id",), (f"sub-{subject}",))


def _write_scan(folder: Path, name: str, info: RecordingInfo) -> None:
    start = "n/a"
    if info.started_utc is not None:
        start = info.started_utc.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"
    _add_row(folder / f"{folder.name}_scans.tsv", ("filename", "acq_time"), (name, start))


def _write_marks(stem: Path, info: RecordingInfo) -> None:
    if not info.marks:
        return
    rows = [(repr(mark.time_s), "n/a", _cell(mark.text)) for mark in info.marks]
    write_tsv(stem.with_name(stem.name + ".tsv"), ("onset", "duration", "note"), rows)
    described = {"note": {"Description": "Note that a person made during the recording"}}
    write_json(stem.with_name(stem.name + ".json"), described)


def _measured(table: WideTable) -> list[SensorInfo]:
    return [sensor for sensor in table.info.sensors if sensor.placement in table.values]


def _cell(text: str) -> str:
    """Return a text that fits into one cell: no tabs, no line ends, not empty."""
    return " ".join(text.split()) or "n/a"


def _add_row(path: Path, header: Sequence[str], row: Sequence[str]) -> None:
    """Append a row to a small table unless its first cell is there already."""
    if not path.exists():
        write_tsv(path, header, [row])
        return
    lines = path.read_text(encoding="utf-8").splitlines()
    found = lines[0].split("\t") if lines else []
    if not found or found[0] != header[0]:
        raise RecordingError(path, f"the first column is not {header[0]}", "correct the table")
    if row[0] in [line.split("\t")[0] for line in lines[1:]]:
        return
    cells = dict(zip(header, row, strict=True))
    lines.append("\t".join(cells.get(name, "n/a") for name in found))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")
