"""When exactly a foot touches down.

Three witnesses: how abruptly the ankle comes to be slow, the onset of the floor's push on the
falling ankle, and, after a flight of both feet, the rise of the body's load. Each is weighed
by how sharply it speaks.
"""

from __future__ import annotations

from statistics import median

import numpy as np
from scipy.ndimage import minimum_filter1d
from scipy.special import expit

from imujump.model import FloatArray, Side
from imujump.pipeline.body import Body
from imujump.pipeline.level_crossing import crossing
from imujump.pipeline.support import CORE_RATIO, UNLOADED_MPS2, Spell

ROLLING = 1.6
"""The ankle of a foot that rolls all through its contact arrives when it is this much faster than
it stays (own choice)."""

STOPPED_S, JUST_BEFORE_S = 0.09, 0.02
"""The fall whose arrest is the touch is looked for within 0.09 s before the foot has settled, and
at least from 0.02 s before its coarse contact begins (own choice)."""

EARLIEST_S = 0.06
"""A strike lies no earlier than this before its coarse contact begins (own choice: at most 55 ms
before in simulated runs; a foot that is never slow would be followed back into its swing)."""

RESTLESS_S = 0.05
"""A foot that is slow for this long before it is calm bounces or slides on the floor: it came down
when it was slow (own choice; the ankle of a foot that stays is calm within 30 ms)."""

THROWN_UP_MPS = 0.3
"""A foot that rises so fast after it slowed had touched the floor (own choice)."""

SHARP_SIGMA_S, FALL_SHARE, LONGEST_FALL_S = 4e-3, 0.15, 0.03
"""Standard deviation of a strike read from a sharp witness, and from a gradual stop as part of the
stop's length (own choice)."""

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

ONSET_BEFORE_S, ONSET_AFTER_S = 0.03, 0.15
ONSET_LEAD_S = 3e-3
ONSET_RISE_MPS2, ONSET_WIDTH_MPS2 = 14.0, 2.5
"""Where, from the instant at which the ankle is slow, the floor's push is looked for; the touch
comes 3 ms before that push grows fastest (1 to 4 ms in the analytic figure and two rigid-body
runners); and by how much the ankle's acceleration must grow within 10 ms to be a push of the
floor rather than of the leg (motion-capture clips, nearly free of impacts, mostly stay below)."""

LATER_PUSH_S = 0.012
"""A push this long after the floor stopped the foot is not the first touch (own choice)."""

SECOND_FOOT_S = 0.2
"""A foot that comes down this soon after the other lands or plants along with it (own choice)."""

FIRST_PUSH_SHARE = 0.5
"""A push this strong, as a part of the strongest, counts as the first (own choice)."""

SETTLED_S, SETTLING_M, SETTLING_S = 0.1, 0.045, 0.035
"""Once touching, an ankle comes down by less than this within a tenth of a second, heel or ball of
the foot lowering, and by less than it falls in 35 ms (own choice; 1 to 4 cm in simulated runs)."""

FALLING_MPS, ARREST_SHARE, ARRESTED_S = 0.3, 0.5, 0.025
"""A foot comes down faster than this before it is pushed, and at about half of that or less soon
after (own choice)."""

BLUNT_SHARE = 0.4
"""Part of the way to a witness that speaks less sharply that counts as uncertainty (own choice)."""

RATE_LAG, RATE_LAG_AT_S = 0.5, 5e-3
"""All of that was set at 200 samples a second. Other rates move a strike by half of what their
sample period differs: the push is told by differences over samples. Strikes of the figure, as
its foot landed then, came 4.4 ms earlier at 100 than at 200 Hz and 3.2 ms later at 400, of the
rigid-body runner 2.0 ms earlier and 0.4 ms later; half a sample lies between the two."""

CARRIED_MPS2, RISEN_MPS2 = 9.0, 6.0
LOADING_BEFORE_S, LOADING_AFTER_S = 0.08, 0.04
LOADING_LAG_S, LOADING_SIGMA_S = 3e-3, 8e-3
LANDING_FLIGHT_S = 0.22
"""After a flight longer than a running step's the load rises through 6 m/s² some 3 ms after
touchdown, on the heel as on the ball of the foot, when it goes on to carry body weight (own
choice, seen in simulated runs and motion capture; the foot's own stop tells more where it is
sharp)."""


def touchdown(
    body: Body,
    side: Side,
    ratio: FloatArray,
    load: FloatArray | None,
    spell: Spell,
    others: list[Spell],
    left: int | None,
) -> tuple[float | None, float, float]:
    """Place of a contact's foot strike, its standard deviation, s, and the load's part in it.

    The place is None when the foot was on the floor from the first. The last figure tells by
    how many samples the rise of the load, after a flight, moved the place.

    Parameters
    ----------
    body : Body
        Solved motion.
    side : Side
        The foot.
    ratio : FloatArray
        (n,) its ankle's speed over the slow speed.
    load : FloatArray or None
        (n,) vertical force of the floor per body mass, if known.
    spell : Spell
        The coarse contact.
    others : list of Spell
        Coarse contacts of the other foot.
    left : int or None
        Last sample of this foot's contact before, if there was one.
    """
    loading = None if load is None else _loading(load, spell, others, body.step_s)
    just = spell.first - SECOND_FOOT_S / body.step_s
    second = any(just < o.first < spell.first <= o.last for o in others)
    strike, sigma_s = _strike(body, side, ratio, spell, by_push=loading is None and not second)
    earliest = max(spell.first - round(EARLIEST_S / body.step_s), 0 if left is None else left)
    if strike is not None and strike <= earliest:
        rise_mps = body.joint_velocity(side.shank)[:, 2]
        strike, sigma_s = _after(earliest, rise_mps, spell, body.step_s)
    if strike is None or loading is None:
        return strike, sigma_s, 0.0
    place, sigma_s = _weighed((strike, sigma_s), loading, body.step_s)
    return place, sigma_s, place - strike


def _after(earliest: int, rise_mps: FloatArray, spell: Spell, step_s: float) -> tuple[float, float]:
    """Strike of a foot whose speed does not tell it, and its standard deviation, s.

    By the arrest of its fall, if it falls; else somewhere between the earliest sample that it can
    be and the beginning of the coarse contact.
    """
    first = max(earliest, spell.first - round(STOPPED_S / step_s))
    fastest = first + int(np.argmin(rise_mps[first : spell.last + 1]))
    fall_mps = float(rise_mps[fastest])
    if fall_mps > -ARREST_MPS:
        return float(spell.first), (spell.first - earliest) * step_s / np.sqrt(12.0)
    begin, end = _arrest(rise_mps, fastest)
    sigma_s = np.hypot(SHARP_SIGMA_S, 0.5 * (end - begin) * step_s)
    return max(begin - ARREST_LEAD_S / step_s, float(earliest)), float(sigma_s)


def _weighed(a: tuple[float, float], b: tuple[float, float], step_s: float) -> tuple[float, float]:
    """Mean of two places by their standard deviations, s, widened beyond two of them apart."""
    share = b[1] ** 2 / (a[1] ** 2 + b[1] ** 2)
    apart = abs(a[0] - b[0]) * step_s / float(np.hypot(a[1], b[1]))
    return share * a[0] + (1.0 - share) * b[0], float(np.sqrt(share) * a[1] * max(1.0, 0.5 * apart))


def _strike(
    body: Body, side: Side, ratio: FloatArray, spell: Spell, by_push: bool
) -> tuple[float | None, float]:
    """Place of the foot strike by the ankle alone, and its standard deviation, s.

    Without ``by_push`` the onset of a push on the ankle does not count: a leg that reaches
    for the floor after a high flight brakes its foot before it lands, and a second foot that
    comes down beside the first is pushed by the body as well.
    """
    if spell.first * body.step_s < 0.02:
        return None, 0.0
    h = body.step_s
    part = ratio[spell.first : spell.last + 1]
    level = max(1.0, ROLLING * median(part.tolist()))
    calm = part < CORE_RATIO * level
    arrived = spell.first + int(np.argmax(calm)) if calm.any() else spell.rest
    slowed = spell.first + int(np.argmax(part < level))
    if part.min() < level and (arrived - slowed) * h > RESTLESS_S:
        arrived = slowed
    slow = crossing(ratio, arrived, level, -1)
    half = crossing(ratio, arrived, 0.5 * level, -1)
    if ratio[arrived] > 0.5 * level:
        half = crossing(-ratio, arrived, -0.5 * level, 1)
    fall_s = max(half - slow, 0.0) * h
    abrupt = float(expit((ABRUPT_FALL_S - fall_s) / ABRUPT_WIDTH_S))
    shift_s = LATE_STRIKE_S + (EARLY_STRIKE_S - LATE_STRIKE_S) * abrupt
    strike = slow - shift_s / h
    sigma_s = float(np.hypot(SHARP_SIGMA_S, min(FALL_SHARE * fall_s, LONGEST_FALL_S)))
    rise_mps = body.joint_velocity(side.shank)[:, 2]
    stopped = _floor_stop(rise_mps, ratio, spell, h)
    if stopped is not None and _thrown_up(rise_mps, strike, stopped[0], h):
        stopped = None
    if stopped is not None:
        strike, sigma_s = _drawn_to(strike, sigma_s, *stopped, h)
    pushed = _push_onset(rise_mps, strike, h) if by_push else None
    if pushed is not None:
        place, sharpness = pushed
        if stopped is not None and (place - stopped[0]) * h > LATER_PUSH_S:
            sharpness *= 1.0 - stopped[1]  # the floor stopped the foot before
        strike, sigma_s = _drawn_to(strike, sigma_s, place, sharpness, h)
    strike += RATE_LAG * (1.0 - RATE_LAG_AT_S / h)
    sigma_s = float(np.hypot(sigma_s, h / np.sqrt(6.0)))
    return float(np.clip(strike, 0.0, len(ratio) - 1.0)), sigma_s


def _drawn_to(
    strike: float, sigma_s: float, place: float, sharpness: float, step_s: float
) -> tuple[float, float]:
    """Draw a strike and its sigma to another witness's place as sharply as that speaks."""
    blunt_s = float(np.hypot(sigma_s, BLUNT_SHARE * abs(place - strike) * step_s))
    return (
        sharpness * place + (1.0 - sharpness) * strike,
        sharpness * SHARP_SIGMA_S + (1.0 - sharpness) * blunt_s,
    )


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
    fallen = min(lowest, spell.first)
    before = load[max(fallen - round(LANDING_FLIGHT_S / step_s), 0) : fallen + 1]
    if before.mean() > UNLOADED_MPS2:
        return None
    carrying = lowest + int(carried[0])
    begin = crossing(-load, carrying, -UNLOADED_MPS2, -1)
    place = crossing(-load, carrying, -RISEN_MPS2, -1)
    rise_s = (place - begin) * step_s
    sigma_s = float(np.hypot(np.hypot(LOADING_SIGMA_S, 0.5 * rise_s), step_s / np.sqrt(6.0)))
    return place - LOADING_LAG_S / step_s, sigma_s


def _floor_stop(
    rise_mps: FloatArray, ratio: FloatArray, spell: Spell, step_s: float
) -> tuple[float, float] | None:
    """Touchdown by the arrest of the ankle's fall, and how sharp it was (0 to 1).

    The fall is the fastest of those around and after the beginning of the contact: a foot that was
    stopped and sinks on under the push that follows touched where it was stopped.
    """
    calm = max(0.35, 1.3 * float(ratio[spell.rest]))
    settled = spell.first + int(np.argmax(ratio[spell.first : spell.last + 1] < calm))
    led_up, just_before = round(STOPPED_S / step_s), round(JUST_BEFORE_S / step_s)
    first = max(0, min(settled - led_up, spell.first - just_before))
    fastest = first + int(np.argmin(rise_mps[first : settled + 1]))
    fall_mps = float(rise_mps[fastest])
    if fall_mps > -ARREST_MPS:
        return None
    begin, end = _arrest(rise_mps, fastest)
    early_s = ARREST_S - (end - begin) * step_s
    return begin - ARREST_LEAD_S / step_s, float(expit(early_s / ARREST_WIDTH_S))


def _arrest(rise_mps: FloatArray, fastest: int) -> tuple[float, float]:
    """Where a quarter and where three quarters of the fastest fall are gone."""
    fall_mps = float(rise_mps[fastest])
    return (
        crossing(rise_mps, fastest, 0.75 * fall_mps, 1),
        crossing(rise_mps, fastest, 0.25 * fall_mps, 1),
    )


def _thrown_up(rise_mps: FloatArray, slow: float, stop: float, step_s: float) -> bool:
    """Whether a foot that stops well after it slowed was thrown up by the floor in between."""
    if (stop - slow) * step_s <= RESTLESS_S:
        return False
    return bool(rise_mps[int(slow) : int(stop) + 1].max() > THROWN_UP_MPS)


def _push_onset(rise_mps: FloatArray, slow: float, step_s: float) -> tuple[float, float] | None:
    """Touchdown by the onset of the floor's push on a falling ankle, and its sharpness (0 to 1)."""
    last = len(rise_mps) - 1
    first = max(int(slow - ONSET_BEFORE_S / step_s), 1)
    index = np.arange(first, min(int(slow + ONSET_AFTER_S / step_s), last - 1) + 1)
    if len(index) < 3:
        return None
    reach = max(1, round(0.005 / step_s))
    begin = max(first - reach - 1, 0)  # one sample more than is read, for its slope
    accel = np.gradient(rise_mps[begin : int(index[-1]) + reach + 2], step_s)
    growth = accel[np.minimum(index + reach, last) - begin]
    growth = growth - accel[np.maximum(index - reach, 0) - begin]
    before = max(1, round(0.02 / step_s))
    led_up = rise_mps[max(first - before, 0) : int(index[-1]) + 1]
    fall = minimum_filter1d(led_up, before + 1, mode="nearest", origin=before // 2)[-len(index) :]
    after = rise_mps[np.minimum(index + int(ARRESTED_S / step_s), last)]
    arrested = (fall < -FALLING_MPS) & (after > ARREST_SHARE * fall)
    # A foot on the floor has only its heel or its ball left to lower.
    ahead = round(SETTLED_S / step_s)
    steps = np.cumsum(np.append(rise_mps[first:], 0.0)[: len(index) + ahead]) * step_s
    lowest = minimum_filter1d(steps, ahead, mode="nearest", origin=-(ahead // 2))
    left_m = (steps - lowest)[: len(index)]
    arrested &= left_m < np.minimum(SETTLING_M, -SETTLING_S * fall)
    if not arrested.any():
        return None
    pushed = np.where(arrested, growth, -np.inf)
    # The first of several strong pushes: a leg may push again while its foot is down.
    k = int(np.argmax(pushed >= FIRST_PUSH_SHARE * pushed.max()))
    while k + 1 < len(index) and pushed[k + 1] > pushed[k]:
        k += 1
    place, size = float(index[k]), float(growth[k])
    if 0 < k < len(index) - 1:  # top of the parabola through three samples
        left, right = float(growth[k - 1]), float(growth[k + 1])
        bend = left - 2.0 * size + right
        if bend < 0.0:
            place += float(np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
    sharpness = expit((size - ONSET_RISE_MPS2) / ONSET_WIDTH_MPS2)
    return place - ONSET_LEAD_S / step_s, float(sharpness)
