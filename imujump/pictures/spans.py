"""Several differences with their intervals, one below the other, about no difference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from imujump.display_units import Unit
from imujump.pictures.paper import BOTTOM, TOP, Sheet, span_of

ROW, LETTER = 30, 6.6
"""Height of a row and usual width of a letter, in pixels."""


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
    """Draw differences as dots with lines from limit to limit.

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
    left = min(int(max(len(span.label) for span in spans) * LETTER) + 14, width * 2 // 5)
    reach = span_of([none, *(v for s in spans for v in (s.value, s.low, s.high))])
    height = TOP + ROW * len(spans) + BOTTOM
    sheet = Sheet(width, height, left, reach, (0.0, float(len(spans))), right=30)
    sheet.level_axis(unit.symbol, unit.per_si, ticks=4)
    at = sheet.at_x(none)
    sheet.line("zero", at, TOP, at, sheet.floor)
    for k, span in enumerate(spans):
        y = TOP + ROW * k + ROW // 2
        sheet.text(_short(span.label, left), left - 10, y + 4, "end")
        sheet.line("reach", sheet.at_x(span.low), y, sheet.at_x(span.high), y)
        sheet.dot("mark", sheet.at_x(span.value), y, span.told or span.label, 5.0)
    return sheet.svg(name)


def _short(label: str, room: int) -> str:
    most = int((room - 12) / LETTER)
    return label if len(label) <= most else label[: most - 1] + "…"
