"""An approach jump written as a motion: run-up, plant, take-off, flight, landing, stop."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from imujump.model import Placement
from imujump.simulate.body import Body
from imujump.simulate.gait import Runner
from imujump.simulate.landing import land
from imujump.simulate.motion import Motion
from imujump.simulate.run_up import run_up
from imujump.simulate.script import JumpMark, Script
from imujump.simulate.take_off import take_off
from imujump.simulate.technique import LEAST_CONTACT_S, ApproachJump, ReachError

__all__ = ["ApproachJump", "ReachError", "write_jump"]

LOWERING_MET_M = 0.0005
LOWERING_MISS_M = 0.015
LOWERING_TRIALS = 5
HIGHEST_PLANT_M = -0.01
"""A lowering met within the first figure is good; missed by more than the second it shortens
the contact. Trials to meet it, and the highest plant they may try."""


def write_jump(jump: ApproachJump, script: Script) -> None:
    """Write an approach jump into a script that stands still.

    Raises
    ------
    ReachError
        If no leg could reach that far; the sentence says which parameter to change.
    ValueError
        If the last steps cannot have the ratio asked for.
    """
    bare = replace(jump, stand_before_s=0.3, stand_after_s=0.3)
    contact_s, height = _settle(bare, script.body, script.stance_half_m)
    _write(replace(jump, take_off_contact_s=contact_s), script, height)


@lru_cache(maxsize=256)
def _settle(jump: ApproachJump, body: Body, stance_half_m: float) -> tuple[float, float]:
    """Plant contact and plant height that meet the lowering asked for."""
    trial, best = jump, None
    while True:
        try:
            height, deeper_m = _plant_height_m(trial, body, stance_half_m)
            best = (trial.contact_s, height)
            if deeper_m < LOWERING_MISS_M:
                return best
        except ReachError:
            if best is None and not _may_shorten(trial, jump):
                raise
        # Over a shorter contact the hips sink and rise less.
        if not _may_shorten(trial, jump):
            break
        trial = replace(trial, take_off_contact_s=trial.contact_s - 0.01)
    assert best is not None
    return best


def _may_shorten(trial: ApproachJump, asked: ApproachJump) -> bool:
    free = asked.take_off_contact_s is None
    return free and trial.contact_s - 0.01 >= LEAST_CONTACT_S[asked.style]


def _plant_height_m(jump: ApproachJump, body: Body, stance_half_m: float) -> tuple[float, float]:
    """Height of the centre of mass at the plant that lowers the pelvis as asked.

    The pelvis sinks on in the plant, and lifted legs push it below the centre of mass:
    trials tell by how much. Also returns how much deeper than asked the pelvis goes.
    """
    height = min(HIGHEST_PLANT_M, 0.05 - jump.lowering_m)
    tried: dict[float, float] = {}
    for _ in range(LOWERING_TRIALS):
        sketch = Script(body, stance_half_m=stance_half_m)
        _write(jump, sketch, height)
        motion, mark = Motion(sketch), sketch.jumps[-1]
        strikes = motion.feet[mark.side.other].strike_s
        t = np.linspace(strikes[strikes < mark.plant_s].max(), mark.toe_off_s, 200)
        lowest = motion.sensor(Placement.PELVIS, t).position.value[:, 2].min()
        still = motion.sensor(Placement.PELVIS, np.zeros(1)).position.value[0, 2]
        deeper = tried[height] = float(still - lowest - jump.lowering_m)
        if abs(deeper) < LOWERING_MET_M or (height == HIGHEST_PLANT_M and deeper > 0.0):
            break
        height = min(HIGHEST_PLANT_M, height + deeper)
    best = min(tried, key=lambda h: abs(tried[h]))
    return best, tried[best]


def _write(jump: ApproachJump, script: Script, plant_height_m: float) -> None:
    still_from = script.time_s
    _stand(script, jump.stand_before_s)
    start = script.time_s
    runner = Runner(script, width_m=jump.step_width_m, pitch_rad=jump.run_tilt_rad)
    run_up(jump, runner, plant_height_m)
    plant = runner.time_s
    take_off(jump, runner)
    toe_off = runner.time_s
    landing = land(jump, runner)
    _stand(script, jump.stand_after_s)
    script.jumps.append(
        JumpMark(jump.style, jump.side, start, still_from, plant, toe_off, landing, script.time_s)
    )


def _stand(script: Script, duration_s: float) -> None:
    script.knot(script.time_s + duration_s, (0.0, 0.0, script.body.standing_hip_m))
    script.turn(script.time_s + duration_s)
    script.time_s += duration_s
