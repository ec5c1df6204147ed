"""Where the jumps are, and what belongs to each: run-up, plant, flight, landing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imujump.model import FloatArray, Placement, Side, TakeOffStyle
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

FLIGHT_LOAD_MPS2 = 4.0
"""Mean vertical load over the middle of a flight (own choice: zero in theory, up to 3 with legs
swinging)."""

RISE_OVER_STANDING_M = 0.03
"""A jump lifts the pelvis over its standing height; long running steps do not (own choice)."""

REBOUND_S = 0.6
"""Flights parted by less ground time than this follow each other as one bouncing action."""

OUTSTANDING = 1.5
"""A jump among at least three other hops rises this much higher than their middle (own choice:
run-up steps stay below half of the jump)."""

REBOUND_HEIGHT = 0.5
"""A flight that lands into the highest one is the jump, and the highest its rebound, if it
reaches this part of its height; a gather step before a jump stays lower (own choice)."""

BOUNCES, MANY_BOUNCES, BOUNCING_MPS = 3, 5, 1.0
"""That many flights running at less than this horizontal speed are bouncing on the spot, not
attempts (own choice)."""

SAME_ACTION_S = 4.0
"""Of flights closer than this one is the attempt and the others are long running steps, a rebound
or a stumble: a run-up lasts up to 4 s, walking back takes longer (own choice)."""

STEP_LIMIT_S = 0.9
"""Longest time between two touchdowns of one run-up (own choice: slow walking is 0.7 s)."""


@dataclass(frozen=True, slots=True)
class Flight:
    """A flight seen by the pelvis: sample numbers of take-off, apex and landing.

    A flight that is not ``high`` is a hop: too low or brief for a jump.
    """

    start: float
    apex: int
    end: float
    high: bool = True


@dataclass(frozen=True, slots=True)
class Jump:
    """One attempt in sample numbers.

    ``toe_off`` and ``landing`` bound the flight with their standard deviations (s).
    ``plant`` holds the contacts pushed off from, first touchdown first: one or two, none
    when no shank tells. ``run_up`` are the contacts before it whose touchdown was seen,
    oldest first. ``landings`` are the first contacts after the flight, in order.
    """

    toe_off: float
    toe_off_sigma_s: float
    landing: float
    landing_sigma_s: float
    style: TakeOffStyle | None
    plant: tuple[Contact, ...]
    run_up: tuple[Contact, ...]
    landings: tuple[Contact, ...]
    pelvis_timed: bool

    @property
    def plant_strike(self) -> float | None:
        """First touchdown of the plant.

        None when the jump began from standing, and when a shank without a sensor leaves it
        open which foot planted first.
        """
        return self.plant[0].strike if self.plant and self.style is not None else None


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
        first, last = max(apex - reach, 0), min(apex + reach, len(rise) - 1)
        up = first + int(np.argmax(rise[first : apex + 1]))
        down = apex + int(np.argmin(rise[apex : last + 1]))
        slower_mps = min(rise[up], -rise[down])
        if slower_mps < HOPPING_MPS:
            continue
        fifth = (down - up) // 5
        if load[up + fifth : down - fifth].mean() > FLIGHT_LOAD_MPS2:
            continue
        start = crossing(-load, up, -UNLOADED_MPS2, 1)
        # The landing: back from the hardest fall to where the floor does not carry yet.
        end = crossing(-load, down, -UNLOADED_MPS2, -1) if load[down] > UNLOADED_MPS2 else down
        end = float(end if end > apex else down)
        high = (
            slower_mps >= RISING_MPS
            and (down - up) * h >= SHORTEST_FLIGHT_S
            and height[apex] >= RISE_OVER_STANDING_M
            and LEAST_WEIGHTLESS_S <= (end - start) * h <= LONGEST_FLIGHT_S
        )
        flights.append(Flight(start, apex, end, bool(high)))
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
        if SHORTEST_FLIGHT_S <= (contact.strike - start) * step_s <= LONGEST_FLIGHT_S:
            flights.append(Flight(start, round((start + contact.strike) / 2), contact.strike))
    return flights


def pick_attempts(
    flights: list[Flight], heights: FloatArray, speed_mps: FloatArray, step_s: float
) -> list[Flight]:
    """Drop bouncing and hopping, and keep the highest flight of each action.

    Parameters
    ----------
    flights : list of Flight
        In order, hops among them: they make a series of bounces, never an attempt.
    heights : FloatArray
        (n,) pelvis height, or zeros when unknown.
    speed_mps : FloatArray
        (n,) horizontal speed of the body.
    step_s : float
        Sample period.

    Returns
    -------
    list of Flight
        One for each attempt.
    """
    bouts = [b for b in _series(flights, REBOUND_S / step_s) if len(b) >= BOUNCES]
    single = [
        f
        for f in flights
        if f.high and not any(_bounces(f, bout, heights, speed_mps) for bout in bouts)
    ]
    actions = _series(single, SAME_ACTION_S / step_s)
    picked = [_jump_of(action, heights, REBOUND_S / step_s) for action in actions]
    return [f for f in picked if _stands_out(f, flights, heights, SAME_ACTION_S / step_s)]


def _bounces(
    flight: Flight, bout: list[Flight], heights: FloatArray, speed_mps: FloatArray
) -> bool:
    """Whether a flight belongs to a bout of bounces on the spot.

    The first of a few may be a jump that rebounds; of many, all bounce, but for one that
    stands out.
    """
    if not bout[0].start <= flight.apex <= bout[-1].end:
        return False
    until = [float(speed_mps[hop.apex]) for hop in bout if hop.apex <= flight.apex]
    slow = bool(until) and float(np.median(until)) <= BOUNCING_MPS
    others = [float(heights[hop.apex]) for hop in bout if hop.apex != flight.apex]
    alike = float(heights[flight.apex]) <= OUTSTANDING * float(np.median(others))
    return slow and alike and (len(until) > 1 or len(bout) >= MANY_BOUNCES)


def _stands_out(flight: Flight, flights: list[Flight], heights: FloatArray, reach: float) -> bool:
    """Whether a flight is more than one of a row of like hops, as in skipping or bouncing."""
    others = [
        float(heights[hop.apex])
        for hop in flights
        if hop.apex != flight.apex and abs(hop.apex - flight.apex) < reach
    ]
    if len(others) < BOUNCES:
        return True
    return float(heights[flight.apex]) > OUTSTANDING * float(np.median(others))


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


def build_jump(body: Body, flight: Flight, contacts: tuple[Contact, ...]) -> Jump:
    """Assemble an attempt around a flight.

    Parameters
    ----------
    body : Body
        Corrected motion.
    flight : Flight
        The flight.
    contacts : tuple of Contact
        All foot contacts of the window, in order.
    """
    h = body.step_s
    both = all(side.shank in body.paths for side in Side)
    seen_by_pelvis = Placement.PELVIS in body.paths
    slack = 0.12 / h
    leaving = _leaving(contacts, flight, h)
    landings = _landings(contacts, flight, h)
    style = None
    plant: tuple[Contact, ...] = ()
    toe_off, toe_off_sigma_s = flight.start, 0.02
    landing, landing_sigma_s = flight.end, 0.02
    timed = True
    if both and leaving:
        plant = _plant(leaving)
        style = TakeOffStyle.TWO_FOOT if len(plant) == 2 else TakeOffStyle.ONE_FOOT
    elif leaving and abs((leaving[0].toe_off or 0.0) - flight.start) < slack:
        plant = (leaving[0],)
    if plant:
        last = max(plant, key=lambda c: c.toe_off or 0.0)
        if both or not seen_by_pelvis:
            assert last.toe_off is not None
            toe_off, toe_off_sigma_s, timed = last.toe_off, last.toe_off_sigma_s, False
    if landings and (both or not seen_by_pelvis):
        assert landings[0].strike is not None
        landing, landing_sigma_s = landings[0].strike, landings[0].strike_sigma_s
    elif seen_by_pelvis:
        timed = True
    run_up = _run_up(contacts, plant, h) if both else ()
    return Jump(
        toe_off,
        toe_off_sigma_s,
        landing,
        landing_sigma_s,
        style,
        plant,
        run_up,
        landings,
        timed,
    )


def _leaving(contacts: tuple[Contact, ...], flight: Flight, step_s: float) -> list[Contact]:
    """Last contact of each foot that ends before the flight's middle, latest toe-off first."""
    found: dict[Side, Contact] = {}
    for contact in contacts:
        if contact.toe_off is not None and contact.toe_off < flight.apex:
            found[contact.side] = contact
    recent = [c for c in found.values() if (flight.apex - (c.toe_off or 0.0)) * step_s < 1.5]
    return sorted(recent, key=lambda c: -(c.toe_off or 0.0))


def _landings(contacts: tuple[Contact, ...], flight: Flight, step_s: float) -> tuple[Contact, ...]:
    """First contact of each foot after the flight's middle."""
    found: dict[Side, Contact] = {}
    for contact in contacts:
        if contact.strike is not None and contact.strike > flight.apex:
            found.setdefault(contact.side, contact)
    near = [c for c in found.values() if ((c.strike or 0.0) - flight.apex) * step_s < 1.0]
    return tuple(sorted(near, key=lambda c: c.strike or 0.0))


def _plant(leaving: list[Contact]) -> tuple[Contact, ...]:
    """Contacts pushed off from.

    Both feet if they shared the floor for longer than one then stayed alone (own choice: in
    recorded jumps the two kinds lie well apart).
    """
    last = leaving[0]
    if len(leaving) < 2:
        return (last,)
    other = leaving[1]
    assert last.toe_off is not None
    assert other.toe_off is not None
    start_last = last.strike if last.strike is not None else -np.inf
    start_other = other.strike if other.strike is not None else -np.inf
    shared = min(last.toe_off, other.toe_off) - max(start_last, start_other)
    if last.toe_off - other.toe_off >= shared:
        return (last,)
    return tuple(sorted((last, other), key=lambda c: -np.inf if c.strike is None else c.strike))


def _run_up(
    contacts: tuple[Contact, ...], plant: tuple[Contact, ...], step_s: float
) -> tuple[Contact, ...]:
    """Contacts before the plant, as far back as touchdowns follow each other."""
    if not plant or plant[0].strike is None:
        return ()
    next_strike = plant[0].strike
    chain: list[Contact] = []
    for contact in sorted(
        (c for c in contacts if c.strike is not None), key=lambda c: -(c.strike or 0.0)
    ):
        assert contact.strike is not None
        if contact in plant or contact.strike >= next_strike:
            continue
        if (next_strike - contact.strike) * step_s > STEP_LIMIT_S:
            break
        chain.append(contact)
        next_strike = contact.strike
    return tuple(reversed(chain))
