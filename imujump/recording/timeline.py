"""Time stamps of a table's rows to ticks: regular grids, gaps, duplicates; pure."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from imujump.errors import RecordingError
from imujump.model import BoolArray, FloatArray, IntArray

GRID_TOLERANCE = 0.25
"""Largest departure from an even grid, in sample periods, that still counts as regular: own
choice, so that 400 Hz written to whole milliseconds (departure up to 0.2) stays a grid."""

RATE_TOLERANCE = 0.01
"""Relative difference of stated and found rate worth a warning: own choice; quartz clocks
differ by less than 1e-4, so this is never drift."""

MICROSECOND_S = 1e-6

LONGEST_S = 1e8
"""Longest believable recording: own choice, three years; its microseconds can be counted."""


@dataclass(frozen=True, slots=True)
class Timeline:
    """When the rows of a table were sampled.

    ``keep`` (rows,) says which rows have a usable new time stamp; ``ticks`` (kept rows,)
    counts ``tick_s`` from the first kept row. ``regular`` tells whether the rows lie on an
    even grid (gaps are whole periods). ``period_s`` is the usual distance of two rows.
    """

    keep: BoolArray
    ticks: IntArray
    tick_s: float
    period_s: float
    regular: bool
    warnings: tuple[str, ...]


def timeline_from_stamps(
    path: Path, stamps_s: FloatArray, rate_hz: float | None, first_row: int = 1
) -> Timeline:
    """Turn time stamps into ticks.

    Parameters
    ----------
    path : Path
        The table, for messages.
    stamps_s : (n,) float64
        Time stamp of each row, seconds from any origin; NaN where there is none.
    rate_hz : float or None
        Sample rate that the table states, used only to choose between readings that fit
        the stamps equally well.
    first_row : int
        How the first row is counted in messages.

    Returns
    -------
    Timeline
        Ticks of one sample period when the stamps lie on an even grid, else of 1 µs.

    Raises
    ------
    RecordingError
        If time runs backwards, or no row has a time stamp.
    """
    keep = np.isfinite(stamps_s)
    warnings = []
    missing = len(keep) - int(np.count_nonzero(keep))
    if missing:
        warnings.append(f"{missing} rows without a time stamp were left out")
    rows = np.flatnonzero(keep)
    if not len(rows):
        raise RecordingError(path, "no row has a time stamp", "check the time column")
    with np.errstate(over="ignore"):
        since_s = stamps_s[rows] - stamps_s[rows[0]]
    if not np.abs(since_s).max() < LONGEST_S:
        row = rows[int(np.abs(since_s).argmax())] + first_row
        raise RecordingError(
            path,
            f"the time stamp of row {row} lies years away from the first",
            "check the time column and its unit",
        )
    steps_s = np.diff(since_s)
    if np.any(steps_s < 0.0):
        back = int(np.flatnonzero(steps_s < 0.0)[0]) + 1
        raise RecordingError(
            path,
            f"time runs backwards at row {rows[back] + first_row} "
            f"({stamps_s[rows[back]]:.6f} s after {stamps_s[rows[back - 1]]:.6f} s)",
            "sort the rows by time or split the file where the clock restarted",
        )
    fresh = np.concatenate(([True], steps_s > 0.0))
    grid = _even_grid(since_s[fresh], rate_hz)
    if grid is None:
        ticks = np.rint(since_s / MICROSECOND_S).astype(np.int64)
        fresh = np.concatenate(([True], np.diff(ticks) > 0))
        kept_ticks = ticks[fresh]
        tick_s, period_s = MICROSECOND_S, _usual_step_s(kept_ticks * MICROSECOND_S)
    else:
        kept_ticks, tick_s = grid
        period_s = tick_s
    doubled = len(rows) - int(np.count_nonzero(fresh))
    if doubled:
        row = rows[int(np.flatnonzero(~fresh)[0])] + first_row
        warnings.append(
            f"{doubled} rows repeat the time stamp of the row before and were left out "
            f"(first: row {row})"
        )
    keep[rows[~fresh]] = False
    return Timeline(keep, kept_ticks, tick_s, period_s, grid is not None, tuple(warnings))


def rate_from_presence(times_s: FloatArray) -> float | None:
    """Return the usual sample rate of instants (n,), Hz; None for fewer than two."""
    return 1.0 / _usual_step_s(times_s) if len(times_s) > 1 else None


def _usual_step_s(times_s: FloatArray) -> float:
    """Mean of the steps near the median step: blind to gaps, exact for rounded stamps."""
    steps_s = np.diff(times_s)
    if not len(steps_s):
        return MICROSECOND_S
    median_s = float(np.median(steps_s))
    near = steps_s[(steps_s > 0.5 * median_s) & (steps_s < 1.5 * median_s)]
    return float(near.mean())


def _even_grid(times_s: FloatArray, rate_hz: float | None) -> tuple[IntArray, float] | None:
    """Return (ticks, tick length) when the instants lie on an even grid, else None."""
    if len(times_s) == 1:
        return np.zeros(1, dtype=np.int64), 1.0 / rate_hz if rate_hz else MICROSECOND_S
    counts = np.rint(np.diff(times_s) / _usual_step_s(times_s))
    if np.any(counts < 1.0) or counts.sum() > 2**53:
        return None
    ticks = np.concatenate(([0.0], np.cumsum(counts)))
    centred = ticks - ticks.mean()
    fitted_s = float(centred @ (times_s - times_s.mean()) / (centred @ centred))
    limit_s = GRID_TOLERANCE * fitted_s
    # A stated or round rate is preferred to the fit as long as the stamps cannot tell.
    found_hz = 1.0 / fitted_s
    candidates = [rate_hz, round(found_hz), round(found_hz, 1), round(found_hz, 3)]
    for period_s in [1.0 / rate for rate in candidates if rate] + [fitted_s]:
        departure_s = (times_s - times_s.mean()) - centred * period_s
        if np.abs(departure_s).max() <= limit_s and abs(period_s / fitted_s - 1.0) < 0.5 * (
            RATE_TOLERANCE
        ):
            return ticks.astype(np.int64), period_s
    return None
