"""Contacts of a foot that lands and is thrown up again at once.

Stepping out of a landing, a foot may stay down for a tenth of a second and never come to rest,
so that its speed does not tell. But only the floor turns a falling foot at standing height.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imujump.model import Side
from imujump.pipeline.body import Body
from imujump.pipeline.support import STANCE_HEIGHT_M, Spell, slow_ratio, spells_where
from imujump.pipeline.touchdown import LANDING_FLIGHT_S, SECOND_FOOT_S

BOUNCE_S, DOWN_MPS, UP_MPS = 0.08, 1.0, 0.7
"""A foot that turns within 3 cm of its standing height from falling faster than 1 m/s to rising
faster than 0.7 m/s, each at most 80 ms away, was thrown up by the floor (own choice; people of the
motion-capture clips fall at 2 and rise at 1.5 m/s; a swinging foot turns 10 cm higher)."""


def with_landing_touches(
    body: Body, spells: Mapping[Side, list[Spell]]
) -> Mapping[Side, list[Spell]]:
    """Coarse contacts of each foot, in order, with such touches added.

    Looked for only beside a landing from a flight longer than a running step's: in the run-up a
    foot that swings low past the other leg looks alike.

    Parameters
    ----------
    body : Body
        Motion whose foot drift has been removed with a first set of contacts.
    spells : mapping of Side to list of Spell
        Coarse contacts, each list in order.
    """
    everyone = [spell for each in spells.values() for spell in each]
    return {
        side: sorted([*own, *_touches(body, side, own, everyone)], key=lambda spell: spell.first)
        for side, own in spells.items()
    }


def _touches(body: Body, side: Side, own: list[Spell], everyone: list[Spell]) -> list[Spell]:
    h = body.step_s
    rise = body.joint_velocity(side.shank)[:, 2]
    height = body.joint_position(side.shank)[:, 2]
    height = np.abs(height - height[0])
    reach, along = round(BOUNCE_S / h), SECOND_FOOT_S / h
    found = []
    for touch in spells_where(height < STANCE_HEIGHT_M, slow_ratio(body, side)):
        low = touch.first + int(np.argmin(height[touch.first : touch.last + 1]))
        down, up = rise[max(low - reach, 0) : low + 1].min(), rise[low : low + reach + 1].max()
        if down > -DOWN_MPS or up < UP_MPS:
            continue
        if any(s.first - reach < touch.last and touch.first < s.last + reach for s in own):
            continue
        left = max((s.last for s in everyone if s.first < low - along), default=0)
        came = min((s.first for s in everyone if s.first >= low - along), default=touch.first)
        if min(came, touch.first) - left >= LANDING_FLIGHT_S / h:
            found.append(touch)
    return found
