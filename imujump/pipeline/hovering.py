"""A foot that hovers slowly beside the one that stands, and touches nothing.

In the first step out of a stand the lifted foot may be as slow as one that rolls over its ball. But
it is higher than in its contacts before and after, while the other foot carries the body.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imujump.model import FloatArray, Side
from imujump.pipeline.body import Body
from imujump.pipeline.support import UNLOADED_MPS2, Spell, vertical_load

HOVER_M = 0.05
"""Lowest ankle over that of the contacts before and after from which a foot hovers (own choice: 995
of 1,000 true contacts of recorded and simulated jumps come down to 4 cm and lower)."""

TO_FLIGHT_S = 0.1
"""A push goes on to a flight within this time; its foot touched, however high it seems after an
impact beyond the sensor's range (own choice)."""


def without_hovering(body: Body, spells: Mapping[Side, list[Spell]]) -> Mapping[Side, list[Spell]]:
    """Coarse contacts of each foot, in order, without those.

    Parameters
    ----------
    body : Body
        Motion whose foot drift has been removed with a first set of contacts.
    spells : mapping of Side to list of Spell
        Coarse contacts, each list in order. The first and last of each foot always stay.
    """
    load = vertical_load(body)
    if load is None or len(spells) < 2:
        return spells
    kept: dict[Side, list[Spell]] = {}
    for side, own in spells.items():
        height_m = body.joint_position(side.shank)[:, 2]
        lowest_m = np.array([height_m[s.first : s.last + 1].min() for s in own])
        high = np.zeros(len(own), dtype=bool)
        high[1:-1] = lowest_m[1:-1] - np.maximum(lowest_m[:-2], lowest_m[2:]) > HOVER_M
        kept[side] = [
            spell
            for spell, hovers in zip(own, high.tolist(), strict=True)
            if not (hovers and _beside(spell, spells[side.other], load, body.step_s))
        ]
    return kept


def _beside(spell: Spell, others: list[Spell], load: FloatArray, step_s: float) -> bool:
    """Whether the other foot stands all the while and carries the body on."""
    on = load[spell.last : spell.last + round(TO_FLIGHT_S / step_s) + 1]
    stands = any(o.first <= spell.first and spell.last <= o.last for o in others)
    return stands and bool(on.min() > UNLOADED_MPS2)
