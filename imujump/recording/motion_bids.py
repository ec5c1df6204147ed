"""Reads Motion-BIDS recordings: ``…_motion.tsv`` with its channel table and sidecar.

Motion-BIDS is an open standard (Brain Imaging Data Structure, motion extension): a table
without header row, tab-separated, ``n/a`` for missing values; ``…_channels.tsv`` describes
its columns, ``…_motion.json`` states the sample rate. Sidecars may lie higher up in the
data set (inheritance principle); the nearest one wins.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

from imujump.errors import RecordingError
from imujump.model import Mark, Placement
from imujump.recording.placements import placement_of
from imujump.recording.table_source import (
    ROW_CHANNELS,
    TableLayout,
    TableSensor,
    TableSource,
    missing_channel_warnings,
)
from imujump.recording.text_table import TextTable, ends_unfinished, first_lines, read_text
from imujump.recording.units import ACCEL_UNITS, GYRO_UNITS, TIME_UNITS, unit_factor

MOTION_SUFFIX = "_motion.tsv"
REQUIRED_COLUMNS = ("name", "type", "units")
"""Columns of the channel table without which nothing can be read; ``component``,
``tracked_point`` and ``placement`` may be replaced by what the channel's name says."""

_KINDS: Mapping[str, tuple[str, Mapping[str, float]]] = {
    "ACCEL": ("accel", ACCEL_UNITS),
    "GYRO": ("gyro", GYRO_UNITS),
}


@dataclass(frozen=True, slots=True)
class _Channel:
    """One row of the channel table that this program uses."""

    column: int
    name: str
    point: str
    placement: Placement
    slot: str
    factor: float
    range_si: float | None
    rate_hz: float | None
    sensor_id: str


def open_motion_bids(path: Path) -> TableSource:
    """Open a ``…_motion.tsv`` file.

    Parameters
    ----------
    path : Path
        The motion table; its sidecars are found by name.

    Returns
    -------
    TableSource
        Samples in SI units, streamed from the file.

    Raises
    ------
    RecordingError
        If the file or its channel table is missing, is not text, names a unit that is not
        known, or has no channel of a shank or the pelvis.
    """
    lines = first_lines(path, 1)
    if not path.name.endswith(MOTION_SUFFIX):
        raise RecordingError(
            path, f"the name does not end in {MOTION_SUFFIX}", "use the standard's file names"
        )
    channels_path = _sidecar(path, "channels", ".tsv")
    if channels_path is None:
        wanted = path.name.removesuffix(MOTION_SUFFIX) + "_channels.tsv"
        raise RecordingError(
            path, f"the channel table {wanted} is missing", "put it beside the recording"
        )
    rows = _read_tsv(channels_path)
    found = len(lines[0].split("\t"))
    if found != len(rows):
        raise RecordingError(
            path,
            f"row 1 has {found} columns where {channels_path.name} declares {len(rows)}",
            "make the channel table fit the recording",
        )
    warnings: list[str] = []
    sidecar = _motion_json(path)
    rate_hz = _rate(path, sidecar)
    time_key, time_factor = _time_channel(channels_path, rows)
    if rate_hz is None and time_key is not None:
        warnings.append("no SamplingFrequency is stated; the rate was taken from the time stamps")
    if rate_hz is None and time_key is None:
        raise RecordingError(
            path,
            "no SamplingFrequency is stated (the sidecar …_motion.json is missing or lacks it) "
            "and there is no LATENCY channel",
            "put the sidecar beside the recording",
        )
    sensors = _sensors(channels_path, rows, warnings)
    warnings.extend(missing_channel_warnings(sensors))
    unfinished = ends_unfinished(path)
    if unfinished:
        warnings.append(unfinished)
    names = tuple(row["name"] for row in rows)
    return TableSource(
        path,
        TableLayout(sensors, rate_hz, time_key, time_factor),
        TextTable(path, names).batches,
        started_utc=_started_utc(path),
        marks=_marks(path),
        warnings=warnings,
    )


def _sensors(
    path: Path, rows: Sequence[Mapping[str, str]], warnings: list[str]
) -> tuple[TableSensor, ...]:
    channels = [c for n, row in enumerate(rows) if (c := _channel(path, n, row)) is not None]
    if not channels:
        points = sorted({row.get("tracked_point", "") or row["name"] for row in rows})
        raise RecordingError(
            path,
            "no ACCEL or GYRO channel belongs to left shank, right shank or pelvis "
            f"(tracked points: {', '.join(points)[:200]})",
            "name the place in the column tracked_point or placement",
        )
    sensors = []
    for placement in Placement:
        own = [channel for channel in channels if channel.placement is placement]
        points = list(dict.fromkeys(channel.point for channel in own))
        if not points:
            continue
        chosen = max(points, key=lambda p: len({c.slot for c in own if c.point == p}))
        if len(points) > 1:
            others = ", ".join(point for point in points if point != chosen)
            warnings.append(f"{placement} is read from {chosen}; not used: {others}")
        slots: dict[str, _Channel] = {}
        for channel in own:
            if channel.point != chosen:
                continue
            if channel.slot in slots:
                warnings.append(f"{channel.name} repeats {channel.slot} of {placement}; not used")
            slots.setdefault(channel.slot, channel)
        sensors.append(_table_sensor(placement, chosen, slots))
    return tuple(sensors)


def _table_sensor(placement: Placement, point: str, slots: Mapping[str, _Channel]) -> TableSensor:
    def least(kind: str) -> float | None:
        ranges = [c.range_si for s, c in slots.items() if s.startswith(kind) and c.range_si]
        return min(ranges, default=None)

    rates = [channel.rate_hz for channel in slots.values() if channel.rate_hz]
    return TableSensor(
        placement=placement,
        sensor_id=next((c.sensor_id for c in slots.values() if c.sensor_id), point),
        keys=tuple(str(slots[s].column) if s in slots else None for s in ROW_CHANNELS),
        factors=tuple(slots[s].factor if s in slots else 1.0 for s in ROW_CHANNELS),
        rate_hz=rates[0] if rates else None,
        accel_range_mps2=least("accel"),
        gyro_range_radps=least("gyro"),
    )


def _channel(path: Path, column: int, row: Mapping[str, str]) -> _Channel | None:
    kind = _KINDS.get(row["type"].upper())
    if kind is None:
        return None
    sources = (row.get("tracked_point", ""), row.get("placement", ""), row["name"])
    placement = next((p for text in sources if (p := placement_of(text)) is not None), None)
    if placement is None:
        return None
    axis = row.get("component", "").lower() or row["name"].lower()[-1:]
    if axis not in ("x", "y", "z"):
        raise RecordingError(
            path,
            f"row {column + 2} ({row['name']}): component {axis!r} is not x, y or z",
            "correct the column component",
        )
    prefix, units = kind
    factor = _factor(path, column, row, units)
    known_range = _positive(row.get("range", ""))
    return _Channel(
        column=column,
        name=row["name"],
        point=row.get("tracked_point") or row.get("placement") or placement.value,
        placement=placement,
        slot=f"{prefix}_{axis}",
        factor=factor,
        range_si=None if known_range is None else known_range * factor,
        rate_hz=_positive(row.get("sampling_frequency", "")),
        sensor_id=row.get("sensor", ""),
    )


def _factor(path: Path, column: int, row: Mapping[str, str], units: Mapping[str, float]) -> float:
    factor = unit_factor(row["units"], units)
    if factor is None:
        raise RecordingError(
            path,
            f"row {column + 2} ({row['name']}): unit {row['units'][:20]!r} is not known for "
            f"{row['type']}",
            f"use one of {', '.join(units)}",
        )
    return factor


def _time_channel(path: Path, rows: Sequence[Mapping[str, str]]) -> tuple[str | None, float]:
    for column, row in enumerate(rows):
        if row["type"].upper() == "LATENCY":
            return str(column), _factor(path, column, row, TIME_UNITS)
    return None, 1.0


def _rate(path: Path, sidecar: Mapping[str, Any]) -> float | None:
    value = sidecar.get("SamplingFrequency")
    if value is None or value == "n/a":
        return None
    rate_hz = _positive(str(value))
    if rate_hz is None:
        raise RecordingError(
            path,
            f"SamplingFrequency in the sidecar is {str(value)[:20]!r}, which is no positive number",
            "correct the sidecar …_motion.json",
        )
    return rate_hz


def _positive(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    # A rate outside this span is a slip of the pen, and its tick could not be counted.
    return number if math.isfinite(number) and 1e-3 <= number <= 1e9 else None


def _motion_json(path: Path) -> dict[str, Any]:
    merged: dict[str, Any] = {}
    for candidate in reversed(_inherited(path, "motion", ".json")):
        try:
            content = json.loads(read_text(candidate))
        except (json.JSONDecodeError, RecursionError) as error:
            line = getattr(error, "lineno", 1)
            raise RecordingError(
                candidate, f"line {line} is not JSON", "correct the sidecar"
            ) from error
        if not isinstance(content, dict):
            raise RecordingError(candidate, "the sidecar is no JSON object", "correct it")
        merged.update(content)
    return merged


def _sidecar(path: Path, suffix: str, extension: str) -> Path | None:
    return next(iter(_inherited(path, suffix, extension)), None)


def _inherited(path: Path, suffix: str, extension: str) -> list[Path]:
    """Return the sidecars that apply, the nearest and most specific first."""
    entities = set(path.name.removesuffix(MOTION_SUFFIX).split("_"))
    found: list[Path] = []
    folder = path.absolute().parent
    while True:
        candidates = [
            (-len(own), candidate.name, candidate)
            for pattern in (f"*_{suffix}{extension}", f"{suffix}{extension}")
            for candidate in folder.glob(pattern)
            if (own := set(candidate.name.removesuffix(extension).split("_")[:-1])) <= entities
        ]
        found.extend(entry[2] for entry in sorted(candidates))
        # Only folders of the standard's own kind lead further up, at last to the data set's root.
        if folder.name != "motion" and not folder.name.startswith(("sub-", "ses-")):
            break
        folder = folder.parent
    return found


def _read_tsv(path: Path) -> list[dict[str, str]]:
    """Return the rows of a small table with header; ``n/a`` becomes an empty text."""
    lines = [line for line in read_text(path).splitlines() if line.strip()]
    table = list(csv.reader(lines, delimiter="\t", quoting=csv.QUOTE_NONE))
    if len(table) < 2:
        raise RecordingError(path, "the table has no rows", "export the recording again")
    header = [name.strip() for name in table[0]]
    for wanted in REQUIRED_COLUMNS:
        if wanted not in header:
            raise RecordingError(path, f"the column {wanted} is missing", "add the column")
    rows = []
    for number, cells in enumerate(table[1:], start=2):
        if len(cells) != len(header):
            raise RecordingError(
                path,
                f"row {number} has {len(cells)} columns where the header has {len(header)}",
                "repair that row",
            )
        texts = ("" if cell.strip() == "n/a" else cell.strip() for cell in cells)
        rows.append(dict(zip(header, texts, strict=True)))
    names = sorted(row["name"] for row in rows)
    for first, second in pairwise(names):
        if first == second:
            raise RecordingError(
                path, f"the channel name {first} occurs twice", "give each channel its own name"
            )
    return rows


def _started_utc(path: Path) -> datetime | None:
    """Return the start that the scans table states in UTC, else None."""
    for folder in path.absolute().parents[:3]:
        for scans in folder.glob("sub-*_scans.tsv"):
            for line in read_text(scans).splitlines()[1:]:
                cells = line.split("\t")
                if cells[0] and (folder / cells[0]) == path.absolute():
                    return _utc(cells, scans)
    return None


def _utc(cells: Sequence[str], scans: Path) -> datetime | None:
    header = read_text(scans).splitlines()[0].split("\t")
    if "acq_time" not in header or len(cells) <= header.index("acq_time"):
        return None
    text = cells[header.index("acq_time")].strip()
    # Without the Z the standard means local time of an unknown zone.
    if not text.endswith("Z"):
        return None
    try:
        return datetime.fromisoformat(text[:-1]).replace(tzinfo=UTC)
    except ValueError:
        return None


def _marks(path: Path) -> tuple[Mark, ...]:
    """Return the notes of the events table beside the recording, if there is one."""
    prefix = path.name.removesuffix(MOTION_SUFFIX)
    for stem in (prefix, "_".join(p for p in prefix.split("_") if not p.startswith("tracksys-"))):
        events = path.with_name(f"{stem}_events.tsv")
        if events.is_file():
            break
    else:
        return ()
    lines = read_text(events).splitlines()
    header = lines[0].split("\t") if lines else []
    if "onset" not in header:
        return ()
    marks = []
    for line in lines[1:]:
        cells = dict(zip(header, line.split("\t"), strict=False))
        text = next((cells[k] for k in ("note", "trial_type", "value") if cells.get(k)), "")
        try:
            onset_s = float(cells["onset"])
        except ValueError:
            continue
        if math.isfinite(onset_s):
            marks.append(Mark(onset_s, text))
    return tuple(marks)
