"""One metric against another, attempt by attempt."""

from __future__ import annotations

from collections.abc import Sequence

from imujump.display_units import Unit
from imujump.pictures.paper import TOP, Sheet, span_of

Dot = tuple[float, float, str]
"""Across, up, and what is said when it is pointed at."""


def scatter_picture(
    dots: Sequence[Dot],
    units: tuple[Unit, Unit],
    name: str,
    *,
    best: tuple[float, float, float] | None = None,
    size: tuple[int, int] = (480, 230),
) -> str:
    """Draw attempts as dots.

    Parameters
    ----------
    dots : sequence of Dot
        SI.
    units : (Unit, Unit)
        Display units across and up.
    name : str
        What a screen reader says.
    best : (float, float, float) or None
        A value across that stands out, between its limits: low, value, high.
    size : (int, int)
        Width and height.
    """
    if not dots:
        return ""
    across = span_of([dot[0] for dot in dots], 0.05)
    sheet = Sheet(*size, 46, across, span_of([dot[1] for dot in dots]), right=48)
    if best is not None:
        low, value, high = (sheet.at_x(each) for each in best)
        sheet.box("band", low, TOP, high - low, sheet.floor - TOP, "")
        sheet.line("turn", value, TOP, value, sheet.floor)
    sheet.upright_axis(units[1].symbol, units[1].per_si)
    sheet.level_axis(units[0].symbol, units[0].per_si)
    radius = 4.0 if len(dots) < 150 else 2.5
    for x, y, told in dots:
        sheet.dot("mark", sheet.at_x(x), sheet.at_y(y), told, radius)
    return sheet.svg(name)
