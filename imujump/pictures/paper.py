"""The sheet that pictures are drawn on: size, scales, axes, elements. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from html import escape

STYLE = """
.picture text { fill: var(--ink); font: 13px system-ui, sans-serif; }
.picture .soft { fill: var(--soft); }
.picture .halo { paint-order: stroke; stroke: var(--card); stroke-width: 4px; }
.picture .grid { stroke: var(--line); stroke-width: 1; }
.picture .zero { stroke: var(--ink); stroke-width: 1.5; }
.picture .band { fill: var(--left); fill-opacity: 0.15; }
.picture .edge { stroke: var(--left); stroke-width: 1.5; stroke-dasharray: 2 4; }
.picture .mark { fill: var(--left); stroke: var(--card); stroke-width: 1; }
.picture .mark.two { fill: var(--right); }
.picture .reach { stroke: var(--left); stroke-width: 2; }
.picture .reach.two { stroke: var(--right); }
.picture .line { stroke: var(--left); stroke-width: 2; fill: none; }
.picture .level { stroke: var(--ink); stroke-width: 2.5; }
.picture .turn { stroke: var(--ink); stroke-width: 1.5; stroke-dasharray: 5 4; }
.picture .bar { stroke: var(--card); stroke-width: 1; fill: var(--left); }
.picture .bar.b0 { fill-opacity: 0.25; }
.picture .bar.b1 { fill-opacity: 0.5; }
.picture .bar.b2 { fill-opacity: 0.75; }
.picture .bar.unknown { fill: none; stroke: var(--soft); stroke-dasharray: 2 2; }
"""
"""Rules for the classes that pictures use; the page sets the colours."""

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
TOP, BOTTOM = 20, 28


@dataclass(slots=True)
class Sheet:
    """A sheet with two scales; add elements, then take :attr:`svg`.

    Parameters
    ----------
    width, height : int
        In pixels of the screen at full size.
    left : int
        Room for words at the left.
    x, y : (float, float)
        Values at the left and right, bottom and top of the drawing.
    """

    width: int
    height: int
    left: int
    x: tuple[float, float]
    y: tuple[float, float]
    right: int = 14
    _parts: list[str] = field(default_factory=list)

    def at_x(self, value: float) -> float:
        """Where a value lies from the left."""
        low, high = self.x
        room = self.width - self.left - self.right
        return round(self.left + (value - low) / (high - low) * room, 1)

    def at_y(self, value: float) -> float:
        """Where a value lies from the top."""
        low, high = self.y
        return round(TOP + (high - value) / (high - low) * (self.height - TOP - BOTTOM), 1)

    @property
    def floor(self) -> int:
        """Lower edge of the drawing."""
        return self.height - BOTTOM

    def line(self, kind: str, x0: float, y0: float, x1: float, y1: float) -> None:
        """Add a line between two places on the sheet."""
        self._parts.append(f'<line class="{kind}" x1="{x0}" y1="{y0}" x2="{x1}" y2="{y1}"/>')

    def box(self, kind: str, x: float, y: float, width: float, height: float, told: str) -> None:
        """Add a rectangle that says what it is when pointed at."""
        self._parts.append(
            f'<rect class="{kind}" x="{x}" y="{y}" width="{round(max(width, 0.0), 1)}" '
            f'height="{round(max(height, 0.0), 1)}">{_title(told)}</rect>'
        )

    def dot(self, kind: str, x: float, y: float, told: str, radius: float = 4.0) -> None:
        """Add a dot that says what it is when pointed at."""
        self._parts.append(
            f'<circle class="{kind}" cx="{x}" cy="{y}" r="{radius}">{_title(told)}</circle>'
        )

    def path(self, kind: str, places: Sequence[tuple[float, float]]) -> None:
        """Add a line through several places."""
        through = " ".join(f"{x},{y}" for x, y in places)
        self._parts.append(f'<polyline class="{kind}" points="{through}"/>')

    def text(self, words: str, x: float, y: float, anchor: str = "start", kind: str = "") -> None:
        """Add words."""
        self._parts.append(
            f'<text class="{kind}" x="{x}" y="{y}" text-anchor="{anchor}">{escape(words)}</text>'
        )

    def upright_axis(self, unit: str, per_si: float, ticks: int = 5) -> None:
        """Draw the axis of values with lines across, in the display unit."""
        low, high = (limit * per_si for limit in self.y)
        for told, value in nice_ticks(low, high, ticks):
            y = self.at_y(value / per_si)
            self.line("grid", self.left, y, self.width - self.right, y)
            self.text(told, self.left - 6, y + 4, "end", "soft")
        if unit:
            self.text(unit, 2, TOP - 9, "start", "soft")

    def level_axis(self, unit: str, per_si: float, ticks: int = 5) -> None:
        """Draw the axis of values along the floor."""
        low, high = (limit * per_si for limit in self.x)
        for told, value in nice_ticks(low, high, ticks):
            x = self.at_x(value / per_si)
            self.line("grid", x, TOP, x, self.floor)
            self.text(told, x, self.height - 10, "middle", "soft")
        if unit:
            self.text(unit, self.width - 2, self.height - 10, "end", "soft")

    def day_axis(self, ticks: int = 6) -> None:
        """Draw the axis of days along the floor; x values are ordinal days."""
        for told, ordinal in day_ticks(self.x[0], self.x[1], ticks):
            x = self.at_x(ordinal)
            self.line("grid", x, TOP, x, self.floor)
            self.text(told, x, self.height - 10, "middle", "soft")

    def svg(self, name: str) -> str:
        """Give the whole picture; ``name`` is what a screen reader says."""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="picture" role="img" '
            f'viewBox="0 0 {self.width} {self.height}" aria-label="{escape(name)}">'
            f"{''.join(self._parts)}</svg>"
        )


def _title(told: str) -> str:
    return f"<title>{escape(told)}</title>" if told else ""


def span_of(values: Iterable[float], around: float = 0.08) -> tuple[float, float]:
    """Give limits that hold all values with some room.

    >>> span_of([1.0, 2.0], 0.1)
    (0.9, 2.1)
    """
    held = [value for value in values if math.isfinite(value)]
    low, high = min(held), max(held)
    room = around * (high - low) or 0.05 * abs(high) or 1.0
    return low - room, high + room


def nice_ticks(low: float, high: float, most: int) -> list[tuple[str, float]]:
    """Give round numbers between two limits, with their texts.

    >>> [told for told, _ in nice_ticks(0.0, 9.0, 5)]
    ['0', '2', '4', '6', '8']
    >>> [told for told, _ in nice_ticks(-0.07, 0.12, 4)]
    ['-0.05', '0.00', '0.05', '0.10']
    """
    if not high > low:
        return []
    rough = (high - low) / most
    scale = 10.0 ** math.floor(math.log10(rough))
    step = next(s * scale for s in (1.0, 2.0, 5.0, 10.0) if s * scale >= rough * 0.999)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [(f"{k * step + 0.0:.{decimals}f}", k * step) for k in range(first, last + 1)]


def day_ticks(low: float, high: float, most: int) -> list[tuple[str, float]]:
    """Give days to write along an axis: firsts of months, or single days of a short time.

    >>> day_ticks(date(2026, 1, 10).toordinal(), date(2026, 4, 20).toordinal(), 6)[0][0]
    'Feb 2026'
    """
    first, last = date.fromordinal(math.floor(low)), date.fromordinal(math.ceil(high))
    months = (last.year - first.year) * 12 + last.month - first.month
    if months < 2:
        step = max(1, math.ceil((last - first).days / most))
        days = [first + timedelta(days=k) for k in range(0, (last - first).days + 1, step)]
        return [
            (f"{d.day} {MONTHS[d.month - 1]}", float(d.toordinal()))
            for d in days
            if low <= d.toordinal() <= high
        ]
    step = next((s for s in (1, 2, 3, 6) if months / s <= most), 12 * math.ceil(months / 12 / most))
    found: list[tuple[str, float]] = []
    for k in range(first.year * 12 + first.month - 1, last.year * 12 + last.month):
        if k % step == 0:
            day = date(k // 12, k % 12 + 1, 1)
            if low <= day.toordinal() <= high:
                with_year = not found or k % 12 < step
                name = MONTHS[day.month - 1] + (f" {day.year}" if with_year else "")
                found.append((name, float(day.toordinal())))
    return found
