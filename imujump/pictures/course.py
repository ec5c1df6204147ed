"""A value over the days of a season, with intervals and a band of error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from imujump.display_units import Unit
from imujump.pictures.paper import TOP, Sheet, span_of


@dataclass(frozen=True, slots=True)
class Point:
    """A value of a day; ``told`` is said when it is pointed at."""

    on: date
    value: float
    low: float | None = None
    high: float | None = None
    told: str = ""


@dataclass(frozen=True, slots=True)
class Stretch:
    """The level of a period."""

    begin: date
    end: date
    level: float


def course_picture(
    points: Sequence[Point],
    unit: Unit,
    name: str,
    *,
    band: tuple[float, float] | None = None,
    edges: Sequence[float] = (),
    stretches: Sequence[Stretch] = (),
    turn: date | None = None,
    joined: bool = False,
    size: tuple[int, int] = (480, 230),
) -> str:
    """Draw values over days.

    Parameters
    ----------
    points : sequence of Point
        In order of time, SI.
    unit : Unit
        Display unit.
    name : str
        What a screen reader says.
    band : (float, float) or None
        Limits of a band across the picture.
    edges : sequence of float
        Values of dotted lines across it.
    stretches : sequence of Stretch
        Levels that are drawn as thick lines.
    turn : date or None
        The day of a change.
    joined : bool
        Whether a line goes from point to point.
    size : (int, int)
        Width and height.
    """
    if not points:
        return ""
    values = [v for p in points for v in (p.value, p.low, p.high) if v is not None]
    values += [*(band or ()), *edges]
    days = [float(p.on.toordinal()) for p in points]
    x = (days[0] - 3.0, days[0] + 3.0) if days[-1] == days[0] else span_of(days, 0.03)
    sheet = Sheet(*size, 46, x, span_of(values))
    end = size[0] - sheet.right
    if band is not None:
        top, bottom = sheet.at_y(band[1]), sheet.at_y(band[0])
        sheet.box("band", sheet.left, top, end - sheet.left, bottom - top, "")
    sheet.upright_axis(unit.symbol, unit.per_si)
    sheet.day_axis()
    for edge in edges:
        sheet.line("edge", sheet.left, sheet.at_y(edge), end, sheet.at_y(edge))
    if turn is not None:
        at = sheet.at_x(turn.toordinal())
        sheet.line("turn", at, TOP, at, sheet.floor)
    if joined:
        sheet.path("line", [(sheet.at_x(p.on.toordinal()), sheet.at_y(p.value)) for p in points])
    for point in points:
        at = sheet.at_x(point.on.toordinal())
        if point.low is not None and point.high is not None:
            sheet.line("reach", at, sheet.at_y(point.low), at, sheet.at_y(point.high))
        radius = 4.0 if len(points) < 60 else 2.5
        sheet.dot("mark", at, sheet.at_y(point.value), point.told, radius)
    for stretch in stretches:
        left, right = (sheet.at_x(day.toordinal()) for day in (stretch.begin, stretch.end))
        y = sheet.at_y(stretch.level)
        sheet.line("level", left - 4.0, y, right + 4.0, y)
    return sheet.svg(name)
