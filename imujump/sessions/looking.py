"""How sure to be when the same question is asked after every session.

Whoever looks at a trend after each of 50 sessions, each time with 95 %, is misled in far more than
one season of twenty. So a season of looks shares one risk of 5 % (a union bound, which needs no
independence). Half of it is spent evenly over the looks of a year, half mostly on the early ones,
as 1/[j(j+1)], which adds up to 1 over all j (own choice: even shares alone would leave a first
summer of twelve sessions nothing to find, early shares alone nothing to a long season).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

SEASON_RISK = 0.05
"""Share of seasons without any change in which one may be told (the issue's figure)."""

LOOKS_A_YEAR = 104
"""Looks that share the even half, unless there are more: two sessions a week (own choice)."""

SEASON = timedelta(days=365)


def risk_of_look(look: int, looks_a_year: int = LOOKS_A_YEAR, questions: int = 1) -> float:
    """Give the risk that one look may take.

    Parameters
    ----------
    look : int
        Which look it is, from 1.
    looks_a_year : int
        Looks among which the even half is shared.
    questions : int
        How many metrics are followed at once; they share the risk (Bonferroni).

    Examples
    --------
    >>> round(risk_of_look(1), 4), round(risk_of_look(50), 5)
    (0.0127, 0.00025)
    >>> sum(risk_of_look(j) for j in range(1, 105)) < 0.05
    True
    """
    if look < 1 or looks_a_year < 1 or questions < 1:
        raise ValueError(
            f"look is {look}, looks_a_year {looks_a_year}, questions {questions}, "
            "must be at least 1"
        )
    return SEASON_RISK / 2.0 * (1.0 / looks_a_year + 1.0 / (look * (look + 1))) / questions


def looks_in_a_year(days: Sequence[datetime]) -> int:
    """Count the looks of the last year, never fewer than :data:`LOOKS_A_YEAR`."""
    if not days:
        return LOOKS_A_YEAR
    newest = max(days)
    return max(LOOKS_A_YEAR, sum(1 for day in days if day > newest - SEASON))
