"""Straps that ring: how strongly a shank sensor shakes while its foot stands on the floor.

A well strapped sensor is nearly quiet in mid-stance, when the shank only leans over the foot; one
on a loose strap still rings from the touchdown, and its strikes are read less surely.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from statistics import median

import numpy as np
from scipy.signal import butter, sosfiltfilt

from imujump.model import FloatArray
from imujump.pipeline.strapdown import Strapdown

RINGING_HZ = 6.0
"""What shakes faster than this in mid-stance is the strap, not the leg (own choice)."""

AFTER_STRIKE_S, LONGEST_S, SHORTEST_S = 0.03, 0.2, 0.06
"""Part of a contact that is looked at: from 30 ms after touchdown, when the impact itself is over,
for 0.2 s at the most and 60 ms at the least (own choice)."""

QUIET_MPS2, STRIKE_S_PER_MPS2, MOST_S = 14.0, 1e-3, 0.015
"""Root mean square of a tight strap in running, how much each m/s² more costs a strike, and the
most that it costs (own choice: recorded and simulated runs show 7 to 14, straps that ring at 15 Hz
9 to 60, with strikes 16 to 18 ms off instead of 9)."""


def ringing_mps2(path: Strapdown, stances: Iterable[tuple[float, float]]) -> float:
    """Usual root mean square of a shank's shaking over its stances, m/s².

    Parameters
    ----------
    path : Strapdown
        The shank sensor's motion.
    stances : iterable of (float, float)
        Strike and toe-off in sample numbers.

    Returns
    -------
    float
        0 when no stance is long enough, or the rate too low to tell.
    """
    h = path.step_s
    if 0.45 / h < 4.0 * RINGING_HZ or len(path.force_mps2) < 30:
        return 0.0
    shaking = np.sum(sosfiltfilt(_high_pass(h), path.force_mps2, axis=0) ** 2, axis=1)
    sizes = []
    for strike, left in stances:
        first = int(strike + AFTER_STRIKE_S / h)
        last = int(min(left - AFTER_STRIKE_S / h, strike + LONGEST_S / h))
        if last - first >= SHORTEST_S / h:
            sizes.append(float(np.sqrt(shaking[first:last].mean())))
    return median(sizes) if sizes else 0.0


@cache
def _high_pass(step_s: float) -> FloatArray:
    """Second-order sections at a sample period."""
    return np.asarray(butter(2, RINGING_HZ, "highpass", fs=1.0 / step_s, output="sos"))


def ringing_sigma_s(size_mps2: float) -> float:
    """Standard deviation that ringing adds to a strike, s.

    Examples
    --------
    >>> ringing_sigma_s(10.0), ringing_sigma_s(24.0), ringing_sigma_s(99.0)
    (0.0, 0.01, 0.015)
    """
    return min(STRIKE_S_PER_MPS2 * max(size_mps2 - QUIET_MPS2, 0.0), MOST_S)
