"""Sensors that claim one time and are read at another: what the legs' lateness says of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from imujump.model import Placement, Side

DOUBTFUL_S, TOLD_S = 0.010, 0.014
"""Lateness from which it widens what is measured between sensors, and from which it is told (own
choice: recorded jumps on one clock show up to 11 ms, one of 34 shows 16)."""


@dataclass(frozen=True, slots=True)
class ClocksApart:
    """What to add to each sensor's clock uncertainty, s, and what to tell."""

    sigma_s: Mapping[Placement, float]
    warnings: tuple[str, ...]


def clocks_apart(late_s: Mapping[Side, float]) -> ClocksApart:
    """Judge how late the shanks are against the pelvis.

    Parameters
    ----------
    late_s : mapping of Side to float
        Seconds; empty when no leg tells.

    Examples
    --------
    >>> found = clocks_apart({Side.LEFT: 0.018, Side.RIGHT: -0.001})
    >>> found.sigma_s[Placement.LEFT_SHANK], found.sigma_s[Placement.PELVIS]
    (0.018, 0.0)
    >>> round(clocks_apart({Side.LEFT: 0.019, Side.RIGHT: 0.017}).sigma_s[Placement.PELVIS], 6)
    0.018
    """
    sigma_s = dict.fromkeys(Placement, 0.0)
    own = {side.shank: late for side, late in late_s.items()}
    if len(own) == 2 and min(own.values()) * max(own.values()) > 0.0:
        # Both legs late alike: it is the pelvis that is early.
        common = sum(own.values()) / 2.0
        sizes = sorted(abs(late) for late in own.values())
        if abs(common) > DOUBTFUL_S and sizes[0] > 0.5 * sizes[1]:
            own = {placement: late - common for placement, late in own.items()}
            own[Placement.PELVIS] = -common
    warnings = []
    for placement, late in own.items():
        if abs(late) <= DOUBTFUL_S:
            continue
        sigma_s[placement] = abs(late)
        if abs(late) > TOLD_S:
            when = "late" if late > 0.0 else "early"
            warnings.append(
                f"the {placement.words} sensor seems to be read {1e3 * abs(late):.0f} ms {when} "
                "against the others; results allow for it, but set the sensors' clocks together"
            )
    return ClocksApart(sigma_s, tuple(warnings))
