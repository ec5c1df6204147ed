"""What an athlete does between jumps: stand, shift about, walk, turn, hop, stamp, run through.

Each block starts and ends in quiet standing and writes itself into a script, so blocks can
follow one another in any order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Side
from imujump.simulate.body import side_sign
from imujump.simulate.gait import Runner, contact_time_s, hump_rise_m
from imujump.simulate.script import Script

G = STANDARD_GRAVITY_MPS2

SWAY_STEP_S = 0.8
"""Time between turning points of the sway (own choice: sway lies below 1 Hz)."""


def _wander(
    script: Script, duration_s: float, generator: np.random.Generator, sizes: tuple[float, ...]
) -> None:
    """Shift the body at random about its place; ``sizes`` x, y, z metres, pitch, roll, yaw rad."""
    start, z = script.time_s, script.body.standing_hip_m
    count = int(duration_s / SWAY_STEP_S)
    step = duration_s / max(count, 1)
    for k in range(1, count):
        x, y, dz, pitch, roll, yaw = generator.normal(0.0, 1.0, 6) * sizes
        t = start + k * step
        script.knot(t, (x, y, z - abs(dz)))
        script.turn(t, yaw, pitch, roll)
    script.arrive(start + duration_s, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Stand:
    """Quiet standing with postural sway.

    Sway of 3 mm and a third of a degree is usual for healthy adults (common practice, no
    source).
    """

    duration_s: float = 4.0
    sway_m: float = 0.003

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block."""
        turn = 2.0 * self.sway_m
        _wander(
            script,
            self.duration_s,
            generator,
            (self.sway_m, self.sway_m, 0.1 * self.sway_m, turn, 0.5 * turn, turn),
        )


@dataclass(frozen=True, slots=True)
class Fidget:
    """Standing about: shifting weight, bending, looking around, feet in place."""

    duration_s: float = 8.0

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block."""
        _wander(script, self.duration_s, generator, (0.02, 0.035, 0.02, 0.12, 0.05, 0.20))


@dataclass(frozen=True, slots=True)
class TurnAround:
    """Turn on the spot by small steps; ``angle_rad`` left positive."""

    angle_rad: float = math.pi
    step_s: float = 0.55

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block."""
        body, half = script.body, script.stance_half_m
        count = max(2, math.ceil(abs(self.angle_rad) / 0.55))
        side = Side.LEFT if self.angle_rad > 0.0 else Side.RIGHT
        t, z = script.time_s, body.standing_hip_m
        script.knot(t + 0.05, (0.0, 0.0, z))
        script.turn(t + 0.05)
        t += 0.1
        for k in range(count + 1):
            yaw = self.angle_rad * min(1.0, (k + 1) / count)
            s = side_sign(side)
            lean = 0.5 * half * -s
            script.lift(side, t + 0.18, 0.14, 0.35)
            strike = t + self.step_s - 0.04
            script.raise_ankle(side, t + 0.35, body.ankle_height_m + 0.06)
            x = -body.ankle_behind_m * math.cos(yaw) - s * half * math.sin(yaw)
            y = -body.ankle_behind_m * math.sin(yaw) + s * half * math.cos(yaw)
            script.strike(
                side, strike, x, y, yaw_rad=yaw, pitch_rad=0.10, impact_mps=0.25, settle_s=0.06
            )
            along = self.angle_rad * min(1.0, (k + 0.7) / count)
            sideways = (-lean * math.sin(along), lean * math.cos(along))
            script.knot(t + 0.34, (*sideways, z - 0.01))
            script.turn(t + self.step_s - 0.05, along, 0.02)
            side = side.other
            t += self.step_s
        script.arrive(t + 0.5, 0.0, 0.0, self.angle_rad)


@dataclass(frozen=True, slots=True)
class Walk:
    """Walk straight ahead; the last steps shorten to reach the distance."""

    distance_m: float = 10.0
    speed_mps: float = 1.3
    step_m: float = 0.65

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block."""
        body, z0 = script.body, script.body.standing_hip_m
        count = max(3, round(self.distance_m / self.step_m))
        length = self.distance_m / count
        step = length / self.speed_mps
        side = Side.LEFT if generator.random() < 0.5 else Side.RIGHT
        # Strikes at begin + k step; the body passes over the foot half a step later.
        begin = script.time_s + 0.75
        behind, width = body.ankle_behind_m, 0.05
        v, sink = self.speed_mps, 0.035 + 0.025 * length
        swing = 0.012 + 0.01 * length
        bend = swing * (2.0 * math.pi / step) ** 2
        y, vy = 0.018, 0.018 * math.pi / step
        # Weight goes to the first standing foot, then the body falls forward.
        first_x = 0.5 * length - 0.12
        script.knot(script.time_s + 0.02, (0.0, 0.0, z0))
        script.turn(script.time_s + 0.02)
        script.lift(side, begin - 0.42, 0.20, 0.5)
        final_x = self.distance_m - behind
        carrying = side.other
        for k in range(count + 2):
            t = begin + k * step
            s = side_sign(side)
            ends = k >= count
            left = script.stances[side][-1].toe_off_s
            assert left is not None
            script.raise_ankle(side, left + 0.4 * (t - left), body.ankle_height_m + 0.10)
            script.strike(
                side,
                t,
                final_x if ends else first_x + 0.26 * length + k * length,
                s * (script.stance_half_m if ends else width),
                pitch_rad=-0.12 if ends else -0.24,
                settle_s=0.08,
                impact_mps=0.25 if ends else 0.45,
                impact_s=0.018,
            )
            if k > count:
                break
            script.lift(carrying, t + 0.16 * step, 0.42 * step)
            script.turn(t, -0.06 * s, 0.03)
            x = first_x + k * length
            if k < count - 1:
                script.knot(t, (x, 0.0, z0 - sink - swing), (v, s * vy, 0.0), (0.0, 0.0, bend))
                script.turn(t + 0.5 * step, 0.0, 0.03, 0.04 * s, 0.06 * s * math.pi / step)
            elif k == count - 1:
                script.knot(t, (x, 0.0, z0 - sink), (0.8 * v, 0.5 * s * vy, 0.0))
            else:
                x = self.distance_m - 0.12
                script.knot(t, (x, 0.0, z0 - 0.6 * sink), (0.3 * v, 0.0, 0.0))
            if k < count - 2:
                script.knot(
                    t + 0.5 * step,
                    (x + 0.5 * length, s * y, z0 - sink + swing),
                    (v, 0.0, 0.0),
                    (0.0, 0.0, -bend),
                )
            carrying, side = side, side.other
        script.arrive(begin + (count + 1) * step + 0.35, self.distance_m, 0.0)


@dataclass(frozen=True, slots=True)
class Bounce:
    """Two-footed hops on the spot."""

    hops: int = 6
    flight_s: float = 0.34
    contact_s: float = 0.24

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block."""
        body, z0 = script.body, script.body.standing_hip_m
        half, behind = script.stance_half_m, body.ankle_behind_m
        up = 0.5 * G * self.flight_s
        toe_z = z0 + 0.015
        t = script.time_s
        script.knot(t + 0.05, (0.0, 0.0, z0))
        script.knot(t + 0.40, (0.0, 0.0, z0 - 0.16), (0.0, 0.0, 0.0), (0.0, 0.0, 9.0))
        script.turn(t + 0.05)
        script.turn(t + 0.40, 0.0, 0.15)
        t += 0.62
        # The rise over a contact follows from the hop's speeds; a symmetric hump returns it.
        assert abs(hump_rise_m(-up, up, self.contact_s, 0.5)) < 1e-12
        for hop in range(self.hops):
            script.knot(t, (0.0, 0.0, toe_z), (0.0, 0.0, up), (0.0, 0.0, -G))
            script.turn(t, 0.0, 0.03)
            lag = float(generator.uniform(0.003, 0.012))
            first = Side.LEFT if generator.random() < 0.5 else Side.RIGHT
            for side in Side:
                script.lift(side, t - (0.004 if side is first else 0.0), 0.08, 0.55)
            t += self.flight_s
            last = hop == self.hops - 1
            for side in (first, first.other):
                script.strike(
                    side,
                    t + (0.0 if side is first else lag),
                    -behind,
                    side_sign(side) * half,
                    pitch_rad=0.32,
                    settle_s=0.07,
                    impact_mps=0.5 * up,
                )
            script.knot(t, (0.0, 0.0, toe_z), (0.0, 0.0, -up), (0.0, 0.0, -G))
            script.shock(t + 0.004, 0.03, 0.15 * up)
            if last:
                script.knot(
                    t + 0.16, (0.0, 0.0, toe_z - 0.075 * up), (0.0, 0.0, 0.0), (0.0, 0.0, 9.0)
                )
                script.turn(t + 0.2, 0.0, 0.12)
                script.arrive(t + 0.75, 0.0, 0.0)
            else:
                t += self.contact_s


@dataclass(frozen=True, slots=True)
class Stamp:
    """One foot lifted and stamped down where it stood, then quiet standing.

    ``impact_mps`` is the speed that the floor takes from the shank, ``passed_on`` the part of
    it that reaches the pelvis (own choice: peaks of some 10 g at the shank, 2 g at the pelvis).
    """

    side: Side = Side.LEFT
    impact_mps: float = 1.0
    passed_on: float = 0.3

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block."""
        body, half = script.body, script.stance_half_m
        t, z, s = script.time_s, body.standing_hip_m, side_sign(self.side)
        script.knot(t + 0.05, (0.0, 0.0, z))
        script.turn(t + 0.05)
        # Weight goes to the other foot first.
        script.knot(t + 0.50, (0.0, -0.6 * half * s, z - 0.01))
        script.turn(t + 0.50, 0.0, 0.02, 0.02 * s)
        script.lift(self.side, t + 0.55, 0.14, 0.35)
        script.raise_ankle(self.side, t + 0.80, body.ankle_height_m + 0.15)
        strike = t + 1.0
        script.strike(
            self.side,
            strike,
            -body.ankle_behind_m,
            s * half,
            settle_s=0.05,
            impact_mps=self.impact_mps,
            impact_s=0.015,
        )
        script.knot(strike, (0.0, -0.5 * half * s, z - 0.015))
        script.shock(strike + 0.004, 0.03, self.passed_on * self.impact_mps)
        script.arrive(strike + 1.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class RunThrough:
    """A run-up without a jump: speed up, run on, slow down, stop."""

    speed_mps: float = 4.0
    steps: int = 6
    flight_s: float = 0.10
    width_m: float = 0.10

    def write(self, script: Script, generator: np.random.Generator) -> None:
        """Write the block."""
        runner = Runner(script, width_m=self.width_m)
        push = Side.LEFT if generator.random() < 0.5 else Side.RIGHT
        v = self.speed_mps
        first = min(0.8 * v, max(1.3, 0.34 * v))
        height = -0.012 - 0.004 * v
        runner.start(push, first, 0.035, height)
        side = push.other
        speeds = [first + (v - first) * min(1.0, (k + 1) / 3) for k in range(self.steps)]
        while speeds[-1] > 1.6:
            speeds.append(max(1.4, speeds[-1] - 0.65))
        for speed in speeds:
            contact = contact_time_s(runner.vx_mps)
            slowing = speed < runner.vx_mps - 0.05
            share = 0.42 - 0.25 * (speed - runner.vx_mps) / max(runner.vx_mps, 1.0)
            runner.support(
                side,
                contact_s=contact,
                flight_s=max(0.035, self.flight_s * (speed / v) ** 1.5),
                speed_out_mps=speed,
                lead_m=share * 0.5 * (runner.vx_mps + speed) * contact,
                next_height_m=height - (0.02 if slowing else 0.0),
                tilt_rad=-0.02 if slowing else None,
            )
            side = side.other
        runner.stop(side)
