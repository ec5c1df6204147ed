"""When exactly a foot leaves the floor."""

from __future__ import annotations

import numpy as np

from imujump.model import FloatArray, Side
from imujump.pipeline.body import Body
from imujump.pipeline.level_crossing import crossing
from imujump.pipeline.support import UNLOADED_MPS2, Spell
from imujump.pipeline.vectors import lengths

BALL_PATH_M = 0.13
"""Way of the ankle around the ball of the foot until the toes leave: about the ankle-to-ball
distance of an adult foot turned by 45-50 degrees (own estimate)."""

PATH_SPREAD_M, LONGEST_SPREAD_S = 0.03, 0.06
"""That way differs between feet and steps: 12 ms at 2.5 m/s, as in running, longer where a foot
leaves slowly, as in the first step out of a stand (own choice)."""

HALF_LOADED_MPS2, UNLOADING_S = 6.0, 15e-3
"""The load falls from 6 to 2 m/s² in 2 to 15 ms; where swinging limbs keep the sum from falling
further, the longer bounds the toe-off (own choice, seen in simulated runs)."""

DOUBLE_SUPPORT_S = 0.05
"""A foot that leaves while the other stays this much longer does not end the load (own choice)."""

UNLOADED_SIGMA_S = 6e-3
"""Standard deviation of the load's end where it ends at once (own choice)."""

LAST_FALL_S = 9e-3
"""From 2 m/s² on, the load takes as long to end as it took from 6 to 2 m/s², at most 9 ms: the push
of people dies away ever more slowly (two jumps on a force plate, M. Duarte, CC BY 4.0: 8 and 11 ms
from 6 to 2 m/s², then 8 and 7 ms to the end)."""

TISSUE_DELAY_S = 3e-3
"""Soft tissue under the sensors passes the load's end on this much late where it ends at once (own
choice: a quarter period at 25 Hz is 10 ms, a step through a well-damped one 2-4 ms)."""


def toe_off(
    body: Body,
    side: Side,
    ratio: FloatArray,
    load: FloatArray | None,
    spell: Spell,
    others: list[Spell],
    strike: float | None,
) -> tuple[float | None, float]:
    """Place of a contact's toe-off and its standard deviation, s; None when it stays.

    Parameters are those of :func:`imujump.pipeline.touchdown.touchdown`, and the contact's
    ``strike``.
    """
    h, n = body.step_s, len(ratio)
    if (n - 1 - spell.last) * h < 0.02:
        return None, 0.0
    slow = np.flatnonzero(ratio[spell.rest : spell.last + 1] < 0.35)
    leaving = spell.rest + (int(slow[-1]) if len(slow) else 0)
    ankle = body.joint_position(side.shank)
    away = lengths(ankle[leaving:] - ankle[leaving])
    around = leaving + crossing(away, 0, BALL_PATH_M, 1)
    place = around
    speed = np.linalg.norm(body.joint_velocity(side.shank)[min(round(around), n - 1)])
    path_s = min(PATH_SPREAD_M / max(float(speed), 1e-6), LONGEST_SPREAD_S)
    spread_s = float(np.hypot(path_s, h / np.sqrt(6.0)))
    on_after = spell.last + DOUBLE_SUPPORT_S / h
    relieved = any(o.first <= spell.last and o.last > on_after for o in others)
    if load is not None and not relieved:
        unloading = _unloading(load, leaving, int(min(around + 0.08 / h, n - 1)), strike, h)
        if unloading is not None:
            place, fade_s = unloading
            apart_s = abs(around - place) * h
            parts_s = (UNLOADED_SIGMA_S, min(apart_s, 0.025) / 5.0, fade_s, h / np.sqrt(6.0))
            spread_s = float(np.linalg.norm(parts_s))
    return float(np.clip(place, 0.0, n - 1.0)), spread_s


def _unloading(
    load: FloatArray, leaving: int, end: int, strike: float | None, step_s: float
) -> tuple[float, float] | None:
    """Where the floor stops carrying the body while this foot leaves, if it does, and the fade.

    The fade is the time, s, that the load takes from 6 to 2 m/s²: a push that dies away slowly
    can as well go on for as long again.
    """
    earliest = leaving - 0.06 / step_s
    if strike is not None:
        earliest = max(earliest, strike)
    places: list[float | None] = []
    for level in (UNLOADED_MPS2, HALF_LOADED_MPS2):
        place = None
        if load[leaving] < level:
            place = crossing(load, leaving, level, -1)
        elif end > leaving and (load[leaving : end + 1] < level).any():
            place = crossing(-load, leaving, -level, 1)
        places.append(place if place is not None and place > earliest else None)
    low, half = places
    if half is None:
        return None if low is None else (low, LAST_FALL_S)
    latest = half + UNLOADING_S / step_s
    if low is None or low > latest:
        return latest, UNLOADING_S
    fade = max(low - half, 0.0)
    onward = min(fade, LAST_FALL_S / step_s)
    return low + onward - TISSUE_DELAY_S / step_s, fade * step_s
