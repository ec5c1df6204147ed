"""How fast a metric moves over time: a line through session means.

A line with a level of its own for each session (a random intercept), fitted as weighted least
squares on session means. The weights come from the spread of attempts and from that of the days,
the error's scale from the scatter about the line, the interval from Student's t with n - 2 degrees
of freedom (J. Hartung and G. Knapp, Stat. Med. 20:3875-3889, 2001; from memory). With few sessions
this keeps its level, which the large-sample intervals of a mixed model do not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from scipy import optimize

from imujump.model import FloatArray
from imujump.sessions.day_to_day import noise_of_means
from imujump.sessions.interval import Interval, around
from imujump.sessions.readings import SessionReadings
from imujump.sessions.reliability import typical_error

LEAST_FOR_SLOPE = 5
"""Fewer sessions give no line (own choice: three degrees of freedom)."""

LEAST_SPAN = timedelta(days=14)
"""A shorter time gives no line (own choice: form of the day would be taken for a trend)."""

MONTH = timedelta(days=30.4375)


@dataclass(frozen=True, slots=True)
class Slope:
    """Change per month (30.44 days), with its interval; ``n`` sessions over ``span``."""

    value: float
    interval: Interval
    n: int
    span: timedelta


def slope_over_time(sessions: Sequence[SessionReadings]) -> Slope | None:
    """Fit a line through the sessions, which are in order of time.

    Returns
    -------
    Slope or None
        None for fewer than five sessions, less than two weeks, or values without any spread.

    Notes
    -----
    The spread of the days is what makes the weighted squares about the line equal to their
    degrees of freedom (Paule and Mandel).
    """
    if len(sessions) < LEAST_FOR_SLOPE:
        return None
    span = sessions[-1].started_utc - sessions[0].started_utc
    means = np.array([s.mean for s in sessions])
    if span < LEAST_SPAN or np.ptp(means) == 0.0:
        return None
    months = np.array([(s.started_utc - sessions[0].started_utc) / MONTH for s in sessions])
    noise = noise_of_means(sessions, typical_error(s.values.tolist() for s in sessions))
    line = np.polynomial.Polynomial.fit(months, means, 1)
    if float(np.max(np.abs(means - line(months)))) <= 1e-12 * float(np.ptp(means)):
        return None
    value, error = _line(months, means, noise + _variance_of_days(months, means, noise))
    return Slope(value, around(value, error, len(means) - 2), len(means), span)


def _variance_of_days(months: FloatArray, means: FloatArray, noise: FloatArray) -> float:
    df = len(means) - 2

    def excess(variance: float) -> float:
        root = np.sqrt(1.0 / (variance + noise))
        design = np.column_stack([root, root * months])
        left = means * root - design @ np.linalg.lstsq(design, means * root, rcond=None)[0]
        return float(left @ left) - df

    least = 1e-12 * float(np.ptp(means)) ** 2
    if excess(least) <= 0.0:
        return least
    return float(optimize.brentq(excess, least, len(means) * float(np.ptp(means)) ** 2, xtol=least))


def _line(months: FloatArray, means: FloatArray, variance: FloatArray) -> tuple[float, float]:
    """Slope and its standard error; the scale is never taken to be below the known variance."""
    # Imported here: it takes a second, and most of what uses sessions has no need of it.
    from statsmodels.regression.linear_model import WLS

    design = np.column_stack([np.ones_like(months), months])
    found = WLS(means, design, weights=1.0 / variance).fit()
    short = max(1.0, 1.0 / float(np.sqrt(found.scale)))
    return float(found.params[1]), float(found.bse[1]) * short
