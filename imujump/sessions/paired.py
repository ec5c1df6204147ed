"""Differences between two kinds of attempts of the same sessions.

Form of the day, surface and mounting are the same for both, so they drop out. Over four pairs or
more the interval holds for sessions in general: differences may vary from session to session
(J. Hartung and G. Knapp, Stat. Med. 20:3875-3889, 2001; from memory). Over fewer it holds for these
sessions only, from the spread of attempts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imujump.model import FloatArray
from imujump.sessions.interval import LEVEL, Interval, around, t_factor, t_quantile
from imujump.sessions.reliability import finite
from imujump.sessions.spread import scatter, spread_between

Pair = tuple[Sequence[float], Sequence[float]]
"""Values of the first and of the second kind, of one session."""

LEAST_PAIRS = 4
"""From so many pairs on their own scatter is used (own choice: with fewer it is hardly known)."""

POWER = 0.8
"""Chance to find a difference that is there, asked of a plan (common practice, no source)."""

MOST_MORE = 200
"""More attempts than this are not proposed (own choice: some ten sessions)."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Second kind minus first kind.

    Attributes
    ----------
    value, interval :
        Mean difference; None when nothing tells the error.
    pairs, first, second : int
        Pairs of sessions and attempts of each kind.
    general : bool
        Whether the interval holds beyond the sessions at hand.
    more_attempts : int or None
        About how many more attempts would tell this difference; None when it is told, or when
        they would be more than :data:`MOST_MORE`.
    """

    value: float | None
    interval: Interval | None
    pairs: int
    first: int
    second: int
    general: bool = False
    more_attempts: int | None = None

    @property
    def told(self) -> bool:
        """Whether the interval leaves out 0."""
        return self.interval is not None and not self.interval.holds(0.0)


def paired_difference(pairs: Sequence[Pair], level: float = LEVEL) -> Difference:
    """Compare two kinds of attempts within their pairs.

    Pairs in which a kind has no finite value are left out.

    >>> found = paired_difference([([0.40, 0.42, 0.41], [0.44, 0.46, 0.45])])
    >>> round(found.value, 3), found.told, found.general
    (0.04, True, False)
    """
    kept = [(finite(a), finite(b)) for a, b in pairs]
    kept = [(a, b) for a, b in kept if len(a) and len(b)]
    first, second = (sum(len(pair[k]) for pair in kept) for k in (0, 1))
    if not kept:
        return Difference(None, None, 0, 0, 0)
    differences = np.array([b.mean() - a.mean() for a, b in kept])
    parts = np.array([1.0 / len(a) + 1.0 / len(b) for a, b in kept])
    df = first + second - 2 * len(kept)
    squares = sum(float(np.sum((each - each.mean()) ** 2)) for pair in kept for each in pair)
    variance = squares / df if df else 0.0
    general = len(kept) >= LEAST_PAIRS
    if general or not df:
        value, error, df = _of_sessions(differences, variance * parts)
    else:
        weight = 1.0 / parts
        value = float(np.average(differences, weights=weight))
        error = math.sqrt(variance / float(weight.sum()))
    if df < 1 or error == 0.0:
        return Difference(value, None, len(kept), first, second, general)
    interval = around(value, error, df, level)
    more = None if not interval.holds(0.0) else _more(value, error, df, first + second, level)
    return Difference(value, interval, len(kept), first, second, general, more)


def _of_sessions(differences: FloatArray, noise: FloatArray) -> tuple[float, float, int]:
    """Mean, standard error and degrees of freedom where differences vary between sessions."""
    df = len(differences) - 1
    if df < 1:
        return float(differences[0]), 0.0, 0
    one = np.zeros(len(differences), dtype=np.int64)
    between = spread_between(differences, noise, one, float(df))
    weight = 1.0 / np.maximum(between**2 + noise, np.finfo(float).tiny)
    value = float(np.average(differences, weights=weight))
    # Never below what the attempts' spread alone makes of it.
    scale = max(1.0, scatter(differences, noise, one, between) / df)
    return value, math.sqrt(scale / float(weight.sum())), df


def _more(value: float, error: float, df: int, n: int, level: float) -> int | None:
    """Error falls with the root of the number of attempts, if sessions go on alike."""
    if value == 0.0:
        return None
    needed = ((t_factor(df, level) + t_quantile(POWER, df)) * error / abs(value)) ** 2 * n - n
    return max(1, math.ceil(needed)) if needed <= MOST_MORE else None
