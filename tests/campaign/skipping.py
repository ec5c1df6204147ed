"""Skipping along: step and hop on one foot, step and hop on the other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imujump.model import Side
from imujump.simulate.body import side_sign
from imujump.simulate.gait import Runner
from imujump.simulate.script import Script

STEP_FLIGHT_S = 0.035

BENT_M, LANDED_M = -0.10, -0.03
"""Height of the hips against standing when a foot comes down to hop, and after the hop (own choice:
the leg must bend before it can throw the body up)."""


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
        runner.start(push, 0.8 * self.speed_mps, STEP_FLIGHT_S, LANDED_M)
        runner.support(
            push.other,
            contact_s=0.22,
            flight_s=STEP_FLIGHT_S,
            speed_out_mps=self.speed_mps,
            lead_m=0.40 * runner.vx_mps * 0.22,
            next_height_m=BENT_M,
        )
        side = push
        for number in range(2 * self.skips):
            hop = number % 2 == 0
            contact = 0.24 if hop else 0.20
            if hop:
                # The free leg is led through below the hips, its knee raised in the hop.
                free, body = side.other, script.body
                low = body.ankle_height_m
                for at_s, x_m, z_m in (
                    (0.5 * contact, -0.20, low + 0.25),
                    (contact + 0.5 * self.hop_flight_s, 0.12, low + 0.30),
                ):
                    y_m = side_sign(free) * 0.08
                    script.via(free, runner.time_s + at_s, x_m, y_m, z_m)
            runner.support(
                side,
                contact_s=contact,
                flight_s=self.hop_flight_s if hop else STEP_FLIGHT_S,
                speed_out_mps=min(self.speed_mps, 1.6)
                if number >= 2 * self.skips - 2
                else self.speed_mps,
                lead_m=0.40 * runner.vx_mps * contact,
                next_height_m=LANDED_M if hop else BENT_M,
                strike_pitch_rad=0.15,
                lift_m=0.08,
            )
            side = side if hop else side.other
        runner.stop(side)
