"""Skipping along: step and hop on one foot, step and hop on the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imujump.model import Side
from imujump.simulate.gait import Runner
from imujump.simulate.script import Script

STEP_FLIGHT_S = 0.035


@dataclass(frozen=True, slots=True)
class Skip:
    """Easy skips of a warm-up; with hops above 0.25 s each would be a small jump itself.

    A block like those of :mod:`imujump.simulate.movements`.
    """

    skips: int = 6
    speed_mps: float = 1.9
    hop_flight_s: float = 0.20

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block."""
        runner = Runner(script, width_m=0.12)
        push = Side.LEFT if generator.random() < 0.5 else Side.RIGHT
        height = -0.02
        runner.start(push, 0.8 * self.speed_mps, STEP_FLIGHT_S, height)
        side = push.other
        for number in range(2 * self.skips):
            hop = number % 2 == 0
            contact = 0.24 if hop else 0.20
            runner.support(
                side,
                contact_s=contact,
                flight_s=self.hop_flight_s if hop else STEP_FLIGHT_S,
                speed_out_mps=min(self.speed_mps, 1.6)
                if number >= 2 * self.skips - 2
                else self.speed_mps,
                lead_m=0.40 * runner.vx_mps * contact,
                next_height_m=height,
                strike_pitch_rad=0.15,
                lift_m=0.08,
            )
            side = side if hop else side.other
        runner.stop(side)
