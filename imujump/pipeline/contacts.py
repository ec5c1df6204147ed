"""Foot contacts: coarse ones from the course of both feet, then their edges refined."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from imujump.model import Side
from imujump.pipeline.body import Body
from imujump.pipeline.hovering import without_hovering
from imujump.pipeline.landing_touch import with_landing_touches
from imujump.pipeline.leaving import toe_off
from imujump.pipeline.ringing import ringing_mps2, ringing_sigma_s
from imujump.pipeline.support import mid_hip_load, slow_ratio, stance_spells
from imujump.pipeline.touchdown import SECOND_FOOT_S, touchdown


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
    load = mid_hip_load(body)
    spells = without_hovering(body, stance_spells(body, near_floor=True))
    spells = with_landing_touches(body, spells)
    contacts: list[Contact] = []
    landings: list[tuple[Contact, float]] = []
    for side, own in spells.items():
        ratio = slow_ratio(body, side)
        others = [s for other, each in spells.items() if other is not side for s in each]
        for before, spell in zip((None, *own), own, strict=False):
            left = None if before is None else before.last
            strike, strike_sigma_s, moved = touchdown(body, side, ratio, load, spell, others, left)
            off, off_sigma_s = toe_off(body, side, ratio, load, spell, others, strike)
            contacts.append(Contact(side, strike, strike_sigma_s, off, off_sigma_s))
            if moved < 0.0:
                landings.append((contacts[-1], moved))
    for first, moved in landings:
        contacts = [_landed_alike(c, first, moved, body.step_s) for c in contacts]
    contacts = _less_sure(body, contacts)
    return tuple(sorted(contacts, key=lambda c: -1.0 if c.strike is None else c.strike))


def _less_sure(body: Body, contacts: list[Contact]) -> list[Contact]:
    """Widen the strikes of a side whose strap rings."""
    added_s = {}
    for side in {contact.side for contact in contacts}:
        stances = [
            (c.strike, c.toe_off)
            for c in contacts
            if c.side is side and c.strike is not None and c.toe_off is not None
        ]
        added_s[side] = ringing_sigma_s(ringing_mps2(body.paths[side.shank], stances))
    return [
        replace(c, strike_sigma_s=float(np.hypot(c.strike_sigma_s, added_s[c.side])))
        for c in contacts
    ]


def _landed_alike(contact: Contact, first: Contact, moved: float, step_s: float) -> Contact:
    """Move the second foot's landing as the load moved the first's: both land alike."""
    assert first.strike is not None
    if contact.strike is None or contact.side is first.side:
        return contact
    if first.toe_off is not None and first.toe_off < contact.strike:
        return contact
    # The first foot's own witness stands at strike - moved.
    if not 0.0 <= (contact.strike - (first.strike - moved)) * step_s < SECOND_FOOT_S:
        return contact
    sigma_s = float(np.hypot(contact.strike_sigma_s, 0.5 * abs(moved) * step_s))
    return replace(
        contact, strike=max(contact.strike + moved, first.strike), strike_sigma_s=sigma_s
    )
