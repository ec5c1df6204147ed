"""Several differences with their intervals, one below the other, about no difference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from imujump.display_units import Unit
from imujump.pictures.paper import BOTTOM, TOP, Sheet, span_of

ROW, LABEL, LINE = 42, 14, 28
"""Height of a row, and how far below its upper edge the label and the line lie, in pixels."""

LONGEST_LABEL = 56
"""Letters that fit across the narrowest picture."""


@dataclass(frozen=True, slots=True)
class Span:
    """A difference with its limits; ``told`` is said when it is pointed at."""

    label: str
    value: float
    low: float
    high: float
    told: str = ""


def spans_picture(
    spans: Sequence[Span], unit: Unit, name: str, *, none: float = 0.0, width: int = 480
) -> str:
    """Draw differences as dots with lines from limit to limit, each under its label.

    Parameters
    ----------
    spans : sequence of Span
        SI.
    unit : Unit
        Display unit.
    name : str
        What a screen reader says.
    none : float
        The value of no difference.
    width : int
        In pixels.
    """
    if not spans:
        return ""
    reach = span_of([none, *(v for s in spans for v in (s.value, s.low, s.high))])
    height = TOP + ROW * len(spans) + BOTTOM
    sheet = Sheet(width, height, 14, reach, (0.0, float(len(spans))), right=34)
    sheet.level_axis(unit.symbol, unit.per_si, ticks=5)
    at = sheet.at_x(none)
    sheet.line("zero", at, TOP, at, sheet.floor)
    for k, span in enumerate(spans):
        top = TOP + ROW * k
        sheet.text(_short(span.label), 2, top + LABEL, kind="halo")
        y = top + LINE
        sheet.line("reach", sheet.at_x(span.low), y, sheet.at_x(span.high), y)
        sheet.dot("mark", sheet.at_x(span.value), y, span.told or span.label, 5.0)
    return sheet.svg(name)


def _short(label: str) -> str:
    return label if len(label) <= LONGEST_LABEL else label[: LONGEST_LABEL - 1] + "…"
