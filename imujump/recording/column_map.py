"""The column map: a small TOML text that says what the columns of a foreign table mean.

::

    rate_hz = 100.0                  # optional when there is a time column
    delimiter = ";"                  # optional, CSV only
    decimal = ","                    # optional, CSV only
    [time]                           # optional when rate_hz is given
    column = "Timestamp"
    unit = "ms"                      # s, ms, us or ns
    [pelvis]                         # also left_shank, right_shank
    accel = ["AccX", "AccY", "AccZ"] # the x, y and z columns; "" for one that is missing
    accel_unit = "g"
    accel_range = 16                 # optional full scale, in the same unit
    gyro = ["GyrX", "GyrY", "GyrZ"]
    gyro_unit = "deg/s"
    id = "A123"                      # optional
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from imujump.errors import RecordingError
from imujump.model import Placement
from imujump.recording.text_table import read_text
from imujump.recording.units import ACCEL_UNITS, GYRO_UNITS, TIME_UNITS, unit_factor

AXES = ("x", "y", "z")
OWN_TIME_COLUMN = "time_s"
_KINDS: Mapping[str, Mapping[str, float]] = {"accel": ACCEL_UNITS, "gyro": GYRO_UNITS}
_SI = {"accel": "mps2", "gyro": "radps"}
_TOP_KEYS = {"rate_hz", "delimiter", "decimal", "time", *(p.value for p in Placement)}
_SENSOR_KEYS = {"id", *(f"{k}{s}" for k in _KINDS for s in ("", "_unit", "_range"))}


@dataclass(frozen=True, slots=True)
class MappedSensor:
    """Six column names (accel x y z, gyro x y z; None when missing) and factors to SI."""

    placement: Placement
    sensor_id: str
    columns: tuple[str | None, ...]
    factors: tuple[float, ...]
    accel_range_mps2: float | None = None
    gyro_range_radps: float | None = None


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """A parsed column map; ``time_factor`` turns the time column into seconds."""

    sensors: tuple[MappedSensor, ...]
    rate_hz: float | None = None
    time_column: str | None = None
    time_factor: float = 1.0
    delimiter: str | None = None
    decimal: str = "."


def own_column(placement: Placement, kind: str, axis: str) -> str:
    """Return the name under which this program exports a channel.

    Examples
    --------
    >>> own_column(Placement.PELVIS, "accel", "x")
    'pelvis_accel_x_mps2'
    """
    return f"{placement.value}_{kind}_{axis}_{_SI[kind]}"


def own_map(names: Sequence[str]) -> ColumnMap | None:
    """Return the map of a table that this program exported, or None for any other."""
    sensors = []
    for placement in Placement:
        wanted = [own_column(placement, kind, axis) for kind in _KINDS for axis in AXES]
        columns = tuple(name if name in names else None for name in wanted)
        if any(columns):
            sensors.append(MappedSensor(placement, placement.value, columns, (1.0,) * 6))
    if not sensors or OWN_TIME_COLUMN not in names:
        return None
    return ColumnMap(tuple(sensors), time_column=OWN_TIME_COLUMN)


def read_column_map(path: Path) -> ColumnMap:
    """Read a column map from its file; raises as :func:`parse_column_map`."""
    return parse_column_map(read_text(path), path)


def parse_column_map(text: str, path: Path) -> ColumnMap:
    """Read a column map from its text; ``path`` is what errors name.

    Raises
    ------
    RecordingError
        If the text is not TOML or a key is missing or wrong; names the line or the key.
    """
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise RecordingError(
            path, f"the column map is not TOML ({error})", "correct that line"
        ) from error
    for key in table:
        if key not in _TOP_KEYS:
            raise _bad(path, key, "is not known", f"use {', '.join(sorted(_TOP_KEYS))}")
    sensors = tuple(_sensor(path, place, table[place]) for place in Placement if place in table)
    if not sensors:
        raise _bad(path, "pelvis", "is missing", "describe at least one sensor")
    time_column, time_factor = _time(path, table.get("time"))
    rate_hz = _positive(path, "rate_hz", table["rate_hz"]) if "rate_hz" in table else None
    if time_column is None and rate_hz is None:
        raise _bad(path, "rate_hz", "is missing and there is no table time", "add one of them")
    delimiter, decimal = table.get("delimiter"), table.get("decimal", ".")
    if delimiter is not None and delimiter not in (",", ";", "\t", "|", " "):
        raise _bad(path, "delimiter", f"is {str(delimiter)[:20]!r}", "use , ; | space or tab")
    if decimal not in (".", ",") or decimal == delimiter:
        raise _bad(path, "decimal", f"is {str(decimal)[:20]!r}", "use . or ,")
    return ColumnMap(sensors, rate_hz, time_column, time_factor, delimiter, decimal)


def _sensor(path: Path, placement: Placement, entry: Any) -> MappedSensor:
    if not isinstance(entry, dict):
        raise _bad(path, placement, "is no table", f"write [{placement}]")
    for key in entry:
        if key not in _SENSOR_KEYS:
            raise _bad(path, f"{placement}.{key}", "is not known", "remove it")
    columns: list[str | None] = []
    factors: list[float] = []
    ranges: dict[str, float | None] = {}
    for kind, units in _KINDS.items():
        key = f"{placement}.{kind}"
        names = entry.get(kind, ["", "", ""])
        if (
            not isinstance(names, list)
            or len(names) != len(AXES)
            or not all(isinstance(name, str) for name in names)
        ):
            raise _bad(path, key, "is no list of three column names", "name the x, y, z columns")
        columns += [name or None for name in names]
        factor = 1.0
        if any(names):
            unit = entry.get(f"{kind}_unit")
            found = unit_factor(unit, units) if isinstance(unit, str) else None
            if found is None:
                raise _bad(
                    path, f"{key}_unit", f"is {str(unit)[:20]!r}", f"use one of {', '.join(units)}"
                )
            factor = found
        factors += [factor] * len(AXES)
        full = entry.get(f"{kind}_range")
        ranges[kind] = None if full is None else _positive(path, f"{key}_range", full) * factor
    if not any(columns):
        raise _bad(path, placement, "names no column", "name columns in accel or gyro")
    return MappedSensor(
        placement,
        str(entry.get("id", placement.value)),
        tuple(columns),
        tuple(factors),
        ranges["accel"],
        ranges["gyro"],
    )


def _time(path: Path, entry: Any) -> tuple[str | None, float]:
    if entry is None:
        return None, 1.0
    if not isinstance(entry, dict) or not isinstance(entry.get("column"), str):
        raise _bad(path, "time.column", "is missing", "name the time column")
    unit = entry.get("unit")
    factor = unit_factor(unit, TIME_UNITS) if isinstance(unit, str) else None
    if factor is None:
        raise _bad(
            path, "time.unit", f"is {str(unit)[:20]!r}", f"use one of {', '.join(TIME_UNITS)}"
        )
    return entry["column"], factor


def _positive(path: Path, key: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 1e-3 <= value <= 1e9:
        raise _bad(path, key, f"is {str(value)[:20]!r}", "write a positive number")
    return float(value)


def _bad(path: Path, key: str, problem: str, remedy: str) -> RecordingError:
    return RecordingError(path, f"the column map's key {key} {problem}", remedy)
