"""A table with one row per instant as a sample source: units, gaps, ticks."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa

from imujump.errors import RecordingError
from imujump.model import (
    BoolArray,
    FloatArray,
    Mark,
    Placement,
    RecordingInfo,
    SampleBatch,
    SensorInfo,
)
from imujump.recording.timeline import (
    RATE_TOLERANCE,
    Timeline,
    rate_from_presence,
    timeline_from_stamps,
)

ROW_CHANNELS = ("accel_x", "accel_y", "accel_z", "gyro_x", "gyro_y", "gyro_z")
"""The six channels of a sensor in the order used here."""

RowReader = Callable[[Sequence[str]], Iterator[pa.RecordBatch]]
"""Streams the columns of the given keys as float64 record batches."""


@dataclass(frozen=True, slots=True)
class TableSensor:
    """The columns of one sensor.

    ``keys`` and ``factors`` follow :data:`ROW_CHANNELS`; a key is None when the table lacks
    the channel; a factor turns the column's values into SI. ``rate_hz`` is stated for this
    sensor alone, else None.
    """

    placement: Placement
    sensor_id: str
    keys: tuple[str | None, ...]
    factors: tuple[float, ...]
    rate_hz: float | None = None
    accel_range_mps2: float | None = None
    gyro_range_radps: float | None = None

    @property
    def present_keys(self) -> list[str]:
        """The keys of the channels that the table has."""
        return [key for key in self.keys if key is not None]


@dataclass(frozen=True, slots=True)
class TableLayout:
    """What a table's columns mean.

    ``time_key`` is the column of time stamps and ``time_factor`` turns it into seconds; with
    None, rows follow each other at ``rate_hz``. ``first_row`` is how messages count rows.
    """

    sensors: tuple[TableSensor, ...]
    rate_hz: float | None
    time_key: str | None = None
    time_factor: float = 1.0
    first_row: int = 1


class TableSource:
    """A :class:`imujump.model.SampleSource` that streams a table.

    Parameters
    ----------
    path : Path
        The table, for messages.
    layout : TableLayout
        What its columns mean.
    read_rows : callable
        Streams columns; called once for the time stamps and once for the samples.
    started_utc, marks, warnings
        What else is known of the recording.

    Notes
    -----
    All sensors share the table's clock. A row in which every channel of a sensor is missing
    is a gap: no sample, and the ticks jump. A row with some channels missing keeps NaN
    there. A batch arrives at the instant of its last sample, so arrival and ticks agree.
    Faults that only the values show are added to ``info.warnings`` while streaming: read
    ``info`` again after the last batch.

    Raises
    ------
    RecordingError
        While streaming: bad rows, or not one sample; at once: bad time stamps.
    """

    def __init__(
        self,
        path: Path,
        layout: TableLayout,
        read_rows: RowReader,
        *,
        started_utc: datetime | None = None,
        marks: Sequence[Mark] = (),
        warnings: Sequence[str] = (),
    ) -> None:
        self._path = path
        self._layout = layout
        self._read_rows = read_rows
        self._timeline = self._survey()
        found = list(warnings) + (list(self._timeline.warnings) if self._timeline else [])
        sensors = tuple(self._sensor_info(sensor, found) for sensor in layout.sensors)
        self._info = RecordingInfo(sensors, started_utc, tuple(marks), tuple(found))

    @property
    def info(self) -> RecordingInfo:
        """The head of the recording; its warnings are complete after the last batch."""
        return self._info

    def close(self) -> None:
        """Do nothing: the table is open only while batches are read."""

    def batches(self) -> Iterator[SampleBatch]:
        """Yield all samples, every sensor's part of a block of rows at a time."""
        layout = self._layout
        keys = [key for sensor in layout.sensors for key in sensor.present_keys]
        counts = dict.fromkeys((sensor.placement for sensor in layout.sensors), 0)
        odd = 0
        row = kept_row = 0
        for block in self._read_rows(keys):
            rows = slice(row, row + block.num_rows)
            row += block.num_rows
            if self._timeline is None:
                keep = None
                ticks = np.arange(rows.start, rows.stop, dtype=np.int64)
            else:
                keep = self._timeline.keep[rows]
                count = int(np.count_nonzero(keep))
                ticks = self._timeline.ticks[kept_row : kept_row + count]
                kept_row += count
            parts = []
            for sensor, info in zip(layout.sensors, self._info.sensors, strict=True):
                accel_mps2, gyro_radps, measured, found_odd = _sensor_values(block, sensor)
                odd += found_odd
                used = ticks
                if keep is not None and not keep.all():
                    accel_mps2, gyro_radps = accel_mps2[keep], gyro_radps[keep]
                    measured = None if measured is None else measured[keep]
                if measured is not None and not measured.all():
                    used, accel_mps2 = ticks[measured], accel_mps2[measured]
                    gyro_radps = gyro_radps[measured]
                if not len(used):
                    continue
                batch = SampleBatch(
                    placement=sensor.placement,
                    first_index=counts[sensor.placement],
                    ticks=used,
                    arrival_s=float(used[-1]) * info.tick_s,
                    accel_mps2=accel_mps2,
                    gyro_radps=gyro_radps,
                )
                counts[sensor.placement] += len(used)
                parts.append(batch)
            yield from sorted(parts, key=lambda batch: batch.arrival_s)
        self._conclude(counts, odd)

    def _conclude(self, counts: dict[Placement, int], odd: int) -> None:
        if not any(counts.values()):
            raise RecordingError(
                self._path, "not one sample was measured", "choose a recording with samples"
            )
        late = [f"{p} has no samples" for p, count in counts.items() if not count]
        if odd:
            late.append(f"{odd} values that are NaN or infinite were taken as missing")
        fresh = [text for text in late if text not in self._info.warnings]
        self._info = replace(self._info, warnings=(*self._info.warnings, *fresh))

    def _survey(self) -> Timeline | None:
        layout = self._layout
        if layout.time_key is None:
            if layout.rate_hz is None:
                raise RecordingError(
                    self._path, "neither a sample rate nor time stamps are known", "state the rate"
                )
            return None
        blocks = [_column(block.column(0)) for block in self._read_rows([layout.time_key])]
        if not sum(map(len, blocks)):
            raise RecordingError(self._path, "the table has no rows", "export it again")
        with np.errstate(over="ignore"):
            stamps_s = np.concatenate(blocks) * layout.time_factor
        return timeline_from_stamps(self._path, stamps_s, layout.rate_hz, layout.first_row)

    def _sensor_info(self, sensor: TableSensor, warnings: list[str]) -> SensorInfo:
        stated_hz = sensor.rate_hz or self._layout.rate_hz
        timeline = self._timeline
        if timeline is None:
            assert self._layout.rate_hz is not None  # _survey has seen to it
            tick_s, rate_hz = 1.0 / self._layout.rate_hz, stated_hz or self._layout.rate_hz
        else:
            tick_s = timeline.tick_s
            found_hz = 1.0 / timeline.period_s
            if not timeline.regular or stated_hz is None or stated_hz != self._layout.rate_hz:
                # Sensors may take turns in the rows, so each one's own rows tell its rate.
                own_hz = rate_from_presence(self._presence_s(sensor, timeline)) or found_hz
                # Rows on an even grid tell it more exactly, if they are the sensor's.
                if not timeline.regular or abs(own_hz / found_hz - 1.0) > RATE_TOLERANCE:
                    found_hz = own_hz
            if stated_hz is None or abs(found_hz / stated_hz - 1.0) > RATE_TOLERANCE:
                rate_hz = found_hz
            else:
                own_grid = timeline.regular and stated_hz == self._layout.rate_hz
                rate_hz = found_hz if own_grid else stated_hz
            if stated_hz is not None and abs(found_hz / stated_hz - 1.0) > RATE_TOLERANCE:
                text = (
                    f"the stated rate of {stated_hz:g} Hz does not fit the time stamps "
                    f"({found_hz:.2f} Hz), which were used"
                )
                if text not in warnings:
                    warnings.append(text)
        return SensorInfo(
            placement=sensor.placement,
            sensor_id=sensor.sensor_id,
            rate_hz=rate_hz,
            tick_s=tick_s,
            accel_range_mps2=sensor.accel_range_mps2,
            gyro_range_radps=sensor.gyro_range_radps,
        )

    def _presence_s(self, sensor: TableSensor, timeline: Timeline) -> FloatArray:
        key = sensor.present_keys[0]
        blocks = [np.isfinite(_column(block.column(0))) for block in self._read_rows([key])]
        present = np.concatenate(blocks)[timeline.keep]
        times_s: FloatArray = timeline.ticks[present] * timeline.tick_s
        return times_s


def _column(column: pa.Array) -> FloatArray:
    values: FloatArray = column.to_numpy(zero_copy_only=False)
    return values


def _sensor_values(
    block: pa.RecordBatch, sensor: TableSensor
) -> tuple[FloatArray, FloatArray, BoolArray | None, int]:
    """Return accel (n, 3), gyro (n, 3), which rows hold anything, and the count of odd values.

    The third is None when every value was measured. An odd value is written but not finite.
    """
    rows = block.num_rows
    pair = np.full((2, rows, 3), np.nan)
    empty = rows * sensor.keys.count(None)
    for index, (key, factor) in enumerate(zip(sensor.keys, sensor.factors, strict=True)):
        if key is None:
            continue
        column = block.column(key)
        empty += int(column.null_count)
        # A number too large for its unit becomes infinite, and so missing, below.
        with np.errstate(over="ignore"):
            np.multiply(_column(column), factor, out=pair[index // 3, :, index % 3])
    finite = np.isfinite(pair)
    odd = pair.size - int(np.count_nonzero(finite)) - empty
    if odd:
        pair[~finite] = np.nan
    measured: BoolArray | None = np.asarray(finite.any(axis=(0, 2))) if odd or empty else None
    return pair[0], pair[1], measured, odd


def missing_channel_warnings(sensors: Sequence[TableSensor]) -> list[str]:
    """Return one sentence for each sensor that lacks channels."""
    warnings = []
    for sensor in sensors:
        lacking = [name for name, key in zip(ROW_CHANNELS, sensor.keys, strict=True) if key is None]
        if lacking:
            warnings.append(f"{sensor.placement} has no channel {', '.join(lacking)}")
    return warnings


def doubled(names: Sequence[str]) -> list[str]:
    """Return the names that occur more than once, sorted."""
    return sorted({a for a, b in pairwise(sorted(names)) if a == b})
