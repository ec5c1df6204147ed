"""An approach jump with chosen technique: run-up, plant, take-off, flight, landing, stop.

The parameters' ranges follow the literature: approach 2.5 to 7 m/s, contacts 0.10 to 0.20 s
in the run-up, 0.18 to 0.28 s at a one-foot and 0.28 to 0.40 s at a two-foot take-off, plant
interval 0.03 to 0.12 s, flight 0.4 to 0.75 s, hips lowered 0.05 to 0.25 m.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement, Side, TakeOffStyle
from imujump.simulate.body import Body, side_sign
from imujump.simulate.gait import (
    EARLIEST_SHARE,
    LATEST_SHARE,
    Runner,
    contact_time_s,
    hump_centre,
    hump_rise_m,
)
from imujump.simulate.landing import land
from imujump.simulate.motion import Motion
from imujump.simulate.script import JumpMark, Script

G = STANDARD_GRAVITY_MPS2

LAST_FLIGHT_LIMITS_S = (0.025, 0.21)
PENULTIMATE_FLIGHT_LIMITS_S = (0.04, 0.19)
"""Flights of the last two steps that the step ratio may be reached with (own choice)."""

CLOSING_SWING_S = 0.17
"""Least time in which the second plant foot closes up from behind (own choice: faster would
need a shank beyond 25 g)."""

PLANT_REACH_SHARE = 0.965
"""Hip to ankle over leg length at plant touchdown: knee bent by 25 degrees (own choice)."""

TAKE_OFF_REACH_SHARE = 0.935
"""Hip to ankle over leg length at the toe-off of a jump (own choice: the rest is needed to
slow the opening knee)."""

PUSH_CENTRE_SHARE = 0.775
LATEST_PUSH_SHARE = 0.69
"""A hard late push is centred here in the contact; at most half of the impulse may come from
it, which centres the whole at the second figure (own choice, still a force that pushes)."""

LEAST_CONTACT_S = {TakeOffStyle.ONE_FOOT: 0.145, TakeOffStyle.TWO_FOOT: 0.25}
"""Shortest plant contact chosen where none is asked for; just below the usual spans of court
jumps, 0.18 to 0.28 and 0.28 to 0.40 s (general literature), for the fastest approaches."""

LOWERING_MISS_M = 0.015
LOWERING_TRIALS = 5
HIGHEST_PLANT_M = -0.01
"""A lowering missed by more than this shortens the contact; trials to meet the lowering, and
the highest plant they may try."""

TAKE_OFF_RISE_RAD = 0.80
"""Foot pitch at the toe-off of a jump, heel up (own choice: ankle well extended)."""


class ReachError(ValueError):
    """The technique asked for would stretch the leg beyond its length."""


@dataclass(frozen=True, slots=True)
class ApproachJump:
    """Technique of one approach jump. ``None`` stands for a usual value at that speed.

    Attributes
    ----------
    style, side : TakeOffStyle, Side
        Take-off, and its foot (two-foot: the foot that plants first).
    steps : int
        Foot strikes from the start to the plant's first, 3 to 14.
    approach_speed_mps : float
        Speed that the build-up reaches.
    build_up_steps : int
        Steps until that speed is reached.
    step_flight_s : float
        Flight between run-up contacts at full speed.
    contact_scale : float
        Factor on the run-up's contact times.
    last_step_ratio : float
        Last over penultimate step length.
    step_width_m : float
        Distance between the feet's tracks in the run-up.
    lowering_m : float
        Standing height of the pelvis sensor minus its lowest from the penultimate touchdown
        to toe-off, met within a millimetre unless the plant would have to be higher than
        standing (the truth says what it came to).
    penultimate_contact_s, take_off_contact_s, plant_interval_s : float or None
        Contact before the last step, plant contact, and time between the two plant feet.
    take_off_vertical_mps, take_off_speed_mps : float
        Speed upwards and forwards at the last toe-off.
    turn_rad : float
        Pelvis yaw from plant touchdown to landing, left positive.
    plant_tilt_rad, run_tilt_rad : float
        Pelvis pitch at the plant and in the run-up, against standing, forward positive.
    free_leg_lift_m : float
        Height of the free ankle below the hips at a one-foot take-off is the leg's length
        less this.
    arm_rise_m : float
        How far raised arms lift the centre of mass against the pelvis.
    landing : "left", "right" or "both"
        Feet that land together, ``landing_lag_s`` apart (positive: left first).
    landing_drop_m : float
        Centre of mass lower at landing than at toe-off.
    stand_before_s, stand_after_s : float
        Quiet standing before the first step and after the last.
    """

    style: TakeOffStyle = TakeOffStyle.ONE_FOOT
    side: Side = Side.LEFT
    steps: int = 6
    approach_speed_mps: float = 4.2
    build_up_steps: int = 3
    step_flight_s: float = 0.11
    contact_scale: float = 1.0
    last_step_ratio: float = 0.92
    step_width_m: float = 0.10
    lowering_m: float = 0.15
    penultimate_contact_s: float | None = None
    take_off_contact_s: float | None = None
    plant_interval_s: float = 0.07
    take_off_vertical_mps: float = 2.7
    take_off_speed_mps: float | None = None
    turn_rad: float = 0.2
    plant_tilt_rad: float = -0.12
    run_tilt_rad: float = 0.12
    free_leg_lift_m: float = 0.29
    arm_rise_m: float = 0.06
    landing: str = "both"
    landing_lag_s: float = 0.012
    landing_drop_m: float = 0.06
    stand_before_s: float = 3.0
    stand_after_s: float = 2.0

    def __post_init__(self) -> None:
        limits = {
            "steps": (3, 14),
            "approach_speed_mps": (2.0, 7.0),
            "last_step_ratio": (0.6, 1.6),
            "lowering_m": (0.0, 0.25),
            "plant_interval_s": (0.02, 0.15),
            "take_off_vertical_mps": (1.6, 4.2),
            "turn_rad": (-2.0, 2.0),
            "stand_before_s": (0.3, 3600.0),
            "stand_after_s": (0.3, 3600.0),
        }
        for name, (low, high) in limits.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} is {value}, must lie within {low} and {high}")
        if self.landing not in ("left", "right", "both"):
            raise ValueError(f"landing is {self.landing!r}, must be left, right or both")

    @property
    def contact_s(self) -> float:
        """Plant contact, first touchdown to last toe-off."""
        if self.take_off_contact_s is not None:
            return self.take_off_contact_s
        one = self.style is TakeOffStyle.ONE_FOOT
        down, rise = (-0.4, self.lowering_m) if one else (-1.0, self.lowering_m - 0.06)
        contact = 0.28 - 0.015 * self.approach_speed_mps
        if not one:
            contact = 0.37 - 0.018 * self.approach_speed_mps
        least = LEAST_CONTACT_S[self.style]
        # A long contact at great speed upwards needs more way than the hips have.
        while contact > least and rise < hump_rise_m(
            down, self.take_off_vertical_mps, contact, LATEST_SHARE + 0.02
        ):
            contact -= 0.005
        return contact

    @property
    def leaving_speed_mps(self) -> float:
        """Forward speed at the last toe-off."""
        if self.take_off_speed_mps is not None:
            return self.take_off_speed_mps
        share = 0.70 if self.style is TakeOffStyle.ONE_FOOT else 0.40
        return share * self.approach_speed_mps

    def write(self, script: Script) -> None:
        """Write the jump into a script that stands still."""
        jump, best = self, None
        while True:
            try:
                height, deeper_m = jump._plant_height_m(script)
                best = (jump, height)
                if deeper_m < LOWERING_MISS_M:
                    break
            except ReachError:
                if best is None and not jump._may_shorten(self):
                    raise
            # Over a shorter contact the hips sink and rise less.
            if not jump._may_shorten(self):
                break
            jump = replace(jump, take_off_contact_s=jump.contact_s - 0.01)
        assert best is not None
        best[0]._write(script, best[1])

    def _may_shorten(self, asked: ApproachJump) -> bool:
        free = asked.take_off_contact_s is None
        return free and self.contact_s - 0.01 >= LEAST_CONTACT_S[self.style]

    def _plant_height_m(self, script: Script) -> tuple[float, float]:
        """Height of the centre of mass at the plant that lowers the pelvis as asked.

        The pelvis sinks on in the plant, and lifted legs push it below the centre of mass:
        trials tell by how much. Also returns how much deeper than asked the pelvis goes.
        """
        height = min(HIGHEST_PLANT_M, 0.05 - self.lowering_m)
        trial = replace(self, stand_before_s=0.3, stand_after_s=0.3)
        for _ in range(LOWERING_TRIALS):
            sketch = Script(script.body, stance_half_m=script.stance_half_m)
            trial._write(sketch, height)
            motion, mark = Motion(sketch), sketch.jumps[-1]
            strikes = motion.feet[mark.side.other].strike_s
            t = np.linspace(strikes[strikes < mark.plant_s].max(), mark.toe_off_s, 200)
            lowest = motion.sensor(Placement.PELVIS, t).position.value[:, 2].min()
            still = motion.sensor(Placement.PELVIS, np.zeros(1)).position.value[0, 2]
            deeper = float(still - lowest - self.lowering_m)
            if abs(deeper) < 0.0005 or (height == HIGHEST_PLANT_M and deeper > 0.0):
                break
            height = min(HIGHEST_PLANT_M, height + deeper)
        return height, deeper

    def _write(self, script: Script, plant_height_m: float) -> None:
        script.knot(script.time_s + self.stand_before_s, (0.0, 0.0, script.body.standing_hip_m))
        script.turn(script.time_s + self.stand_before_s)
        still_from, script.time_s = script.time_s, script.time_s + self.stand_before_s
        start = script.time_s
        runner = Runner(script, width_m=self.step_width_m, pitch_rad=self.run_tilt_rad)
        self._run_up(runner, plant_height_m)
        plant = runner.time_s
        if self.style is TakeOffStyle.ONE_FOOT:
            self._plant_one_foot(runner)
        else:
            self._plant_two_feet(runner)
        toe_off = runner.time_s
        landing = land(self, runner, plant)
        end = script.time_s
        script.knot(end + self.stand_after_s, (0.0, 0.0, script.body.standing_hip_m))
        script.turn(end + self.stand_after_s)
        script.time_s = end + self.stand_after_s
        script.jumps.append(
            JumpMark(
                self.style, self.side, start, still_from, plant, toe_off, landing, script.time_s
            )
        )

    def _speeds(self) -> list[float]:
        """Forward speed at toe-off of each contact, the push-off first."""
        v = self.approach_speed_mps
        first = min(0.75 * v, max(1.3, 0.34 * v))
        build = min(self.build_up_steps, self.steps - 1)
        return [first + (v - first) * min(1.0, k / build) ** 0.8 for k in range(self.steps)]

    def _lead_m(self, speed_in_mps: float, speed_out_mps: float, contact_s: float) -> float:
        """Ankle ahead of the hips at a strike: less where the contact speeds the body up."""
        share = 0.42 - 0.25 * (speed_out_mps - speed_in_mps) / max(speed_in_mps, 1.0)
        return max(0.05, share) * 0.5 * (speed_in_mps + speed_out_mps) * contact_s

    def _plant_lead_m(self, body: Body, speed_in_mps: float, height_m: float) -> float:
        """First plant ankle ahead of the hips: about half their way over it, within reach."""
        share = 0.54 if self.style is TakeOffStyle.ONE_FOOT else 0.52
        # Lifted legs hold the pelvis about 4 cm below its standing place under the centre.
        above = body.standing_hip_m + height_m - 0.04 - body.ankle_height_m - 0.02
        limit = math.sqrt(max(0.0, (PLANT_REACH_SHARE * body.leg_m) ** 2 - above**2))
        return min(limit, share * self._plant_travel_m(speed_in_mps))

    def _lead_now_m(self, runner: Runner) -> float:
        height = runner.z_m - runner.stand_z_m
        return self._plant_lead_m(runner.script.body, runner.vx_mps, height)

    def _plant_travel_m(self, speed_in_mps: float) -> float:
        """Hip path over the plant; braking comes first, centred at 0.43 of the contact."""
        change = self.leaving_speed_mps - speed_in_mps
        return (speed_in_mps + 0.57 * change) * self.contact_s

    def _run_up(self, runner: Runner, plant_height_m: float) -> None:
        speeds, n = self._speeds(), self.steps
        run_height = -0.012 - 0.004 * self.approach_speed_mps
        heights = [run_height] * (n + 1)
        heights[n] = plant_height_m
        heights[n - 1] = run_height + 0.35 * min(0.0, plant_height_m - run_height)
        contacts = [
            self.contact_scale * contact_time_s(speeds[max(k - 1, 0)]) for k in range(n)
        ]
        contacts[n - 1] = self.penultimate_contact_s or 1.12 * contacts[n - 1]
        leads = [0.0]
        leads += [
            self._lead_m(speeds[k - 1], speeds[k], contacts[k]) for k in range(1, n)
        ]
        leads.append(self._plant_lead_m(runner.script.body, speeds[n - 1], plant_height_m))
        flights = [
            max(0.035, self.step_flight_s * (speeds[k] / self.approach_speed_mps) ** 1.5)
            for k in range(n)
        ]
        flights[0] = 0.035
        self._fit_last_steps(speeds, contacts, leads, flights)
        push = self.side if n % 2 == 0 else self.side.other
        runner.start(push, speeds[0], flights[0], heights[1])
        side = push.other
        for k in range(1, n):
            last = k == n - 1
            runner.support(
                side,
                contact_s=contacts[k],
                flight_s=flights[k],
                speed_out_mps=speeds[k],
                lead_m=leads[k],
                next_height_m=heights[k + 1],
                strike_pitch_rad=-0.30 if last else -0.22,
                tilt_rad=0.3 * self.run_tilt_rad if last else None,
            )
            side = side.other

    def _fit_last_steps(
        self, speeds: list[float], contacts: list[float], leads: list[float], flights: list[float]
    ) -> None:
        """Choose the flights of the last two steps so that their lengths have the ratio asked."""
        n = self.steps

        def ground_m(k: int) -> float:
            travel = 0.5 * (speeds[k - 1] + speeds[k]) * contacts[k]
            return travel * (1.0 - 0.008) + leads[k + 1] - leads[k]

        last, before = n - 1, n - 2
        v = speeds[last]
        if before == 0:
            return
        low, high = LAST_FLIGHT_LIMITS_S
        if self.style is TakeOffStyle.TWO_FOOT:
            low = max(low, CLOSING_SWING_S - self.plant_interval_s)
        for penultimate_s in [
            flights[before],
            *[
                PENULTIMATE_FLIGHT_LIMITS_S[0]
                + (PENULTIMATE_FLIGHT_LIMITS_S[1] - PENULTIMATE_FLIGHT_LIMITS_S[0]) * i / 30.0
                for i in range(31)
            ],
        ]:
            length = ground_m(before) + speeds[before] * penultimate_s
            flight = (self.last_step_ratio * length - ground_m(last)) / v
            if low <= flight <= high:
                flights[before], flights[last] = penultimate_s, flight
                return
        raise ValueError(
            f"last_step_ratio is {self.last_step_ratio}: at {v:.1f} m/s no flight time of the "
            "last two steps gives it; change the ratio, the speed or the contact times"
        )

    def _lift_off(self, runner: Runner, ankle_x_m: float, lower_m: float) -> float:
        """Rise over the plant, as near as can be to what the stretched leg reaches.

        ``lower_m`` is how far lifted legs hold the pelvis below its standing place under
        the centre of mass.
        """
        body = runner.script.body
        c, s = math.cos(TAKE_OFF_RISE_RAD), math.sin(TAKE_OFF_RISE_RAD)
        ankle_x = ankle_x_m + body.ball_m * (1.0 - c) + body.ankle_height_m * s
        ankle_z = body.ball_m * s + body.ankle_height_m * c
        back = runner.x_m + self._plant_travel_m(runner.vx_mps) - ankle_x
        reach = TAKE_OFF_REACH_SHARE * body.leg_m
        if abs(back) > 0.8 * reach:
            raise ReachError(
                f"take_off_speed_mps is {self.leaving_speed_mps:.1f}: the hips would leave "
                f"{back:.2f} m past the foot; shorten the contact or lower the speed"
            )
        target_m = ankle_z + math.sqrt(reach**2 - back**2) + lower_m + self.arm_rise_m
        down, up, t = runner.vz_mps, self.take_off_vertical_mps, self.contact_s
        rise = target_m - runner.z_m
        late = min(LATEST_PUSH_SHARE, max(EARLIEST_SHARE, hump_centre(down, up, t, rise)))
        rise = hump_rise_m(down, up, t, late)
        if runner.z_m + rise > target_m + 0.02:
            raise ReachError(
                f"take_off_vertical_mps is {up:.2f}: over {t:.2f} s of contact the hips would "
                f"rise {runner.z_m + rise - target_m:.2f} m beyond the leg's reach; shorten the "
                "contact or lower the hips more"
            )
        if late > LATEST_SHARE:
            share = (late - LATEST_SHARE) / (PUSH_CENTRE_SHARE - LATEST_SHARE)
            impulse = share * (up - down + G * t)
            runner.script.shock(runner.time_s + 0.56 * t, 0.43 * t, impulse)
        return rise

    def _turn_rate_radps(self) -> float:
        """Yaw rate at toe-off: half of it on average over the plant, all of it in flight."""
        flight = self.flight_s
        return self.turn_rad / (0.5 * self.contact_s + flight)

    @property
    def flight_s(self) -> float:
        """Last toe-off to first landing contact."""
        up = self.take_off_vertical_mps
        return (up + math.sqrt(up**2 + 2.0 * G * self.landing_drop_m)) / G

    def _leave(self, runner: Runner, rise_m: float, plant_s: float) -> None:
        """Move the state to the last toe-off and write its knots."""
        script, t = runner.script, self.contact_s
        rate = self._turn_rate_radps()
        runner.x_m += self._plant_travel_m(runner.vx_mps)
        runner.z_m += rise_m
        runner.time_s = plant_s + t
        runner.vx_mps, runner.vy_mps = self.leaving_speed_mps, 0.0
        runner.vz_mps = self.take_off_vertical_mps
        runner.knot()
        script.turn(runner.time_s, 0.5 * rate * t, 0.08, 0.0, rate)
        script.arms.append((plant_s + 0.05 * t, 0.0))
        script.arms.append((runner.time_s, self.arm_rise_m))
        script.arms.append((runner.time_s + 0.55 * self.flight_s, self.arm_rise_m))

    def _plant_one_foot(self, runner: Runner) -> None:
        script, side, t0 = runner.script, self.side, runner.time_s
        s, t = side_sign(side), self.contact_s
        plant_x = runner.x_m + self._lead_now_m(runner)
        runner.strike(
            side,
            plant_x,
            s * runner.half_m * 0.6,
            pitch_rad=-0.28,
            lift_m=0.05 + 0.055 * runner.vx_mps,
            impact_mps=max(0.7, -runner.vz_mps),
        )
        runner.knot()
        runner.impact(share=0.16)
        script.turn(t0, 0.0, self.plant_tilt_rad)
        low = runner.z_m
        rise = self._lift_off(runner, plant_x, 0.035)
        self._leave(runner, rise, t0)
        script.lift(side, runner.time_s, 0.42 * t, TAKE_OFF_RISE_RAD)
        # The free leg trails with a folded knee, passes the other knee and drives up.
        free = side.other
        driven = runner.z_m - runner.script.body.leg_m + self.free_leg_lift_m
        script.via(free, t0 + 0.25 * t, -0.20, -s * 0.08, low - 0.60)
        script.via(free, t0 + 0.95 * t, 0.18, -s * 0.09, driven)

    def _plant_two_feet(self, runner: Runner) -> None:
        script, side, t0 = runner.script, self.side, runner.time_s
        s, t, gap = side_sign(side), self.contact_s, self.plant_interval_s
        first_x = runner.x_m + self._lead_now_m(runner)
        runner.strike(
            side,
            first_x,
            s * 0.12,
            pitch_rad=-0.30,
            yaw_rad=-0.15 * s,
            lift_m=0.05 + 0.055 * runner.vx_mps,
            impact_mps=max(0.8, -runner.vz_mps),
        )
        runner.knot()
        runner.impact(share=0.12)
        script.turn(t0, 0.0, self.plant_tilt_rad)
        runner.strike(
            side.other,
            first_x + 0.14,
            -s * 0.14,
            time_s=t0 + gap,
            pitch_rad=-0.12,
            yaw_rad=-0.15 * s,
            lift_m=0.10,
            impact_mps=0.7,
        )
        runner.impact(share=0.10, time_s=t0 + gap)
        rise = self._lift_off(runner, first_x + 0.06, 0.015)
        self._leave(runner, rise, t0)
        script.lift(side, runner.time_s - 0.012, 0.36 * t, TAKE_OFF_RISE_RAD)
        script.lift(side.other, runner.time_s, 0.36 * t, TAKE_OFF_RISE_RAD)
