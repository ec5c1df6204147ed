"""Speed of the pelvis as it leaves the floor, told by a sensor on soft tissue."""

from __future__ import annotations

import numpy as np

from imujump.model import FloatArray
from imujump.pipeline.kinematics import at

TISSUE_MPS, RINGING_S = 0.03, 0.1
"""Speed of the pelvis sensor on its soft tissue when the load ends (own choice); how long after
toe-off its swing is looked at."""

BACK_S, APART_SHARE = 0.08, 0.7
"""Flung off by its soft tissue, the pelvis sensor leaves too fast and swings back: its vertical
speed at toe-off and the line through the first 80 ms of flight, carried back, are averaged, and
their difference counts in the uncertainty (own choice; in simulated runs and clips the truth
mostly lies between the two)."""


def leaving_speed(rising_mps: FloatArray, toe_off: float, step_s: float) -> tuple[float, float]:
    """Vertical speed at toe-off, and what soft tissue leaves unknown of it, m/s.

    Parameters
    ----------
    rising_mps : FloatArray
        (n,) vertical speed of the sensor.
    toe_off : float
        Sample number, fractions allowed.
    step_s : float
        Sample period.
    """
    speed_mps = float(at(rising_mps, toe_off))
    first = int(np.ceil(toe_off))
    part = rising_mps[first : first + round(BACK_S / step_s)]
    apart_mps = 0.0
    if len(part) >= 4:
        line = np.polyfit(first + np.arange(len(part)) - toe_off, part, 1)
        apart_mps = float(line[1]) - speed_mps
    swing_mps = ringing_mps(rising_mps, toe_off, step_s)
    unknown_mps = float(np.linalg.norm((TISSUE_MPS, APART_SHARE * apart_mps, swing_mps)))
    return speed_mps + 0.5 * apart_mps, unknown_mps


def ringing_mps(speed: FloatArray, toe_off: float, step_s: float) -> float:
    """How far a speed (n,) strays from a line after toe-off, where a body only falls."""
    first = int(np.ceil(toe_off))
    part = speed[first : first + round(RINGING_S / step_s)]
    if len(part) < 4:
        return 0.0
    index = np.arange(len(part))
    return float(np.std(part - np.polyval(np.polyfit(index, part, 1), index)))
