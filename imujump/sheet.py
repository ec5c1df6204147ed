"""Every metric and step of each attempt as plain text, one block an attempt."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from imujump.contract import stated
from imujump.display_units import (
    CENTIMETRES,
    METRES_PER_SECOND,
    MILLISECONDS,
    Glyphs,
    Unit,
    clock_time,
    value_and_sigma,
)
from imujump.model import METRIC_NAMES, Analysis, Attempt, Estimate, Step
from imujump.table import MINIMUM_WIDTH, Named, mark_line
from imujump.wording import METRICS, PHASES, PLACEMENTS, sentence, step_name, take_off_sentence

LABEL_WIDTH = max(len(wording.label) for wording in METRICS.values())


def attempt_sheets(recordings: Sequence[Named], width: int, glyphs: Glyphs) -> str:
    """Write one block for each attempt: all metrics by phase of the jump, then its steps.

    Parameters and return value are those of :func:`imujump.table.attempts_table`.
    """
    lines: list[str] = []
    for name, analysis in recordings:
        lines += [name, *_sensors(analysis), ""]
        for attempt in analysis.attempts:
            lines += [*_heading(attempt), *_metrics(attempt, width, glyphs)]
            lines += [*_steps(attempt, glyphs), ""]
        if analysis.marks:
            lines += [*(f"  {glyphs.written(mark_line(mark))}" for mark in analysis.marks), ""]
    return "\n".join(lines)


def _sensors(analysis: Analysis) -> list[str]:
    return [
        f"  {PLACEMENTS[sensor.placement]}: {sensor.rate_hz:g} samples a second, "
        f"{sensor.missing_s:.2f} s missing, {sensor.clipped_samples} samples clipped"
        for sensor in analysis.sensors
    ]


def _heading(attempt: Attempt) -> list[str]:
    title = (
        f"Attempt {attempt.number}, {clock_time(attempt.start_s)} to "
        f"{clock_time(attempt.end_s)} (min:s): {take_off_sentence(attempt)}"
    )
    remark = "; ".join(attempt.reasons)
    if not attempt.valid:
        remark = f"not counted: {remark or 'no reason given'}"
    return [title, "-" * len(title), *([sentence(remark)] if remark else [])]


def _metrics(attempt: Attempt, width: int, glyphs: Glyphs) -> list[str]:
    lines = []
    for phase in PHASES:
        lines.append(phase)
        for name in METRIC_NAMES:
            if METRICS[name].phase == phase:
                lines += _metric(name, stated(attempt.metrics[name]), width, glyphs)
    return lines


def _metric(name: str, estimate: Estimate, width: int, glyphs: Glyphs) -> list[str]:
    """Write one metric: label, value and unit, then its method and any reason."""
    wording = METRICS[name]
    value, sigma = value_and_sigma(estimate, wording.unit, wording.decimals)
    shown = f"{value:>6} {glyphs.plus_minus if sigma else ''} {sigma}".rstrip()
    unit = glyphs.written(wording.unit.symbol) if sigma else ""
    start = f"  {wording.label:<{LABEL_WIDTH}} {shown + ' ' + unit:<22}  "
    text = estimate.reason or ""
    if estimate.value is not None:
        text = f"{estimate.method}; in doubt: {text}" if text else estimate.method
    return textwrap.wrap(
        glyphs.written(text),
        max(width, len(start) + MINIMUM_WIDTH // 2),
        initial_indent=start,
        subsequent_indent=" " * len(start),
        break_on_hyphens=False,
    ) or [start.rstrip()]


STEP_COLUMNS: tuple[tuple[str, str, Unit, int], ...] = (
    ("length", "length_m", CENTIMETRES, 0),
    ("time", "time_s", MILLISECONDS, 0),
    ("contact", "contact_s", MILLISECONDS, 0),
    ("speed", "speed_mps", METRES_PER_SECOND, 2),
)
"""The measured columns of the steps: head, field, display unit, decimals."""


def _steps(attempt: Attempt, glyphs: Glyphs) -> list[str]:
    title = "Steps (contact is that of the foot which begins the step)"
    if not attempt.steps:
        return [title, "  no step of an approach was found"]
    rows = [
        ["step", "lands", "at", *(head for head, *_ in STEP_COLUMNS)],
        ["", "on", "min:s", *(glyphs.written(unit.symbol) for _, _, unit, _ in STEP_COLUMNS)],
        *(_step(step, glyphs) for step in attempt.steps),
    ]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [title, *(_spread(row, widths) for row in rows)]


def _spread(cells: Sequence[str], widths: Sequence[int]) -> str:
    padded = (cell.ljust(width) for cell, width in zip(cells, widths, strict=True))
    return "  " + "  ".join(padded).rstrip()


def _step(step: Step, glyphs: Glyphs) -> list[str]:
    cells = [step_name(step), str(step.side), clock_time(step.strike_s)]
    for _, field, unit, decimals in STEP_COLUMNS:
        value, sigma = value_and_sigma(stated(getattr(step, field)), unit, decimals)
        cells.append(f"{value}{glyphs.plus_minus}{sigma}" if sigma else value)
    return cells
