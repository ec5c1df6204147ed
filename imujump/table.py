"""The attempts of one or more recordings as plain text: one line an attempt.

Each line shows the few metrics a coach reads first as value ± one standard deviation, in
display units; under it stands why anything is missing. :mod:`imujump.sheet` shows the rest.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from imujump.contract import stated
from imujump.display_units import Glyphs, clock_time, value_and_sigma
from imujump.model import Analysis, Attempt, Estimate, Mark
from imujump.wording import FIRST_READ, METRICS, sentence, take_off

Named = tuple[str, Analysis]
"""A recording's name as the user knows it, and its analysis."""

INDENT = "    "
HEAD_LINES = 3
DOUBT = "*"

MINIMUM_WIDTH = 40
"""Sentences are not wrapped narrower than this, in characters (own choice: legibility)."""


@dataclass(frozen=True, slots=True)
class _Layout:
    """How wide the table is set; the first that fits is used.

    ``around`` is the space on each side of ±, ``gap`` that between columns; ``stacked`` puts ±
    on a second line.
    """

    around: str
    gap: str
    start_shown: bool
    stacked: bool


_LAYOUTS = (
    _Layout(around=" ", gap="  ", start_shown=True, stacked=False),
    _Layout(around="", gap="  ", start_shown=True, stacked=False),
    _Layout(around="", gap="  ", start_shown=False, stacked=False),
    _Layout(around="", gap=" ", start_shown=False, stacked=False),
    _Layout(around="", gap="  ", start_shown=False, stacked=True),
)


def attempts_table(recordings: Sequence[Named], width: int, glyphs: Glyphs) -> str:
    """Lay out the table of attempts.

    Parameters
    ----------
    recordings : sequence of (str, Analysis)
        Names and analyses, in the order to show.
    width : int
        Characters of a line. When even the narrowest layout needs more, lines are longer.
    glyphs : Glyphs
        The characters that the output can show.

    Returns
    -------
    str
        Text that ends in a newline.
    """
    attempts = [attempt for _, analysis in recordings for attempt in analysis.attempts]
    lines: list[str] = []
    rows: dict[int, list[str]] = {}
    if attempts:
        head, body = _fit(attempts, width, glyphs)
        lines += head
        rows = {id(attempt): row for attempt, row in zip(attempts, body, strict=True)}
    for name, analysis in recordings:
        lines.append(name)
        if not analysis.attempts:
            lines.append(f"{INDENT}no jump found")
        for attempt in analysis.attempts:
            lines += rows[id(attempt)]
            for remark in _remarks(attempt):
                lines += _wrapped(glyphs.written(remark), width, INDENT)
        for mark in analysis.marks:
            lines += _wrapped(glyphs.written(mark_line(mark)), width, INDENT)
    return "\n".join([*lines, *_foot(recordings, attempts, width, glyphs)]) + "\n"


def doubtful(estimate: Estimate) -> bool:
    """Tell whether a value was measured but carries a reason for doubt."""
    return estimate.value is not None and bool(estimate.reason)


def mark_line(mark: Mark) -> str:
    """Say when a mark was set and what was noted.

    >>> mark_line(Mark(64.96, "new shoes")), mark_line(Mark(3.0, ""))
    ('mark at 1:05.0: new shoes', 'mark at 0:03.0')
    """
    text = " ".join(mark.text.split())
    return f"mark at {clock_time(max(mark.time_s, 0.0))}{f': {text}' if text else ''}"


def grouped_reasons(estimates: Iterable[tuple[str, Estimate]]) -> list[tuple[str, str]]:
    """Collect labelled estimates without a value by their reason.

    Returns
    -------
    list of (str, str)
        Labels joined by commas, and the reason they share; in order of first appearance.
    """
    labels: dict[str, list[str]] = {}
    for label, estimate in estimates:
        told = stated(estimate)
        if told.value is None and told.reason is not None:
            labels.setdefault(told.reason, []).append(label)
    return [(", ".join(group), reason) for reason, group in labels.items()]


def _fit(
    attempts: Sequence[Attempt], width: int, glyphs: Glyphs
) -> tuple[list[str], list[list[str]]]:
    head, body = _lay_out(attempts, _LAYOUTS[0], glyphs)
    for layout in _LAYOUTS[1:]:
        if len(head[0]) <= width:
            break
        head, body = _lay_out(attempts, layout, glyphs)
    return [line.rstrip() for line in head], [
        [line.rstrip() for line in row if line.strip()] for row in body
    ]


def _lay_out(
    attempts: Sequence[Attempt], layout: _Layout, glyphs: Glyphs
) -> tuple[list[str], list[list[str]]]:
    """Give the head's lines and, for each attempt, its one or two lines, all of one length."""
    blank = [""] if layout.stacked else []
    columns = [_column(["no."], [[str(attempt.number), *blank] for attempt in attempts])]
    if layout.start_shown:
        columns.append(_column(["start"], [[clock_time(a.start_s), *blank] for a in attempts]))
    columns.append(_column(["foot"], [[take_off(attempt), *blank] for attempt in attempts]))
    for name in FIRST_READ:
        wording = METRICS[name]
        head = [*wording.head.split(" "), glyphs.written(wording.unit.symbol)]
        columns.append(_column(head, _cells(attempts, name, layout, glyphs)))
    lines = [layout.gap.join(parts) for parts in zip(*columns, strict=True)]
    each = 2 if layout.stacked else 1
    body = [lines[i : i + each] for i in range(HEAD_LINES, len(lines), each)]
    return lines[:HEAD_LINES], body


def _column(head: Sequence[str], cells: Sequence[Sequence[str]]) -> list[str]:
    """Stack a column's head and cells, right-aligned to one width."""
    texts = [*[""] * (HEAD_LINES - len(head)), *head, *(line for cell in cells for line in cell)]
    width = max(map(len, texts))
    return [text.rjust(width) for text in texts]


def _cells(
    attempts: Sequence[Attempt], name: str, layout: _Layout, glyphs: Glyphs
) -> list[list[str]]:
    """Give each attempt's cell of one metric, values and uncertainties aligned at the ±."""
    wording = METRICS[name]
    estimates = [stated(attempt.metrics[name]) for attempt in attempts]
    texts = [value_and_sigma(e, wording.unit, wording.decimals) for e in estimates]
    sigma_width = max(len(sigma) for _, sigma in texts)
    mark_width = max(len(DOUBT) * doubtful(e) for e in estimates)
    pm = f"{layout.around}{glyphs.plus_minus}{layout.around}"
    cells = []
    for (value, sigma), estimate in zip(texts, estimates, strict=True):
        mark = (DOUBT if doubtful(estimate) else "").ljust(mark_width)
        if layout.stacked:
            cells.append([value + mark, f"{glyphs.plus_minus}{sigma}" if sigma else ""])
        else:
            spread = f"{pm}{sigma}" if sigma else ""
            full = len(pm) + sigma_width if sigma_width else 0
            cells.append([value + spread.ljust(full) + mark])
    return cells


def _remarks(attempt: Attempt) -> list[str]:
    """Say what stands under an attempt's line: why it does not count, why values are missing."""
    remarks = []
    if not attempt.valid:
        remarks.append(
            sentence("not counted: " + ("; ".join(attempt.reasons) or "no reason given"))
        )
    elif attempt.reasons:
        remarks.append(sentence("; ".join(attempt.reasons)))
    named = ((METRICS[name].label, attempt.metrics[name]) for name in FIRST_READ)
    remarks += [sentence(f"{labels}: {reason}") for labels, reason in grouped_reasons(named)]
    return remarks


def _foot(
    recordings: Sequence[Named], attempts: Sequence[Attempt], width: int, glyphs: Glyphs
) -> list[str]:
    """Explain the signs used, then give each recording's warnings as sentences."""
    notes = []
    if attempts:
        notes.append(
            f"Values are given as value {glyphs.plus_minus} one standard deviation: the true "
            "value should lie within twice that in about 19 of 20 cases."
        )
    if any(doubtful(attempt.metrics[name]) for attempt in attempts for name in FIRST_READ):
        notes.append(f"{DOUBT} in doubt: --all gives the reason.")
    for name, analysis in recordings:
        notes += [f"{name}: {sentence(warning)}" for warning in analysis.warnings]
    lines = [line for note in notes for line in _wrapped(glyphs.written(note), width, "")]
    return ["", *lines] if lines else []


def _wrapped(text: str, width: int, indent: str) -> list[str]:
    return textwrap.wrap(
        text,
        max(width, MINIMUM_WIDTH),
        initial_indent=indent,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
