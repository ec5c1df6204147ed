"""How far true levels lie apart when each was only estimated.

The method of R. C. Paule and J. Mandel (J. Res. Natl. Bur. Stand. 87:377-385, 1982; from memory):
the spread is what makes the weighted sum of squares equal to its degrees of freedom.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import optimize

from imujump.model import FloatArray, IntArray

ROUNDING = 1e-12
"""Differences below this share of the values are those of arithmetic."""


def scatter(means: FloatArray, noise: FloatArray, block: IntArray, between: float) -> float:
    """Weighted sum of squares of means about the mean of their block.

    Parameters
    ----------
    means, noise : array
        Each mean and the variance of its own error.
    block : array of int
        The block of each, counted from 0.
    between : float
        Standard deviation of the true levels.
    """
    weight = 1.0 / np.maximum(between**2 + noise, np.finfo(float).tiny)
    centre = np.bincount(block, weight * means) / np.bincount(block, weight)
    return float(np.sum(weight * (means - centre[block]) ** 2))


def spread_between(means: FloatArray, noise: FloatArray, block: IntArray, target: float) -> float:
    """Find the standard deviation of true levels that makes :func:`scatter` the ``target``.

    Returns
    -------
    float
        0 where the errors alone scatter as much. With the degrees of freedom as target it is the
        estimate, with quantiles of chi-square a limit of its interval.

    Examples
    --------
    >>> means, alike = np.array([1.0, 2.0, 3.0]), np.zeros(3, dtype=np.int64)
    >>> round(spread_between(means, np.full(3, 0.36), alike, 2.0), 3)
    0.8
    """
    widest = float(np.ptp(means))
    # Means that differ by rounding alone are alike.
    if (
        widest <= ROUNDING * float(np.abs(means).max())
        or scatter(means, noise, block, 0.0) <= target
    ):
        return 0.0
    # Whatever the weights, the sum is at most n·widest²/between².
    most = widest * math.sqrt(len(means) / target)
    return float(
        optimize.brentq(
            lambda between: scatter(means, noise, block, between) - target,
            0.0,
            most,
            xtol=1e-6 * widest,
        )
    )
