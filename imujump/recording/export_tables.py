"""Writes a recording as CSV or Parquet: a time column and six columns per sensor, in SI."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import UTC
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq

from imujump.errors import RecordingError
from imujump.model import FloatArray, Placement, RecordingInfo, SampleSource
from imujump.recording.column_map import OWN_TIME_COLUMN, own_column
from imujump.recording.profiles import CHANNELS
from imujump.recording.shared_clock import SensorClock, WideTable, wide_table
from imujump.recording.tables import HEAD_KEY

_ROWS = 1 << 15


def export_csv(
    source: SampleSource,
    path: Path | str,
    clocks: Mapping[Placement, SensorClock] | None = None,
) -> None:
    """Write a recording as CSV with a header row; missing samples are empty cells.

    Parameters
    ----------
    source : SampleSource
        Read once from front to back.
    path : Path or str
        The new file.
    clocks : mapping of Placement to SensorClock, optional
        See :func:`imujump.recording.shared_clock.wide_table`.

    Raises
    ------
    RecordingError
        If the file exists or cannot be written, or there is no sample.
    """
    target = new_file(path)
    table = filled_table(source, target, clocks)
    columns = _columns(table)
    try:
        with pa_csv.CSVWriter(str(target), schema_of(columns)) as writer:
            for block in record_batches(columns):
                writer.write_batch(block)
    except (OSError, pa.ArrowException) as error:
        raise unwritable(target, error) from error


def export_parquet(
    source: SampleSource,
    path: Path | str,
    clocks: Mapping[Placement, SensorClock] | None = None,
) -> None:
    """Write a recording as Parquet; its metadata keep sensors, start and marks.

    Parameters
    ----------
    source : SampleSource
        Read once from front to back.
    path : Path or str
        The new file.
    clocks : mapping of Placement to SensorClock, optional
        See :func:`imujump.recording.shared_clock.wide_table`.

    Raises
    ------
    RecordingError
        If the file exists or cannot be written, or there is no sample.
    """
    target = new_file(path)
    table = filled_table(source, target, clocks)
    columns = _columns(table)
    schema = schema_of(columns).with_metadata({HEAD_KEY: json.dumps(_head(table.info)).encode()})
    try:
        with pq.ParquetWriter(target, schema, compression="zstd") as writer:
            for block in record_batches(columns):
                writer.write_batch(block.replace_schema_metadata(schema.metadata))
    except (OSError, pa.ArrowException) as error:
        raise unwritable(target, error) from error


def new_file(path: Path | str) -> Path:
    """Return the path after checking that nothing would be overwritten."""
    target = Path(path)
    if target.exists():
        raise RecordingError(target, "the file exists already", "choose another name")
    return target


def unwritable(path: Path, error: Exception) -> RecordingError:
    """Return the error for a file that cannot be written."""
    reason = getattr(error, "strerror", None) or str(error).splitlines()[0]
    return RecordingError(
        path, f"cannot be written ({reason})", "check the folder, its rights and space"
    )


def filled_table(
    source: SampleSource, target: Path, clocks: Mapping[Placement, SensorClock] | None
) -> WideTable:
    """Return the source as a table with at least one row."""
    table = wide_table(source, clocks)
    if not len(table.time_s):
        raise RecordingError(target, "the recording has no samples to export", "choose another")
    return table


def record_batches(columns: Mapping[str, FloatArray]) -> Iterator[pa.RecordBatch]:
    """Yield columns a stretch of rows at a time; NaN becomes null."""
    rows = len(next(iter(columns.values())))
    schema = schema_of(columns)
    for first in range(0, rows, _ROWS):
        parts = [values[first : first + _ROWS] for values in columns.values()]
        arrays = [pa.array(part, mask=np.isnan(part), type=pa.float64()) for part in parts]
        yield pa.record_batch(arrays, schema=schema)


def schema_of(columns: Mapping[str, FloatArray]) -> pa.Schema:
    """Return the schema of float64 columns."""
    return pa.schema([(name, pa.float64()) for name in columns])


def _columns(table: WideTable) -> dict[str, FloatArray]:
    columns = {OWN_TIME_COLUMN: table.time_s}
    for placement, values in table.values.items():
        for index, channel in enumerate(CHANNELS):
            kind, axis = channel.split("_")
            columns[own_column(placement, kind, axis)] = np.ascontiguousarray(values[:, index])
    return columns


def _head(info: RecordingInfo) -> dict[str, object]:
    started = None if info.started_utc is None else info.started_utc.astimezone(UTC).isoformat()
    return {
        "sensors": {
            sensor.placement.value: {
                "id": sensor.sensor_id,
                "rate_hz": sensor.rate_hz,
                "accel_range_mps2": sensor.accel_range_mps2,
                "gyro_range_radps": sensor.gyro_range_radps,
            }
            for sensor in info.sensors
        },
        "started_utc": started,
        "marks": [{"time_s": mark.time_s, "text": mark.text} for mark in info.marks],
    }
