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
from scipy.ndimage import uniform_filter1d

from imujump.model import FloatArray, IntArray, Placement, Side
from imujump.pipeline.body import SHANK_LEVER_M, Body
from imujump.pipeline.strapdown import rotate

SLOW_ANKLE_MPS, SLOW_ANKLE_RATIO = 0.7, 0.35
"""An ankle slower than 0.7 m/s plus 0.35 of the pelvis's speed is arriving, resting or
leaving. At touchdown the ankle still moves at 1 to 2 m/s, more when running faster (own
choice; seen alike in kinematic figures, rigid-body simulation and motion capture)."""

CORE_RATIO = 0.6
"""In a contact the ankle falls below this part of the slow speed (own choice)."""

SHORTEST_CONTACT_S, SHORTEST_SWING_S = 0.03, 0.025
"""Briefer slow spells and briefer fast spells are noise (own choice; sprinters' contacts last
0.08 s and more)."""

LONGEST_STEP_CONTACT_S = 0.6
"""Longer contacts are stands, in which the foot need not pivot (own choice)."""

SUPPORT_MPS2 = 4.0
"""Least vertical specific force of a supported shank: between free fall (0) and rest (9.8)."""

FLOOR_REACH_M, STANDING_REACH_M = 0.05, 0.12
"""Height of a resting ankle over standing: heel off the floor in a running contact, more only
in a long quiet one after drift (own choice)."""

LIFT_M = 0.03
"""Between two contacts of one foot the ankle rises at least this far; less is a shuffle on the
spot (own choice)."""

LEG_SHARE = 0.061
"""Part of body mass that moves with each shank sensor: shank and foot (Dempster, as tabled by
Winter, from memory)."""

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

LAST_FALL_S, TISSUE_DELAY_S = 8e-3, 1.5e-3
"""The line from 6 to 2 m/s² is followed to zero, at most this far; soft tissue under the sensors
passes the load's end on this much late (own choice: a quarter period at 25 Hz is 10 ms, a step
through a well-damped one 1-2 ms)."""

FILTER_DELAY_SAMPLES = 0.56
"""Delay of a sensor's own low-pass at 0.4 of its rate (second-order Butterworth): sqrt(2) /
(2 pi 0.4) = 0.563 samples."""


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


@dataclass(frozen=True, slots=True)
class Spell:
    """A coarse contact: first and last sample with a slow ankle, and its slowest sample."""

    first: int
    last: int
    rest: int


def vertical_load(body: Body) -> FloatArray | None:
    """Vertical force of the floor per body mass, m/s², (n,), from the segments' motion.

    Newton's law for the whole body, with pelvis and shanks standing for the segments around
    them; zero in flight, 9.8 standing. None without a pelvis sensor; a missing shank is
    represented by the pelvis.
    """
    if Placement.PELVIS not in body.paths:
        return None
    pelvis = body.paths[Placement.PELVIS].force_mps2[:, 2]
    shanks = [s.shank for s in Side if s.shank in body.paths]
    load = (1.0 - LEG_SHARE * len(shanks)) * pelvis
    for shank in shanks:
        load = load + LEG_SHARE * body.paths[shank].force_mps2[:, 2]
    return np.asarray(load)


def body_speed(body: Body) -> FloatArray:
    """Horizontal speed (n,) of the pelvis, or of the mean shank, averaged over 0.3 s."""
    if Placement.PELVIS in body.paths:
        velocity = body.joint_velocity(Placement.PELVIS)
    else:
        velocity = np.mean([path.velocity_mps for path in body.paths.values()], axis=0)
    width = max(1, round(0.3 / body.step_s))
    return np.asarray(uniform_filter1d(np.hypot(velocity[:, 0], velocity[:, 1]), width))


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


def slow_ratio(body: Body, side: Side) -> FloatArray:
    """Ankle speed over the speed below which an ankle counts as slow (n,)."""
    speed = np.linalg.norm(body.joint_velocity(side.shank), axis=1)
    return np.asarray(speed / (SLOW_ANKLE_MPS + SLOW_ANKLE_RATIO * body_speed(body)))


def slow_spells(body: Body, side: Side, near_floor: bool) -> list[Spell]:
    """Coarse contacts of one foot.

    With ``near_floor`` the ankle must also be near its standing height and rise between
    contacts: ask for it once foot drift has been removed with a first set of contacts.
    """
    ratio = slow_ratio(body, side)
    force = body.paths[side.shank].force_mps2[:, 2]
    height = body.joint_position(side.shank)[:, 2]
    height = height - height[0]
    slow = np.concatenate(((0,), (ratio < 1.0).astype(np.int8), (0,)))
    edge = np.diff(slow)
    spells: list[list[int]] = []
    gap = SHORTEST_SWING_S / body.step_s
    starts = np.flatnonzero(edge == 1).tolist()
    ends = (np.flatnonzero(edge == -1) - 1).tolist()
    for first, last in zip(starts, ends, strict=True):
        if spells and first - spells[-1][1] < gap:
            spells[-1][1] = last
        else:
            spells.append([first, last])
    found: list[Spell] = []
    for first, last in spells:
        part = ratio[first : last + 1]
        core = part < CORE_RATIO
        if (last - first) * body.step_s < SHORTEST_CONTACT_S or not core.any():
            continue
        if force[first : last + 1][core].mean() < SUPPORT_MPS2:
            continue
        rest = first + int(np.argmin(part))
        if near_floor:
            quiet = (last - first) * body.step_s > 0.2 and part.min() < 0.2
            if height[rest] > (STANDING_REACH_M if quiet else FLOOR_REACH_M):
                continue
            if found:
                before = found[-1]
                lift = height[before.rest : rest + 1].max()
                if lift - max(height[before.rest], height[rest]) < LIFT_M:
                    found[-1] = Spell(before.first, last, before.rest)
                    continue
        found.append(Spell(first, last, rest))
    return found


def brief_spells(body: Body, side: Side, near_floor: bool) -> list[Spell]:
    """Coarse contacts that are steps, not stands."""
    longest = LONGEST_STEP_CONTACT_S / body.step_s
    return [s for s in slow_spells(body, side, near_floor) if s.last - s.first < longest]


def still_samples(body: Body, near_floor: bool) -> Mapping[Side, IntArray]:
    """Find the samples at which each foot rests on the floor in a brief contact."""
    return {
        side: np.array([s.rest for s in brief_spells(body, side, near_floor)], dtype=np.int64)
        for side in Side
        if side.shank in body.paths
    }


def pivot_levers(body: Body, near_floor: bool) -> Mapping[Side, float]:
    """Distance from each shank sensor down to the point it turns about while on the floor.

    Least squares over the slow samples of all brief contacts: there the sensor moves as the
    shank turns about that point. The worn height is the prior. A sensor strapped higher or
    lower than asked, and a foot that rolls, show here.
    """
    found = {}
    for side in (s for s in Side if s.shank in body.paths):
        path, up = body.paths[side.shank], body.up[side.shank]
        ratio = slow_ratio(body, side)
        turning, against = 1.0 / LEVER_SPREAD_M**2, SHANK_LEVER_M / LEVER_SPREAD_M**2
        for spell in brief_spells(body, side, near_floor):
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
    sides = [side for side in Side if side.shank in body.paths]
    load = vertical_load(body)
    contacts = []
    for side in sides:
        ratio = slow_ratio(body, side)
        for spell in slow_spells(body, side, near_floor=True):
            strike, strike_sigma_s = _strike(body, side, ratio, spell)
            toe_off, toe_off_sigma_s = _toe_off(body, side, ratio, spell, load, strike)
            contacts.append(Contact(side, strike, strike_sigma_s, toe_off, toe_off_sigma_s))
    return tuple(sorted(contacts, key=lambda c: -1.0 if c.strike is None else c.strike))


def _strike(body: Body, side: Side, ratio: FloatArray, spell: Spell) -> tuple[float | None, float]:
    """Place of the foot strike and its standard deviation, s."""
    if spell.first * body.step_s < 0.02:
        return None, 0.0
    h = body.step_s
    slow = crossing(ratio, spell.rest, 1.0, -1)
    half = crossing(ratio, spell.rest, 0.5, -1)
    fall_s = max(half - slow, 0.0) * h
    abrupt = 1.0 / (1.0 + np.exp(np.clip((fall_s - ABRUPT_FALL_S) / ABRUPT_WIDTH_S, -30, 30)))
    shift_s = LATE_STRIKE_S + (EARLY_STRIKE_S - LATE_STRIKE_S) * abrupt
    strike = slow - shift_s / h
    sigma_s = float(np.hypot(np.hypot(0.004, h / np.sqrt(6.0)), min(0.25 * fall_s, 0.02)))
    stopped = _floor_stop(body.joint_velocity(side.shank)[:, 2], ratio, spell, h)
    if stopped is not None:
        place, sharpness = stopped
        apart_s = abs(place - strike) * h
        strike = sharpness * place + (1.0 - sharpness) * strike
        sigma_s = sharpness * 0.004 + (1.0 - sharpness) * float(np.hypot(sigma_s, 0.3 * apart_s))
        sigma_s = float(np.hypot(sigma_s, h / np.sqrt(6.0)))
    strike -= FILTER_DELAY_SAMPLES
    return float(np.clip(strike, 0.0, len(ratio) - 1.0)), sigma_s


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
            spread_s = float(np.hypot(0.005, min(apart_s, 0.025) / 5.0))
            spread_s = float(np.hypot(spread_s, h / np.sqrt(6.0)))
    return float(np.clip(toe_off - FILTER_DELAY_SAMPLES, 0.0, n - 1.0)), spread_s


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
