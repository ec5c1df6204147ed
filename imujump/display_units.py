"""SI numbers as a person reads them: display units, rounding, and what a console can show.

Inside the program numbers are SI; here, and only here, they become the units a coach uses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from imujump.model import Estimate


@dataclass(frozen=True, slots=True)
class Unit:
    """A display unit: its symbol and how many of it make one SI unit."""

    symbol: str
    per_si: float = 1.0


METRES_PER_SECOND = Unit("m/s")
METRES_PER_SECOND_SQUARED = Unit("m/s²")
CENTIMETRES = Unit("cm", 100.0)
MILLISECONDS = Unit("ms", 1000.0)
DEGREES = Unit("°", 180.0 / math.pi)
DEGREES_PER_SECOND = Unit("°/s", 180.0 / math.pi)
KILOGRAMS = Unit("kg")
PERCENT = Unit("%", 100.0)
NO_UNIT = Unit("")


@dataclass(frozen=True, slots=True)
class Glyphs:
    """The characters beyond ASCII that are used, or their stand-ins where a console lacks them."""

    plus_minus: str = "±"
    degree: str = "°"
    squared: str = "²"

    def written(self, text: str) -> str:
        """Write a unit or sentence with these characters."""
        shown = text.replace("±", self.plus_minus).replace("°", self.degree)
        return shown.replace("²", self.squared)


UNICODE = Glyphs()
ASCII = Glyphs("+/-", "deg", "2")


def glyphs_for(encoding: str | None) -> Glyphs:
    """Choose the characters that an output of this encoding can show."""
    try:
        "".join((UNICODE.plus_minus, UNICODE.degree, UNICODE.squared)).encode(encoding or "ascii")
    except (LookupError, UnicodeEncodeError):
        return ASCII
    return UNICODE


def display_value(value: float, unit: Unit, decimals: int) -> str:
    """Convert an SI value to its display unit and round it.

    >>> display_value(0.5624, MILLISECONDS, 0)
    '562'
    """
    rounded = round(value * unit.per_si, decimals) + 0.0
    return f"{rounded:.{decimals}f}"


def display_sigma(sigma: float, unit: Unit, decimals: int) -> str:
    """Convert one standard deviation to the display unit and round it, but never down to 0.

    A small uncertainty is shown as one step of the last digit (JCGM 100:2008, 7.2.6, lets an
    uncertainty be rounded up), so that no value looks exact.

    >>> display_sigma(0.0003, MILLISECONDS, 0)
    '1'
    """
    step = 10.0**-decimals
    shown = round(sigma * unit.per_si, decimals)
    return f"{max(shown, step) if sigma > 0 else shown:.{decimals}f}"


def value_and_sigma(estimate: Estimate, unit: Unit, decimals: int) -> tuple[str, str]:
    """Give the two display texts of an estimate; ``"-"`` when missing, ``"?"`` without sigma."""
    if estimate.value is None:
        return "-", ""
    value = display_value(estimate.value, unit, decimals)
    if estimate.sigma is None:
        return value, "?"
    return value, display_sigma(estimate.sigma, unit, decimals)


def clock_time(time_s: float) -> str:
    """Show an instant of the recording as minutes and seconds.

    >>> clock_time(64.96)
    '1:05.0'
    """
    tenths = round(time_s * 10)
    return f"{tenths // 600}:{tenths % 600 / 10:04.1f}"
