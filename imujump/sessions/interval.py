"""Intervals: what the truth may be, given what was seen."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import special

LEVEL = 0.95
"""Level of an interval where nothing else is said (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Interval:
    """Limits that hold the truth in ``level`` of all such cases; in the unit of the value."""

    low: float
    high: float
    level: float = LEVEL

    def holds(self, value: float) -> bool:
        """Whether a value lies within the limits.

        >>> Interval(-0.01, 0.03).holds(0.0)
        True
        """
        return self.low <= value <= self.high

    @property
    def half(self) -> float:
        """Half of the width."""
        return (self.high - self.low) / 2.0


def around(value: float, standard_error: float, df: float, level: float = LEVEL) -> Interval:
    """Give the interval of a mean or slope, from Student's t.

    >>> limits = around(0.40, 0.01, 9)
    >>> round(limits.low, 4), round(limits.high, 4)
    (0.3774, 0.4226)
    """
    half = t_factor(df, level) * standard_error
    return Interval(value - half, value + half, level)


def t_factor(df: float, level: float = LEVEL) -> float:
    """How many standard errors an interval reaches to each side; ``df`` may be infinite.

    >>> round(t_factor(math.inf), 2), round(t_factor(9), 2)
    (1.96, 2.26)
    """
    return t_quantile(0.5 + level / 2.0, df)


def t_quantile(probability: float, df: float) -> float:
    """Quantile of Student's t; of the normal distribution for infinite ``df``.

    >>> round(t_quantile(0.8, 9), 3)
    0.883
    """
    if math.isinf(df):
        return float(special.ndtri(probability))
    return float(special.stdtrit(df, probability))


def chi2_quantile(probability: float, df: float) -> float:
    """Quantile of chi-square.

    >>> round(chi2_quantile(0.95, 10), 3)
    18.307
    """
    return float(special.chdtri(df, 1.0 - probability))


def of_deviation(deviation: float, df: float, level: float = LEVEL) -> Interval:
    """Give the interval of a standard deviation with ``df`` degrees of freedom, from chi-square.

    >>> limits = of_deviation(1.0, 10)
    >>> round(limits.low, 2), round(limits.high, 2)
    (0.7, 1.75)
    """
    low, high = (chi2_quantile(0.5 + sign * level / 2.0, df) for sign in (-1.0, 1.0))
    return Interval(deviation * math.sqrt(df / high), deviation * math.sqrt(df / low), level)
