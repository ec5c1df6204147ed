"""Motions that several simulator tests share."""

from __future__ import annotations

from functools import cache

from imujump.model import Side, TakeOffStyle
from imujump.simulate.athlete import ApproachJump, write_jump
from imujump.simulate.body import Body
from imujump.simulate.motion import Motion
from imujump.simulate.script import Script

ONE_FOOT = ApproachJump(stand_before_s=0.5, stand_after_s=0.5, landing="right")
TWO_FOOT = ApproachJump(
    style=TakeOffStyle.TWO_FOOT,
    side=Side.RIGHT,
    approach_speed_mps=3.6,
    last_step_ratio=1.2,
    lowering_m=0.21,
    take_off_vertical_mps=2.8,
    turn_rad=0.6,
    stand_before_s=0.5,
    stand_after_s=0.5,
)


def motion_of(jump: ApproachJump, stature_m: float = 1.80) -> Motion:
    script = Script(Body(stature_m), heading_rad=0.4, x_m=3.0, y_m=-1.0)
    write_jump(jump, script)
    return Motion(script)


@cache
def one_foot() -> Motion:
    return motion_of(ONE_FOOT)


@cache
def two_foot() -> Motion:
    return motion_of(TWO_FOOT)
