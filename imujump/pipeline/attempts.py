"""What belongs to a jump: run-up, plant, flight, landing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imujump.model import Placement, Side, TakeOffStyle
from imujump.pipeline.body import Body
from imujump.pipeline.contacts import Contact
from imujump.pipeline.flights import Flight

STEP_LIMIT_S = 0.9
"""Longest time between two touchdowns of one run-up (own choice: slow walking is 0.7 s)."""


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
