"""Attempts as comma-separated values for a spreadsheet: one row an attempt (RFC 4180).

Values stay in SI units, which the column names state. Every metric has three columns: its
value, one standard deviation, and the reason when it is missing or in doubt.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator

from imujump.contract import stated
from imujump.model import METRIC_NAMES, Attempt

ATTEMPT_COLUMNS = (
    "recording",
    "attempt",
    "start_s",
    "end_s",
    "take_off_style",
    "take_off_side",
    "valid",
    "reasons",
)

_UNITS = ("_mps2", "_mps", "_radps", "_rad", "_ratio", "_m", "_s")


def sigma_column(name: str) -> str:
    """Name the column of a metric's standard deviation; the unit stays last.

    >>> sigma_column("approach_speed_mps")
    'approach_speed_sigma_mps'
    """
    unit = next(unit for unit in _UNITS if name.endswith(unit))
    return f"{name.removesuffix(unit)}_sigma{unit}"


COLUMNS: tuple[str, ...] = (
    *ATTEMPT_COLUMNS,
    *(column for name in METRIC_NAMES for column in (name, sigma_column(name), f"{name}_reason")),
)
"""All columns, in order."""


_FORMULA_SIGNS = tuple("=+-@\t\r\n＝＋－＠")


def plain_cell(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula; numbers are written without this.

    A leading apostrophe makes a spreadsheet show the cell as text.

    >>> plain_cell("=1+1"), plain_cell("hips low")
    ("'=1+1", 'hips low')
    """
    return f"'{text}" if text.lstrip(" ").startswith(_FORMULA_SIGNS) else text


def header() -> str:
    """Give the header row, line end included."""
    return _rows([COLUMNS])


def rows(path: str, attempts: Iterable[Attempt]) -> str:
    """Give one row for each attempt of a recording, line ends (CR LF) included."""
    return _rows(tuple(_cells(path, attempt)) for attempt in attempts)


def _rows(cells: Iterable[tuple[str, ...]]) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, dialect="excel").writerows(cells)
    return text.getvalue()


def _cells(path: str, attempt: Attempt) -> Iterator[str]:
    yield from (
        plain_cell(path),
        str(attempt.number),
        f"{attempt.start_s:.6f}",
        f"{attempt.end_s:.6f}",
        "" if attempt.take_off_style is None else str(attempt.take_off_style),
        "" if attempt.take_off_side is None else str(attempt.take_off_side),
        "yes" if attempt.valid else "no",
        plain_cell("; ".join(attempt.reasons)),
    )
    for name in METRIC_NAMES:
        estimate = stated(attempt.metrics[name])
        yield _text(estimate.value)
        yield _text(estimate.sigma)
        yield plain_cell(estimate.reason or "")


def _text(number: float | None) -> str:
    return "" if number is None else repr(number)
