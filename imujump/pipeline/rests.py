"""Where each foot rests on the floor within a step, and the point that its shank turns about."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from imujump.model import IntArray, Side
from imujump.pipeline.body import SHANK_LEVER_M, Body
from imujump.pipeline.support import CORE_RATIO, Spell, slow_ratio
from imujump.pipeline.vectors import cross, rotate

LONGEST_STEP_CONTACT_S = 1.2
"""Longer contacts are stands, in which the foot need not pivot (own choice)."""

LEVER_SPREAD_M, LEVER_SPEED_MPS, LEVER_LIMITS_M = 0.03, 0.25, (0.05, 0.25)
"""How far the sensor may sit from its asked height, speed of the pivot itself during a contact,
and the lengths allowed (own choice)."""


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
            swing = rotate(path.rot[part], cross(path.gyro_radps[part], -up))
            # One contact counts as one look: its samples share one error.
            weight = 1.0 / (len(part) * LEVER_SPEED_MPS**2)
            turning += weight * float(np.sum(swing**2))
            against -= weight * float(np.sum(swing * path.velocity_mps[part]))
        found[side] = float(np.clip(against / turning, *LEVER_LIMITS_M))
    return found
