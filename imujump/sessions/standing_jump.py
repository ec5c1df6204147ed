"""Standing-jump tests: height from flight time, and power from regressions inside their domain.

Power regressions were made on standing jumps from still stance; a run-up jump's height in them is
wrong, so any other task is refused. They describe a sample, not a person: a single figure's error
is that of the regression far more than that of the measurement.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.sessions.interval import LEVEL, Interval, t_factor
from imujump.sessions.records import Task

LEAST_MASS_KG, MOST_MASS_KG = 40.0, 130.0
LEAST_HEIGHT_M, MOST_HEIGHT_M = 0.10, 0.80
"""Limits of mass and height (own choice: the sources' samples were adults at college and athletes;
their limits are not at hand)."""

LEWIS_GRAVITY_MPS2 = 9.81
"""As the formula is printed."""


class PowerFormula(StrEnum):
    """Published ways from height and mass to power."""

    SAYERS = "sayers"
    SAYERS_COUNTER_MOVEMENT = "sayers_counter_movement"
    HARMAN_PEAK = "harman_peak"
    HARMAN_MEAN = "harman_mean"
    WOMEN_PEAK = "women_peak"
    LEWIS_MEAN = "lewis_mean"


@dataclass(frozen=True, slots=True)
class Regression:
    """P = per_cm·(height in cm) + per_kg·mass + constant, in watts.

    ``error_w`` is the regression's standard error of estimate, None where it is not at hand.
    ``checked`` tells whether the figures were seen in the source or an account of it.
    """

    per_cm: float
    per_kg: float
    constant: float
    error_w: float | None
    source: str
    checked: bool
    peak: bool


REGRESSIONS = {
    PowerFormula.SAYERS: Regression(
        60.7, 45.3, -2055.0, None, "Sayers et al., 1999, MSSE 31:572", True, True
    ),
    PowerFormula.SAYERS_COUNTER_MOVEMENT: Regression(
        51.9, 48.9, -2007.0, None, "Sayers et al., 1999, MSSE 31:572 (from memory)", False, True
    ),
    # Several public pages print + 1822. With it the mean of Canavan and Vescovi's sample would be
    # 6224 W, with minus it is 2580 W; they report 2585 W.
    PowerFormula.HARMAN_PEAK: Regression(
        61.9,
        36.0,
        -1822.0,
        None,
        "Harman et al., 1991 (sign checked on Canavan and Vescovi, 2004)",
        True,
        True,
    ),
    PowerFormula.HARMAN_MEAN: Regression(
        21.2, 23.0, -1393.0, None, "Harman et al., 1991 (as told by others)", True, False
    ),
    PowerFormula.WOMEN_PEAK: Regression(
        65.1, 25.8, -1413.1, 121.0, "Canavan and Vescovi, 2004, MSSE 36:1589", True, True
    ),
}
"""Linear regressions; that for women was made on women alone."""

LEWIS_SOURCE = "Lewis, in Fox and Mathews, 1974"


@dataclass(frozen=True, slots=True)
class Measured:
    """A value with its standard deviation; ``sigma`` None if not known."""

    value: float
    sigma: float | None


@dataclass(frozen=True, slots=True)
class Power:
    """Power of a standing jump by one formula.

    Attributes
    ----------
    watts, per_kg : Measured or None
        None where the formula does not apply, and ``reason`` then says why. Their sigmas come from
        height and mass, and from the regression where its error is known.
    interval, per_kg_interval : Interval or None
        95 %, where a sigma is known.
    with_regression_error : bool
        Whether the regression's own error is in them.
    peak : bool
        Peak or mean power.
    source : str
        Where the formula stands.
    checked : bool
        Whether its figures were seen there or in an account of it.
    """

    formula: PowerFormula
    watts: Measured | None
    per_kg: Measured | None
    interval: Interval | None
    per_kg_interval: Interval | None
    with_regression_error: bool
    peak: bool
    source: str
    checked: bool
    reason: str | None = None


def height_from_flight(flight_s: Measured, gravity_mps2: float = STANDARD_GRAVITY_MPS2) -> Measured:
    """Height g·t²/8, with its error.

    >>> round(height_from_flight(Measured(0.600, 0.005)).value, 4)
    0.4413
    >>> round(height_from_flight(Measured(0.600, 0.005)).sigma, 4)
    0.0074
    """
    if not (math.isfinite(flight_s.value) and flight_s.value >= 0.0):
        raise ValueError(f"flight_s is {flight_s.value}, must be a finite number of at least 0")
    slope = gravity_mps2 * flight_s.value / 4.0
    sigma = None if flight_s.sigma is None else slope * flight_s.sigma
    return Measured(gravity_mps2 * flight_s.value**2 / 8.0, sigma)


def power(formula: PowerFormula, height_m: Measured, mass_kg: Measured, task: Task) -> Power:
    """Work out power from a standing jump's height and body mass.

    Parameters
    ----------
    formula : PowerFormula
        Which.
    height_m, mass_kg : Measured
        Height of the jump and mass on the day.
    task : Task
        What was jumped.

    Returns
    -------
    Power
        Without a value, and with a reason, outside the formula's domain.

    Examples
    --------
    >>> found = power(PowerFormula.SAYERS, Measured(0.55, 0.0), Measured(80, 0.0), Task.STANDING)
    >>> round(found.watts.value, 1), round(found.per_kg.value, 2)
    (4907.5, 61.34)
    """
    regression = REGRESSIONS.get(formula)
    error_w = None if regression is None else regression.error_w
    peak = regression is not None and regression.peak
    source = LEWIS_SOURCE if regression is None else regression.source
    checked = regression is None or regression.checked
    reason = _outside(height_m.value, mass_kg.value, task)
    if reason is None:
        watts, by_height, by_mass = _worked_out(regression, height_m.value, mass_kg.value)
        if watts <= 0.0:
            reason = "the formula gives no power for so low a jump"
    if reason is not None:
        return Power(formula, None, None, None, None, False, peak, source, checked, reason)
    mass = mass_kg.value
    sigma = _sigma(by_height, by_mass, height_m, mass_kg, error_w)
    # Mass also stands below the line: its error partly cancels.
    per_kg_sigma = _sigma(
        by_height / mass,
        (by_mass - watts / mass) / mass,
        height_m,
        mass_kg,
        None if error_w is None else error_w / mass,
    )
    whole, each = Measured(watts, sigma), Measured(watts / mass, per_kg_sigma)
    return Power(
        formula,
        whole,
        each,
        _limits(whole),
        _limits(each),
        error_w is not None,
        peak,
        source,
        checked,
    )


def _worked_out(
    regression: Regression | None, height_m: float, mass_kg: float
) -> tuple[float, float, float]:
    """Power, and how it rises with a metre and with a kilogram."""
    if regression is None:
        per_kg = math.sqrt(4.9) * math.sqrt(height_m) * LEWIS_GRAVITY_MPS2
        return per_kg * mass_kg, per_kg * mass_kg / (2.0 * height_m), per_kg
    by_height = 100.0 * regression.per_cm
    watts = by_height * height_m + regression.per_kg * mass_kg + regression.constant
    return watts, by_height, regression.per_kg


def _outside(height_m: float, mass_kg: float, task: Task) -> str | None:
    if task is not Task.STANDING:
        return "power formulas hold for standing jumps only, not for jumps with an approach"
    if not math.isfinite(mass_kg) or not LEAST_MASS_KG <= mass_kg <= MOST_MASS_KG:
        return f"body mass must lie within {LEAST_MASS_KG:.0f} and {MOST_MASS_KG:.0f} kg"
    if not math.isfinite(height_m) or not LEAST_HEIGHT_M <= height_m <= MOST_HEIGHT_M:
        return f"height must lie within {100 * LEAST_HEIGHT_M:.0f} and {100 * MOST_HEIGHT_M:.0f} cm"
    return None


def _sigma(
    by_height: float, by_mass: float, height: Measured, mass: Measured, error: float | None
) -> float | None:
    if height.sigma is None or mass.sigma is None:
        return None
    return math.hypot(by_height * height.sigma, by_mass * mass.sigma, error or 0.0)


def _limits(told: Measured) -> Interval | None:
    if told.sigma is None:
        return None
    half = t_factor(math.inf, LEVEL) * told.sigma
    return Interval(told.value - half, told.value + half)
