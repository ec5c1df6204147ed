"""Foot contacts: coarse ones from the course of both feet, then their edges refined."""

from __future__ import annotations

from dataclasses import dataclass

from imujump.model import Side
from imujump.pipeline.body import Body
from imujump.pipeline.leaving import toe_off
from imujump.pipeline.support import slow_ratio, stance_spells, vertical_load
from imujump.pipeline.touchdown import touchdown


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
            strike, strike_sigma_s = touchdown(body, side, ratio, load, spell, others)
            left, left_sigma_s = toe_off(body, side, ratio, load, spell, others, strike)
            contacts.append(Contact(side, strike, strike_sigma_s, left, left_sigma_s))
    return tuple(sorted(contacts, key=lambda c: -1.0 if c.strike is None else c.strike))
