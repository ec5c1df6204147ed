"""Where the body flies, and which of its flights are attempts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement
from imujump.pipeline.body import Body
from imujump.pipeline.contacts import Contact
from imujump.pipeline.level_crossing import crossing
from imujump.pipeline.support import UNLOADED_MPS2, vertical_load

RISING_MPS = 0.9
"""A jump leaves and lands with at least this vertical speed: 4 cm of rise. Running stays near
0.6 m/s (own choice)."""

SHORTEST_FLIGHT_S = 0.25
"""Shorter flights are running steps (own choice: sprint flights last 0.10-0.15 s)."""

LEAST_WEIGHTLESS_S, LONGEST_FLIGHT_S = 0.2, 1.1
"""Limits of the time without load: swinging limbs shorten it against the flight itself, and 1.1 s
are a jump of 1.5 m (own choice)."""

HOPPING_MPS = 0.5
"""Rise and fall that make a hop, if too low for a jump (own choice)."""

FLIGHT_LOAD_MPS2, HOP_LOAD_MPS2 = 4.0, 6.0
"""Mean vertical load over the middle of a jump's flight and of a hop's (own choice: zero in
theory, up to 3 with legs swinging; the middle of a short flight takes in some of the push)."""

RISE_OVER_STANDING_M = 0.03
"""A jump lifts the pelvis over its standing height; long running steps do not (own choice)."""

REBOUND_S = 0.6
"""Flights parted by less ground time than this follow each other as one bouncing action."""

FELLOWS, ALIKE = 2, 0.67
"""A flight with at least so many others around it that rise to this part of it is one of a row of
bounces, skips or strides (own choice: run-up steps stay below half of the jump, and a jump has one
rebound as high at the most)."""

REBOUND_HEIGHT = 0.85
"""A flight that lands into the highest one is the jump, and the highest its rebound, if it
reaches this part of its height; a gather step or a bound before a jump stays lower (own choice)."""

SAME_ACTION_S = 4.0
"""Of flights closer than this one is the attempt and the others are long running steps, a rebound
or a stumble: a run-up lasts up to 4 s, walking back takes longer (own choice)."""


@dataclass(frozen=True, slots=True)
class Flight:
    """A flight: sample numbers of take-off, apex and landing, and its vertical speed.

    ``rise_mps`` is half of the change from the fastest rise to the fastest fall: it needs no
    height, so drift leaves it alone. A flight that is not ``high`` is a hop: too low or brief
    for a jump.
    """

    start: float
    apex: int
    end: float
    rise_mps: float
    high: bool = True

    @property
    def rise_m(self) -> float:
        """How high its vertical speed carries."""
        return self.rise_mps**2 / (2.0 * STANDARD_GRAVITY_MPS2)


def pelvis_flights(body: Body) -> list[Flight]:
    """Flights as the pelvis tells, hops among them: up, weightless, down."""
    if Placement.PELVIS not in body.paths:
        return []
    h = body.step_s
    path = body.paths[Placement.PELVIS]
    load = vertical_load(body)
    assert load is not None
    rise = path.velocity_mps[:, 2]
    height = path.position_m[:, 2] - path.position_m[0, 2]
    reach = round(0.6 / h)
    flights: list[Flight] = []
    for apex in np.flatnonzero((rise[:-1] > 0.0) & (rise[1:] <= 0.0)).tolist():
        # No further than the lowest points on either side: beyond them are other flights.
        first, last = max(apex - reach, 0), min(apex + reach, len(rise) - 1)
        below = np.flatnonzero(rise[first:apex] <= 0.0)
        first = first + int(below[-1]) if len(below) else first
        above = np.flatnonzero(rise[apex + 1 : last + 1] > 0.0)
        last = apex + int(above[0]) if len(above) else last
        up = first + int(np.argmax(rise[first : apex + 1]))
        down = apex + int(np.argmin(rise[apex : last + 1]))
        slower_mps = min(rise[up], -rise[down])
        if slower_mps < HOPPING_MPS:
            continue
        fifth = (down - up) // 5
        middle_mps2 = float(load[up + fifth : down - fifth].mean())
        if middle_mps2 > HOP_LOAD_MPS2:
            continue
        start = crossing(-load, up, -UNLOADED_MPS2, 1)
        # The landing: back from the hardest fall to where the floor does not carry yet.
        end = crossing(-load, down, -UNLOADED_MPS2, -1) if load[down] > UNLOADED_MPS2 else down
        end = float(end if end > apex else down)
        high = (
            slower_mps >= RISING_MPS
            and middle_mps2 <= FLIGHT_LOAD_MPS2
            and (down - up) * h >= SHORTEST_FLIGHT_S
            and height[apex] >= RISE_OVER_STANDING_M
            and LEAST_WEIGHTLESS_S <= (end - start) * h <= LONGEST_FLIGHT_S
        )
        rise_mps = 0.5 * float(rise[up] - rise[down])
        flights.append(Flight(start, apex, end, rise_mps, bool(high)))
    return flights


def shank_flights(contacts: tuple[Contact, ...], step_s: float) -> list[Flight]:
    """Flights as both feet tell: spans in which neither is on the floor."""
    flights = []
    ends = [c.toe_off for c in contacts if c.toe_off is not None]
    for contact in contacts:
        if contact.strike is None:
            continue
        before = [e for e in ends if e <= contact.strike]
        standing = any(
            (c.strike is None or c.strike < contact.strike)
            and (c.toe_off is None or c.toe_off > contact.strike)
            for c in contacts
            if c is not contact
        )
        if standing or not before:
            continue
        start = max(before)
        length_s = (contact.strike - start) * step_s
        if SHORTEST_FLIGHT_S <= length_s <= LONGEST_FLIGHT_S:
            rise_mps = 0.5 * STANDARD_GRAVITY_MPS2 * length_s
            middle = round((start + contact.strike) / 2)
            flights.append(Flight(start, middle, contact.strike, rise_mps))
    return flights


def pick_attempts(flights: list[Flight], heights: FloatArray, step_s: float) -> list[Flight]:
    """Drop bouncing and skipping, and keep the jump of each action.

    Parameters
    ----------
    flights : list of Flight
        In order, hops among them: they tell a row of bounces, but are never an attempt.
    heights : FloatArray
        (n,) pelvis height, or zeros when unknown.
    step_s : float
        Sample period.

    Returns
    -------
    list of Flight
        One for each attempt.
    """
    reach = SAME_ACTION_S / step_s
    actions = _series([f for f in flights if f.high], reach)
    picked = [_jump_of(action, heights, REBOUND_S / step_s) for action in actions]
    return [f for f in picked if _stands_out(f, flights, reach)]


def _stands_out(flight: Flight, flights: list[Flight], reach: float) -> bool:
    """Whether a flight is more than one of a row of like hops, as in skipping or bouncing."""
    fellows = [
        other
        for other in flights
        if other is not flight
        and abs(other.apex - flight.apex) < reach
        and other.rise_m > ALIKE * flight.rise_m
    ]
    return len(fellows) < FELLOWS


def _jump_of(action: list[Flight], heights: FloatArray, longest: float) -> Flight:
    """Pick the highest flight of an action, or the jump that it rebounds from."""
    picked = max(action, key=lambda f: float(heights[f.apex]))
    for earlier in reversed(action[: action.index(picked)]):
        if picked.start - earlier.end > longest:
            break
        if heights[earlier.apex] < REBOUND_HEIGHT * heights[picked.apex]:
            break
        picked = earlier
    return picked


def _series(flights: list[Flight], longest: float) -> list[list[Flight]]:
    """Group flights that are parted by less than ``longest`` samples on the ground."""
    groups: list[list[Flight]] = []
    for flight in flights:
        if groups and flight.start - groups[-1][-1].end < longest:
            groups[-1].append(flight)
        else:
            groups.append([flight])
    return groups
