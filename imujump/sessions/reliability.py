"""How much an athlete varies without having changed, and what change can be told from that.

Typical error, coefficient of variation, least detectable change and smallest worthwhile change
as W. G. Hopkins uses them (Sports Med. 30:1-15, 2000; from memory): the typical error is the
standard deviation of one attempt about the athlete's own level. Repeats within sessions give it
as the residual of an analysis of variance by session; a test and a retest give it as s_diff/√2.

The typical error of repeats holds the part of the measurement's error that is drawn anew with
each attempt, so that part must not be added again. What all attempts of a session share
(mounting, scale, a bent-leg landing) is not seen in it: :func:`shared_sigma`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from imujump.sessions.interval import Interval, of_deviation

COVERING_SIGMAS = 1.96
"""Standard deviations to each side that hold 95 % of a normal distribution."""

SHARED_SHARE = 0.5
"""Share of a measurement's error variance that all attempts of a session are taken to have in
common, where repeats do not tell that it is more (own choice: the pipeline's sigmas are not
divided into the two parts; of the chief sources, strap and landing posture last for a session,
the timing of events is drawn anew)."""

WORTHWHILE_SHARE = 0.2
"""Smallest worthwhile change as a share of the spread between athletes (Hopkins; from memory)."""


@dataclass(frozen=True, slots=True)
class TypicalError:
    """Standard deviation of one attempt about the athlete's level.

    ``df`` are the degrees of freedom; ``n`` the values and ``groups`` the sessions (or pairs)
    that it rests on.
    """

    value: float
    interval: Interval
    df: int
    n: int
    groups: int


def typical_error(sessions: Iterable[Sequence[float]]) -> TypicalError | None:
    """Pool the spread within sessions.

    Parameters
    ----------
    sessions : iterable of sequence of float
        The attempts' values, session by session. A session with one attempt tells nothing
        about spread and is passed over; values that are not finite likewise.

    Returns
    -------
    TypicalError or None
        None when no session has two values.

    Notes
    -----
    Root of the residual mean square of a one-way analysis of variance by session. A drift
    within sessions (warming up, tiring) is part of it.

    Examples
    --------
    >>> found = typical_error([[0.40, 0.42], [0.45, 0.45, 0.48]])
    >>> round(found.value, 4), found.df
    (0.0163, 3)
    """
    held = [list(values) for values in sessions]
    flat = np.array([value for values in held for value in values], dtype=float)
    session = np.repeat(np.arange(len(held)), [len(values) for values in held])
    session, flat = session[np.isfinite(flat)], flat[np.isfinite(flat)]
    counts = np.bincount(session, minlength=len(held))
    # All sessions at once: a season of hundreds is looked at many times.
    repeated = counts[session] > 1
    session, flat = session[repeated], flat[repeated]
    n, groups = len(flat), int((counts > 1).sum())
    if not groups:
        return None
    means = np.bincount(session, flat, len(held)) / np.maximum(counts, 1)
    df = n - groups
    value = math.sqrt(float(np.sum((flat - means[session]) ** 2)) / df)
    return TypicalError(value, of_deviation(value, df), df, n, groups)


def retest_error(test: Sequence[float], retest: Sequence[float]) -> TypicalError | None:
    """Typical error of a test and its retest, s_diff/√2.

    Parameters
    ----------
    test, retest : sequence of float
        Equal length, the same athletes or occasions in the same order. Pairs with a value that
        is not finite are left out.

    Returns
    -------
    TypicalError or None
        None for fewer than two pairs. A shift of all athletes alike does not count as error.

    Raises
    ------
    ValueError
        If the lengths differ.

    Examples
    --------
    >>> found = retest_error([40, 45, 50, 38, 52], [41, 44, 52, 38.5, 51.5])
    >>> round(found.value, 3), found.df
    (0.844, 4)
    """
    if len(test) != len(retest):
        raise ValueError(f"retest has {len(retest)} values, must have {len(test)} as test has")
    difference = finite(np.asarray(retest, dtype=float) - np.asarray(test, dtype=float))
    if len(difference) < 2:
        return None
    df = len(difference) - 1
    value = float(difference.std(ddof=1)) / math.sqrt(2.0)
    return TypicalError(value, of_deviation(value, df), df, 2 * len(difference), len(difference))


def variation_percent(error: float, mean: float) -> float | None:
    """Coefficient of variation, 100·TE/mean; None for a mean of 0 or below.

    >>> round(variation_percent(0.844, 45.2), 2)
    1.87
    """
    return 100.0 * error / mean if mean > 0.0 else None


def least_detectable_change(
    error: float,
    n_first: int = 1,
    n_second: int = 1,
    between: float = 0.0,
    shared: float = 0.0,
) -> float:
    """Smallest difference of two means that error alone exceeds in 5 % of cases only.

    Parameters
    ----------
    error : float
        Typical error of one attempt.
    n_first, n_second : int
        Attempts in each mean.
    between : float
        Standard deviation of the athlete's level from session to session; 0 when both means
        come from one session.
    shared : float
        Part of the measurement's error that all attempts of a session share; 0 when both
        means share it, which cancels it.

    Returns
    -------
    float
        1.96·√[TE²·(1/n₁ + 1/n₂) + 2·between² + 2·shared²]; for two single attempts of one
        session 1.96·√2·TE.

    Raises
    ------
    ValueError
        If a number of attempts is below 1, or an error is negative or not finite.

    Examples
    --------
    >>> round(least_detectable_change(0.844), 2)
    2.34
    >>> round(least_detectable_change(0.844, 5, 5), 2)
    1.05
    """
    if min(n_first, n_second) < 1:
        raise ValueError(f"n_first is {n_first} and n_second {n_second}, must be at least 1")
    for name, value in (("error", error), ("between", between), ("shared", shared)):
        if not (math.isfinite(value) and value >= 0.0):
            raise ValueError(f"{name} is {value}, must be a finite number of at least 0")
    variance = error**2 * (1.0 / n_first + 1.0 / n_second) + 2.0 * (between**2 + shared**2)
    return COVERING_SIGMAS * math.sqrt(variance)


def shared_sigma(sigma: float, error: float | None) -> float:
    """Part of the measurement's sigma that a session's attempts have in common.

    Parameters
    ----------
    sigma : float
        The measurement's standard deviation of one attempt.
    error : float or None
        The athlete's typical error within sessions, None when unknown.

    Returns
    -------
    float
        At least √(share·sigma²). Repeats cannot scatter less than the part that is drawn
        anew, so sigma² - TE² is shared as well where that is more.

    Examples
    --------
    >>> round(shared_sigma(0.010, 0.020), 4), round(shared_sigma(0.010, 0.002), 4)
    (0.0071, 0.0098)
    """
    variance = SHARED_SHARE * sigma**2
    if error is not None:
        variance = max(variance, sigma**2 - error**2)
    return math.sqrt(variance)


def mean_sigma(sigma: float, n: int, error: float | None) -> float:
    """Measurement's standard deviation of a mean of ``n`` attempts of one session.

    The shared part stays as it is, the rest falls with √n.

    >>> round(mean_sigma(0.010, 1, None), 4), round(mean_sigma(0.010, 8, None), 4)
    (0.01, 0.0075)
    """
    common = shared_sigma(sigma, error) ** 2
    return math.sqrt(common + max(0.0, sigma**2 - common) / n)


def smallest_worthwhile_change(levels: Sequence[float]) -> float | None:
    """0.2 × the spread between athletes; None for fewer than two athletes.

    >>> round(smallest_worthwhile_change([40, 45, 50, 38, 52]), 2)
    1.22
    """
    kept = finite(levels)
    return WORTHWHILE_SHARE * float(kept.std(ddof=1)) if len(kept) > 1 else None


def finite(values: Sequence[float] | np.ndarray) -> np.ndarray:
    """Give the values that are finite numbers, as an array."""
    array = np.asarray(values, dtype=float)
    kept: np.ndarray = array[np.isfinite(array)]
    return kept
