"""Reads CSV and Parquet tables with one row per instant, by a column map."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from imujump.errors import CorruptError, RecordingError
from imujump.model import Mark
from imujump.recording.column_map import ColumnMap, own_map
from imujump.recording.table_source import (
    TableLayout,
    TableSensor,
    TableSource,
    doubled,
    missing_channel_warnings,
)
from imujump.recording.text_table import (
    TextTable,
    ends_unfinished,
    first_lines,
    split_row,
    unreadable,
)

PARQUET_MAGIC = b"PAR1"
HEAD_KEY = b"imujump"
"""Key of the Parquet schema metadata under which an exported recording keeps its head."""

_ROWS = 2048
_DELIMITERS = (",", ";", "\t", "|")
_TIME_UNIT_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}


def open_csv(path: Path, given: ColumnMap | None = None) -> TableSource:
    """Open a CSV table whose first row names the columns.

    Parameters
    ----------
    path : Path
        The table: UTF-8 text, separated by comma, semicolon, tab or bar.
    given : ColumnMap, optional
        What its columns mean; not needed for tables that this program exported.

    Returns
    -------
    TableSource
        Samples in SI units, streamed from the file.

    Raises
    ------
    RecordingError
        If the table cannot be used, or the map does not fit it.
    """
    header = first_lines(path, 1)[0]
    delimiter = given.delimiter if given else None
    if delimiter is None:
        delimiter = max(_DELIMITERS, key=header.count)
    names = [name.strip() for name in split_row(header, delimiter, quoted=True)]
    columns = _chosen_map(path, given, names)
    layout = _layout(path, columns, names, {name: str(n) for n, name in enumerate(names)})
    warnings = missing_channel_warnings(layout.sensors)
    unfinished = ends_unfinished(path)
    if unfinished:
        warnings.append(unfinished)
    table = TextTable(path, tuple(names), delimiter, columns.decimal, header_rows=1, quoted=True)
    return TableSource(path, replace(layout, first_row=2), table.batches, warnings=warnings)


def open_parquet(path: Path, given: ColumnMap | None = None) -> TableSource:
    """Open a Parquet table.

    Parameters
    ----------
    path : Path
        The table; the time column may be a number or a time stamp.
    given : ColumnMap, optional
        What its columns mean; not needed for tables that this program exported.

    Returns
    -------
    TableSource
        Samples in SI units, streamed from the file.

    Raises
    ------
    RecordingError
        If the table cannot be used, or the map does not fit it.
    """
    table = _ParquetTable(path)
    names = list(table.schema.names)
    columns = _chosen_map(path, given, names)
    head = {} if given else table.head()
    layout = _layout(path, columns, names, {name: name for name in names})
    stamp_s = None
    for sensor in layout.sensors:
        for name in sensor.present_keys:
            table.check_number(name)
    if layout.time_key is not None:
        stamp_s = table.stamp_s(layout.time_key)
        if stamp_s is None:
            table.check_number(layout.time_key)
        else:
            layout = replace(layout, time_factor=stamp_s)
    return TableSource(
        path,
        _with_head(layout, head),
        table.batches,
        started_utc=_start(head),
        marks=_marks(head),
        warnings=missing_channel_warnings(layout.sensors),
    )


def _chosen_map(path: Path, given: ColumnMap | None, names: Sequence[str]) -> ColumnMap:
    found = given or own_map(names)
    if found is None:
        raise RecordingError(
            path, "the meaning of the table's columns is not known", "give a column map"
        )
    return found


def _layout(
    path: Path, columns: ColumnMap, names: Sequence[str], keys: Mapping[str, str]
) -> TableLayout:
    wanted = [name for sensor in columns.sensors for name in sensor.columns if name is not None]
    if columns.time_column is not None:
        wanted.append(columns.time_column)
    for name in wanted:
        if name not in names:
            raise RecordingError(
                path,
                f"there is no column {name[:40]!r} (columns: {', '.join(names)[:200]})",
                "correct the column map",
            )
    for name in doubled(list(names)):
        if name in wanted:
            raise RecordingError(
                path, f"the column name {name[:40]!r} occurs twice", "rename one of them"
            )
    for name in doubled(wanted):
        raise RecordingError(
            path, f"the column map uses the column {name[:40]!r} twice", "correct the column map"
        )
    sensors = tuple(
        TableSensor(
            placement=sensor.placement,
            sensor_id=sensor.sensor_id,
            keys=tuple(None if name is None else keys[name] for name in sensor.columns),
            factors=sensor.factors,
            accel_range_mps2=sensor.accel_range_mps2,
            gyro_range_radps=sensor.gyro_range_radps,
        )
        for sensor in columns.sensors
    )
    time_key = None if columns.time_column is None else keys[columns.time_column]
    return TableLayout(sensors, columns.rate_hz, time_key, columns.time_factor)


class _ParquetTable:
    """A Parquet file whose faults come out as one sentence."""

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            with path.open("rb") as stream:
                head = stream.read(len(PARQUET_MAGIC))
        except OSError as error:
            raise unreadable(path, error) from error
        if not head:
            raise RecordingError(path, "the file is empty", "record or export it again")
        if head != PARQUET_MAGIC:
            raise RecordingError(path, "the file is not a Parquet table", "choose another file")
        try:
            with pq.ParquetFile(path) as table:
                self.schema: pa.Schema = table.schema_arrow
        except _ARROW_FAULTS as error:
            raise self._damaged() from error

    def head(self) -> dict[str, Any]:
        """Return the head that an exported recording carries, or an empty one."""
        try:
            content = json.loads((self.schema.metadata or {})[HEAD_KEY])
        except (KeyError, ValueError, RecursionError):
            return {}
        return content if isinstance(content, dict) else {}

    def check_number(self, name: str) -> None:
        """Refuse a column that does not hold plain numbers."""
        kind = self.schema.field(name).type
        if not (pa.types.is_integer(kind) or pa.types.is_floating(kind)):
            raise RecordingError(
                self._path, f"the column {name[:40]!r} holds {kind}, not numbers", "convert it"
            )

    def stamp_s(self, name: str) -> float | None:
        """Return the unit of a time stamp column in seconds, None for other columns."""
        kind = self.schema.field(name).type
        if pa.types.is_timestamp(kind) or pa.types.is_duration(kind):
            return _TIME_UNIT_S[kind.unit]
        return None

    def batches(self, keys: Sequence[str]) -> Iterator[pa.RecordBatch]:
        """Yield the columns as float64 record batches; time stamps count from the first."""
        origins: dict[str, pa.Scalar] = {}
        try:
            with pq.ParquetFile(self._path) as table:
                for block in table.iter_batches(_ROWS, columns=list(keys), use_threads=False):
                    yield pa.record_batch(
                        [self._numbers(block.column(key), key, origins) for key in keys],
                        names=list(keys),
                    )
        except _ARROW_FAULTS as error:
            raise self._damaged() from error

    def _numbers(self, column: pa.Array, key: str, origins: dict[str, pa.Scalar]) -> pa.Array:
        if self.stamp_s(key) is not None:
            counts = column.cast(pa.int64())
            if key not in origins:
                known = counts.drop_null()
                if len(known):
                    origins[key] = known[0]
            if key in origins:
                # Nanoseconds since 1970 do not fit a float64; those since the start do.
                counts = pc.subtract(counts, origins[key])
            return counts.cast(pa.float64(), safe=False)
        return column.cast(pa.float64(), safe=False)

    def _damaged(self) -> CorruptError:
        return CorruptError(self._path, "the Parquet table is damaged", "export it again")


_ARROW_FAULTS = (pa.ArrowException, OSError, ValueError, OverflowError, MemoryError, KeyError)


def _with_head(layout: TableLayout, head: Mapping[str, Any]) -> TableLayout:
    """Take over what an exported recording says of its sensors."""
    entries = head.get("sensors")
    if not isinstance(entries, dict):
        return layout
    sensors = []
    for sensor in layout.sensors:
        entry = entries.get(sensor.placement.value)
        if isinstance(entry, dict):
            sensor = replace(
                sensor,
                sensor_id=str(entry.get("id", sensor.sensor_id)),
                rate_hz=_positive(entry.get("rate_hz")),
                accel_range_mps2=_positive(entry.get("accel_range_mps2")),
                gyro_range_radps=_positive(entry.get("gyro_range_radps")),
            )
        sensors.append(sensor)
    return replace(layout, sensors=tuple(sensors))


def _positive(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    return float(value) if 1e-3 <= value <= 1e9 else None


def _start(head: Mapping[str, Any]) -> datetime | None:
    try:
        start = datetime.fromisoformat(str(head.get("started_utc")))
    except ValueError:
        return None
    return start if start.tzinfo is not None else None


def _marks(head: Mapping[str, Any]) -> tuple[Mark, ...]:
    entries = head.get("marks")
    marks = []
    for entry in entries if isinstance(entries, list) else []:
        time_s = entry.get("time_s") if isinstance(entry, dict) else None
        if isinstance(time_s, int | float) and math.isfinite(time_s):
            marks.append(Mark(float(time_s), str(entry.get("text", ""))))
    return tuple(marks)
