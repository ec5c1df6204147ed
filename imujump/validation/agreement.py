"""How well values agree with their truth.

Bias and 95 % limits of agreement after J. M. Bland and D. G. Altman, Lancet 327:307-310, 1986;
a bias that grows with the size of the value after the same, Stat. Methods Med. Res. 8:135-160,
1999 (both from memory): differences are regressed on the mean of the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import linregress

from imujump.validation.pairing import Pair

COVERING_SIGMAS = 1.96
LEAST_FOR_SPREAD, LEAST_FOR_SLOPE = 3, 8
"""Fewer pairs say nothing about a spread, or about a slope (own choice)."""

LEAST_FOR_HALVES = 8
"""Fewer values are not parted into halves by their sigma (own choice)."""

SLOPE_P = 0.05
"""A slope counts as seen below this p-value (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Agreement:
    """One metric against its truth, in SI units.

    Attributes
    ----------
    n : int
        Number of values.
    bias, rmse : float
        Mean and root mean square of value minus truth.
    sd : float or None
        Standard deviation of the differences; None for fewer than three.
    limits : (float, float) or None
        Bias ± 1.96 SD.
    slope : float or None
        Change of the difference per unit of the mean of value and truth, None for fewer than
        eight values or values all alike.
    slope_seen : bool
        Whether the slope differs from zero at p < 0.05.
    coverage : float
        Share of truths within the value ± 1.96 of its own sigma, the truth's uncertainty
        allowed for.
    sigma : float
        Root mean square of the sigmas.
    """

    n: int
    bias: float
    rmse: float
    sd: float | None
    limits: tuple[float, float] | None
    slope: float | None
    slope_seen: bool
    coverage: float
    sigma: float


def agreement(pairs: Sequence[Pair]) -> Agreement:
    """Agreement of one metric.

    >>> pairs = [Pair("a", 1.1, 0.1, 1.0, 0.0), Pair("b", 2.1, 0.1, 2.0, 0.0)]
    >>> found = agreement(pairs)
    >>> round(found.bias, 3), found.n, found.coverage
    (0.1, 2, 1.0)
    """
    if not pairs:
        raise ValueError("no pairs: a metric without values has no agreement")
    value = np.array([p.value for p in pairs])
    truth = np.array([p.truth for p in pairs])
    sigma = np.array([p.sigma for p in pairs])
    # A time lies between two instants, each with the truth's uncertainty taken as a limit
    # of which half is one standard deviation.
    timing = np.array([p.timing_sigma_s for p in pairs]) * np.sqrt(2.0) / 2.0
    difference = value - truth
    bias = float(difference.mean())
    sd = float(difference.std(ddof=1)) if len(pairs) >= LEAST_FOR_SPREAD else None
    limits = None if sd is None else (bias - COVERING_SIGMAS * sd, bias + COVERING_SIGMAS * sd)
    slope, seen = _slope((value + truth) / 2.0, difference)
    within = np.abs(difference) <= COVERING_SIGMAS * np.hypot(sigma, timing)
    return Agreement(
        len(pairs),
        bias,
        float(np.sqrt(np.mean(difference**2))),
        sd,
        limits,
        slope,
        seen,
        float(within.mean()),
        float(np.sqrt(np.mean(sigma**2))),
    )


def _slope(mean: np.ndarray, difference: np.ndarray) -> tuple[float | None, bool]:
    if len(mean) < LEAST_FOR_SLOPE or np.ptp(mean) < 1e-9 * max(1.0, float(np.abs(mean).max())):
        return None, False
    line = linregress(mean, difference)
    return float(line.slope), bool(line.pvalue < SLOPE_P)


def pooled_coverage(pairs_by_metric: dict[str, list[Pair]]) -> tuple[float, int] | None:
    """Share of all truths within ± 1.96 sigma, and of how many; None without any value."""
    found = [agreement(pairs) for pairs in pairs_by_metric.values() if pairs]
    n = sum(a.n for a in found)
    return (sum(a.coverage * a.n for a in found) / n, n) if n else None


def sorting(pairs_by_metric: dict[str, list[Pair]]) -> float | None:
    """How much larger errors are where the program said that they are.

    Each metric's values are parted into halves by their sigma; errors are divided by the
    metric's root mean square error, so that every metric counts alike.

    Returns
    -------
    float or None
        Root mean square error of the halves with the larger sigma over that of the others;
        None when no metric has eight values with errors.
    """
    surer, less_sure = [], []
    for pairs in pairs_by_metric.values():
        error = np.array([p.value - p.truth for p in pairs])
        usual = float(np.sqrt(np.mean(error**2))) if len(error) else 0.0
        if len(error) < LEAST_FOR_HALVES or usual == 0.0:
            continue
        order = np.argsort([p.sigma for p in pairs], kind="stable")
        half = len(error) // 2
        surer.append(error[order[:half]] / usual)
        less_sure.append(error[order[-half:]] / usual)
    if not surer:
        return None
    sizes = [float(np.sqrt(np.mean(np.concatenate(each) ** 2))) for each in (less_sure, surer)]
    return sizes[0] / sizes[1] if sizes[1] > 0.0 else None
