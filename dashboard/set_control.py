"""When to think of ending a set: two attempts in a row below the athlete's own margin. Pure.

The margin is the larger of 5 % and the least detectable change, 1.96·√2·typical error
(Hopkins, 2000). 5 % is where practice begins to look (falls of 5–10 %; common practice, no
source). Without a typical error of the athlete's own, that of the measurement alone stands
in; it is smaller, and the page says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from imujump.sessions.reliability import least_detectable_change

SHARE = 0.05
IN_A_ROW = 2
BEST_OF = 3
"""The mean of so many best attempts is what later ones are compared with (own choice: one
lucky attempt must not decide, slow first ones neither)."""


@dataclass(frozen=True, slots=True)
class Height:
    """Jump height of one valid attempt and its standard deviation."""

    attempt: int
    value_m: float
    sigma_m: float | None


@dataclass(frozen=True, slots=True)
class Margin:
    """What attempts are compared with; below ``limit_m`` counts as a fall."""

    reference_m: float
    margin_m: float
    from_measurement_only: bool

    @property
    def limit_m(self) -> float:
        """The height below which an attempt counts."""
        return self.reference_m - self.margin_m


def margin(heights: Sequence[Height], typical_error_m: float | None) -> Margin | None:
    """Return what the newest attempts are compared with; None with fewer than three."""
    if len(heights) < BEST_OF:
        return None
    best = sorted((each.value_m for each in heights), reverse=True)[:BEST_OF]
    reference_m = sum(best) / len(best)
    error_m = typical_error_m
    if error_m is None:
        known = [each.sigma_m for each in heights if each.sigma_m is not None]
        error_m = math.sqrt(sum(s * s for s in known) / len(known)) if known else 0.0
    change_m = least_detectable_change(error_m)
    return Margin(reference_m, max(SHARE * reference_m, change_m), typical_error_m is None)


def falls(heights: Sequence[Height], found: Margin | None) -> int:
    """Count how many of the newest attempts, in a row, lie below the margin."""
    count = 0
    for height in reversed(heights):
        if found is None or height.value_m >= found.limit_m:
            break
        count += 1
    return count
