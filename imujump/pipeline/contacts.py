"""Foot contacts from the drift-free ankle path and the load that the feet carry.

A foot on the floor holds its ankle nearly still near standing height; a foot in the air does
not. The coarse contact is where the ankle is slow. Its edges are then refined: the strike by
how abruptly the ankle stops, the toe-off by the instant at which the body's summed vertical
force vanishes (both feet off the floor) and by the ankle's way around the ball of the foot.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imujump.model import FloatArray, IntArray, Side
from imujump.pipeline.body import SHANK_LEVER_M, Body
from imujump.pipeline.strapdown import rotate
from imujump.pipeline.support import Spell, slow_ratio, stance_spells, vertical_load

CORE_RATIO = 0.6
"""In a contact the ankle falls below this part of the slow speed (own choice)."""

LONGEST_STEP_CONTACT_S = 1.2
"""Longer contacts are stands, in which the foot need not pivot (own choice)."""

ROLLING = 1.6
"""The ankle of a foot that rolls all through its contact arrives when it is this much faster than
it stays (own choice)."""

FALL_SHARE, LONGEST_FALL_S = 0.15, 0.03
"""Standard deviation of a strike read from a gradual stop, as part of the stop's length."""

UNLOADED_MPS2 = 2.0
"""Summed vertical force per body mass below which no foot carries the body: a fifth of body
weight, above the swing of the limbs in flight (own choice)."""

LEVER_SPREAD_M, LEVER_SPEED_MPS, LEVER_LIMITS_M = 0.03, 0.25, (0.05, 0.25)
"""How far the sensor may sit from its asked height, speed of the pivot itself during a contact,
and the lengths allowed (own choice)."""

BALL_PATH_M = 0.13
"""Way of the ankle around the ball of the foot until the toes leave: about the ankle-to-ball
distance of an adult foot turned by 45-50 degrees (own estimate)."""

ABRUPT_FALL_S, ABRUPT_WIDTH_S = 9.5e-3, 1.3e-3
EARLY_STRIKE_S, LATE_STRIKE_S = 8e-3, -8.5e-3
"""Strike against the instant at which the ankle passes the slow speed. A foot that drops to half
that speed within 8 ms was stopped by the floor, and touched 8 ms before; one that takes over
12 ms was already slowed by the leg, and touches 8.5 ms later. Set on the
same simulated strikes as the constants below, not yet shown on a held-out part."""

ARREST_MPS, ARREST_S, ARREST_WIDTH_S = 0.4, 15e-3, 2e-3
ARREST_LEAD_S = 5.5e-3
"""A foot that comes down faster than 0.4 m/s and whose fall is arrested within 15 ms was stopped by
the floor: it touched 5.5 ms before a quarter of its falling speed was gone. Set on
simulated strikes of two kinds (analytic figure, rigid-body runner), not yet shown on a held-out
part."""

HALF_LOADED_MPS2, UNLOADING_S = 6.0, 15e-3
"""The load falls from 6 to 2 m/s² in 2 to 15 ms; where swinging limbs keep the sum from falling
further, the longer bounds the toe-off (own choice, seen in simulated runs)."""

CARRIED_MPS2 = 9.0
LOADING_BEFORE_S, LOADING_AFTER_S = 0.08, 0.04
LOADING_LAG_S, LOADING_SIGMA_S = 3e-3, 8e-3
LANDING_FLIGHT_S = 0.15
"""After a flight longer than a running step's the load rises through 6 m/s² some 3 ms after
touchdown, on the heel as on the ball of the foot, when it goes on to carry body weight (own
choice, seen in simulated runs and motion capture; the foot's own stop tells more where it is
sharp)."""

DOUBLE_SUPPORT_S = 0.05
"""A foot that leaves while the other stays this much longer does not end the load (own choice)."""

LAST_FALL_S, TISSUE_DELAY_S = 8e-3, 1.5e-3
"""The line from 6 to 2 m/s² is followed to zero, at most this far; soft tissue under the sensors
passes the load's end on this much late (own choice: a quarter period at 25 Hz is 10 ms, a step
through a well-damped one 1-2 ms)."""


@dataclass(frozen=True, slots=True)
class Contact:
    """One foot's stay on the floor, in sample numbers (fractions allowed).

    ``strike`` is None when the foot was on the floor at the window's start, ``toe_off`` None
    when it still is at the end.
    """

    side: Side
    strike: float | None
    strike_sigma_s: float
    toe_off: float | None
    toe_off_sigma_s: float


def crossing(values: FloatArray, start: int, level: float, step: int) -> float:
    """First place, walking from ``start`` by ``step`` (1 or -1), where values reach ``level``.

    Linear between samples; the array's end when they never do.

    Examples
    --------
    >>> crossing(np.array((0.0, 1.0, 3.0)), 0, 2.0, 1)
    1.5
    """
    ahead = values[start:] if step > 0 else values[start::-1]
    above = np.flatnonzero(ahead[1:] >= level)
    if not len(above):
        return float(len(values) - 1 if step > 0 else 0)
    k = int(above[0])
    here, there = float(ahead[k]), float(ahead[k + 1])
    share = (level - here) / (there - here) if there > here else 0.0
    return start + step * (k + min(max(share, 0.0), 1.0))


def _steps(body: Body, spells: Mapping[Side, list[Spell]]) -> dict[Side, list[Spell]]:
    """Coarse contacts that are steps, not stands, with the ankle at rest in them."""
    longest = LONGEST_STEP_CONTACT_S / body.step_s
    found = {}
    for side, own in spells.items():
        ratio = slow_ratio(body, side)
        found[side] = [s for s in own if s.last - s.first < longest and ratio[s.rest] < CORE_RATIO]
    return found


def still_samples(body: Body, spells: Mapping[Side, list[Spell]]) -> Mapping[Side, IntArray]:
    """Find the samples at which each foot rests on the floor in a brief contact."""
    return {
        side: np.array([s.rest for s in own], dtype=np.int64)
        for side, own in _steps(body, spells).items()
    }


def pivot_levers(body: Body, spells: Mapping[Side, list[Spell]]) -> Mapping[Side, float]:
    """Distance from each shank sensor down to the point it turns about while on the floor.

    Least squares over the slow samples of all brief contacts: there the sensor moves as the
    shank turns about that point. The worn height is the prior. A sensor strapped higher or
    lower than asked, and a foot that rolls, show here.
    """
    found = {}
    for side, own in _steps(body, spells).items():
        path, up = body.paths[side.shank], body.up[side.shank]
        ratio = slow_ratio(body, side)
        turning, against = 1.0 / LEVER_SPREAD_M**2, SHANK_LEVER_M / LEVER_SPREAD_M**2
        for spell in own:
            if spell.first == 0:
                continue
            part = np.arange(spell.first, spell.last + 1)
            part = part[ratio[part] < CORE_RATIO]
            swing = rotate(path.rot[part], np.cross(path.gyro_radps[part], -up))
            # One contact counts as one look: its samples share one error.
            weight = 1.0 / (len(part) * LEVER_SPEED_MPS**2)
            turning += weight * float(np.sum(swing**2))
            against -= weight * float(np.sum(swing * path.velocity_mps[part]))
        found[side] = float(np.clip(against / turning, *LEVER_LIMITS_M))
    return found


def find_contacts(body: Body) -> tuple[Contact, ...]:
    """All contacts of both feet, in order of their beginning.

    Parameters
    ----------
    body : Body
        Motion whose foot drift has been removed with a first set of contacts.

    Returns
    -------
    tuple of Contact
        Empty without a shank sensor.
    """
    load = vertical_load(body)
    spells = stance_spells(body, near_floor=True)
    contacts = []
    for side, own in spells.items():
        ratio = slow_ratio(body, side)
        others = [s for other, each in spells.items() if other is not side for s in each]
        for spell in own:
            strike, strike_sigma_s = _strike(body, side, ratio, spell)
            if strike is not None and load is not None:
                loading = _loading(load, spell, others, body.step_s)
                if loading is not None:
                    strike, strike_sigma_s = _weighed((strike, strike_sigma_s), loading)
            on_after = spell.last + DOUBLE_SUPPORT_S / body.step_s
            relieved = any(o.first <= spell.last and o.last > on_after for o in others)
            toe_off, toe_off_sigma_s = _toe_off(
                body, side, ratio, spell, None if relieved else load, strike
            )
            contacts.append(Contact(side, strike, strike_sigma_s, toe_off, toe_off_sigma_s))
    return tuple(sorted(contacts, key=lambda c: -1.0 if c.strike is None else c.strike))


def _weighed(a: tuple[float, float], b: tuple[float, float]) -> tuple[float, float]:
    """Mean of two values by their standard deviations."""
    share = b[1] ** 2 / (a[1] ** 2 + b[1] ** 2)
    return share * a[0] + (1.0 - share) * b[0], float(np.sqrt(share) * a[1])


def _strike(body: Body, side: Side, ratio: FloatArray, spell: Spell) -> tuple[float | None, float]:
    """Place of the foot strike by the ankle alone, and its standard deviation, s."""
    if spell.first * body.step_s < 0.02:
        return None, 0.0
    h = body.step_s
    part = ratio[spell.first : spell.last + 1]
    level = max(1.0, ROLLING * float(np.median(part)))
    calm = part < CORE_RATIO * level
    arrived = spell.first + int(np.argmax(calm)) if calm.any() else spell.rest
    slow = crossing(ratio, arrived, level, -1)
    half = crossing(ratio, arrived, 0.5 * level, -1)
    if ratio[arrived] > 0.5 * level:
        half = crossing(-ratio, arrived, -0.5 * level, 1)
    fall_s = max(half - slow, 0.0) * h
    abrupt = 1.0 / (1.0 + np.exp(np.clip((fall_s - ABRUPT_FALL_S) / ABRUPT_WIDTH_S, -30, 30)))
    shift_s = LATE_STRIKE_S + (EARLY_STRIKE_S - LATE_STRIKE_S) * abrupt
    strike = slow - shift_s / h
    sigma_s = float(np.hypot(0.004, min(FALL_SHARE * fall_s, LONGEST_FALL_S)))
    stopped = _floor_stop(body.joint_velocity(side.shank)[:, 2], ratio, spell, h)
    if stopped is not None:
        place, sharpness = stopped
        apart_s = abs(place - strike) * h
        strike = sharpness * place + (1.0 - sharpness) * strike
        sigma_s = sharpness * 0.004 + (1.0 - sharpness) * float(np.hypot(sigma_s, 0.3 * apart_s))
    sigma_s = float(np.hypot(sigma_s, h / np.sqrt(6.0)))
    return float(np.clip(strike, 0.0, len(ratio) - 1.0)), sigma_s


def _loading(
    load: FloatArray, spell: Spell, others: list[Spell], step_s: float
) -> tuple[float, float] | None:
    """Touchdown by the beginning of the floor's force, after a flight of both feet."""
    if any(o.first < spell.first <= o.last for o in others):
        return None
    first = max(spell.first - round(LOADING_BEFORE_S / step_s), 0)
    last = min(spell.first + round(LOADING_AFTER_S / step_s), len(load) - 1)
    lowest = first + int(np.argmin(load[first : last + 1]))
    carried = np.flatnonzero(load[lowest:] >= CARRIED_MPS2)
    if load[lowest] > UNLOADED_MPS2 or not len(carried):
        return None
    before = load[max(lowest - round(LANDING_FLIGHT_S / step_s), 0) : lowest + 1]
    if before.mean() > UNLOADED_MPS2:
        return None
    carrying = lowest + int(carried[0])
    begin = crossing(-load, carrying, -UNLOADED_MPS2, -1)
    place = crossing(-load, carrying, -HALF_LOADED_MPS2, -1)
    rise_s = (place - begin) * step_s
    sigma_s = float(np.hypot(np.hypot(LOADING_SIGMA_S, 0.5 * rise_s), step_s / np.sqrt(6.0)))
    return place - LOADING_LAG_S / step_s, sigma_s


def _floor_stop(
    rise_mps: FloatArray, ratio: FloatArray, spell: Spell, step_s: float
) -> tuple[float, float] | None:
    """Touchdown by the arrest of the ankle's fall, and how sharp it was (0 to 1)."""
    calm = max(0.35, 1.3 * float(ratio[spell.rest]))
    settled = spell.first + int(np.argmax(ratio[spell.first : spell.last + 1] < calm))
    first = max(0, settled - round(0.09 / step_s))
    fastest = first + int(np.argmin(rise_mps[first : settled + 1]))
    fall_mps = float(rise_mps[fastest])
    if fall_mps > -ARREST_MPS:
        return None
    begin = crossing(rise_mps, fastest, 0.75 * fall_mps, 1)
    end = crossing(rise_mps, fastest, 0.25 * fall_mps, 1)
    late_s = np.clip(((end - begin) * step_s - ARREST_S) / ARREST_WIDTH_S, -30.0, 30.0)
    return begin - ARREST_LEAD_S / step_s, float(1.0 / (1.0 + np.exp(late_s)))


def _toe_off(
    body: Body,
    side: Side,
    ratio: FloatArray,
    spell: Spell,
    load: FloatArray | None,
    strike: float | None,
) -> tuple[float | None, float]:
    """Place of the toe-off and its standard deviation, s."""
    h, n = body.step_s, len(ratio)
    if (n - 1 - spell.last) * h < 0.02:
        return None, 0.0
    slow = np.flatnonzero(ratio[spell.rest : spell.last + 1] < 0.35)
    leaving = spell.rest + (int(slow[-1]) if len(slow) else 0)
    ankle = body.joint_position(side.shank)
    around = crossing(np.linalg.norm(ankle - ankle[leaving], axis=1), leaving, BALL_PATH_M, 1)
    spread_s = float(np.hypot(0.012, h / np.sqrt(6.0)))
    toe_off = around
    if load is not None:
        unloaded = _unloading(load, leaving, int(min(around + 0.08 / h, n - 1)), strike, h)
        if unloaded is not None:
            apart_s = abs(around - unloaded) * h
            toe_off = unloaded
            spread_s = float(np.hypot(0.006, min(apart_s, 0.025) / 5.0))
            spread_s = float(np.hypot(spread_s, h / np.sqrt(6.0)))
    return float(np.clip(toe_off, 0.0, n - 1.0)), spread_s


def _unloading(
    load: FloatArray, leaving: int, end: int, strike: float | None, step_s: float
) -> float | None:
    """Place at which the floor stops carrying the body while this foot leaves, if it does."""
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
        return low
    latest = half + UNLOADING_S / step_s
    if low is None or low > latest:
        return latest
    share = UNLOADED_MPS2 / (HALF_LOADED_MPS2 - UNLOADED_MPS2)
    onward = min(max(share * (low - half), 0.0), LAST_FALL_S / step_s)
    return low + onward - TISSUE_DELAY_S / step_s
