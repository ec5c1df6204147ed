"""Makes the planar figure run, plant, take off and land.

A springy leg acts between hip and foot (the knee torque that a spring along that line would
need), the next foot is placed from the running speed, and the swinging leg follows smoothed
targets. Idea: leg length, leg angle and trunk are controlled apart, as in the hopping
machines of Raibert (Legged Robots That Balance, 1986; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from imujump.model import Side, TakeOffStyle

from .runner_body import FOOT_RADIUS_M, STEP_S, Body

CONTACT_FORCE_N = 10.0
State = Sequence[float]
SIDES = (Side.LEFT, Side.RIGHT)


@dataclass(frozen=True, slots=True)
class Style:
    """What makes one attempt differ from another. Lengths are of the hip-to-foot line."""

    speed_mps: float
    steps: int
    first: Side
    take_off: TakeOffStyle
    stiffness_npm: float
    damping_nspm: float
    rest_share: float
    bounce_m: float
    placement_gain_s: float
    penultimate_thrust_m: float
    penultimate_drop_m: float
    penultimate_reach_rad: float
    plant_reach_rad: float
    plant_stiffness_npm: float
    plant_boost_ratio: float
    second_lead_rad: float
    fold_share: float
    landing_both: bool


@dataclass(slots=True)
class _Leg:
    """One leg's part in the gait."""

    planted: bool = False
    since_s: float = 0.0
    compressed: bool = False
    pushing: bool = True
    angle_rad: float = 0.0
    length_m: float = 0.0
    start_m: float = 0.0
    knee_nm: float = 0.0
    hip_nm: float = 0.0


class Controller:
    """Turns the figure's state into joint torques and keeps count of the steps."""

    def __init__(self, body: Body, style: Style) -> None:
        self.body, self.style = body, style
        self.full_m = 2.0 * body.segment_m
        self.rest_m = style.rest_share * self.full_m
        self.legs = {
            style.first: _Leg(since_s=-1.0, angle_rad=0.3, length_m=self.rest_m),
            style.first.other: _Leg(since_s=-1.0, angle_rad=-0.3, length_m=0.8 * self.full_m),
        }
        self.next_foot = style.first
        self.strikes = 0
        self.last_strike_s = 0.0
        self.stumbled = False
        self.airborne_since_s: float | None = None
        self.landed_s: float | None = None
        self.stance_s = 0.16
        self.time_s = 0.0
        self.thrust_m = 0.005
        self.apex_m = 0.0

    def start_pose(self) -> list[float]:
        """Joint positions in flight: the first foot ahead, the other folded behind."""
        pitch, ahead, behind = 0.10, [0.6, 0.4], [0.25, 0.9]
        left, right = (ahead, behind) if self.style.first is Side.LEFT else (behind, ahead)
        return [0.0, self.rest_m + FOOT_RADIUS_M + 0.04, pitch, *left, *right]

    @property
    def to_plant(self) -> int:
        """Strikes still to come before the plant; 0 from the plant's strike on."""
        return max(self.style.steps + 1 - self.strikes, 0)

    def support(self, q: State, v: State, mass_kg: float) -> tuple[float, float]:
        """Outside help (N) along x and z from ``scored_s`` after the landing on.

        The figure cannot balance; past what is scored, a hand catches it so that the blend
        to standing starts from a figure that still stands.
        """
        if self.landed_s is None:
            return 0.0, 0.0
        since_s = self.time_s - self.landed_s - self.scored_s
        ramp = max(0.0, min(1.0, since_s / 0.15)) * mass_kg
        hold = 40.0 * (0.9 * self.rest_m - q[1]) - 8.0 * v[1] + 6.0
        return -6.0 * v[0] * ramp, hold * ramp

    @property
    def scored_s(self) -> float:
        """How long after the landing the movement is still the figure's own."""
        return 0.85 if self.running_out else 0.30

    @property
    def running_out(self) -> bool:
        """Landed on one foot: the run goes on, slower."""
        return self.landed_s is not None and not self.style.landing_both

    def torques(self, q: State, v: State, force_n: State) -> list[float]:
        """Motor torques hip and knee, left then right.

        ``q``, ``v`` are joint positions and velocities, ``force_n`` the feet's normal
        forces, all of the present instant.
        """
        self.time_s += STEP_S
        self.apex_m = max(self.apex_m, q[1])
        self._follow_contacts(force_n, v)
        out: list[float] = []
        for index, side in enumerate(SIDES):
            leg = self.legs[side]
            hip, knee = q[3 + 2 * index], q[4 + 2 * index]
            hip_rate, knee_rate = v[3 + 2 * index], v[4 + 2 * index]
            if leg.planted:
                want = self._push(leg, q, v, (hip, knee, knee_rate))
            else:
                want = self._swing(leg, side, q, v, hip, knee, hip_rate, knee_rate)
            # Muscles do not switch in an instant: 10 ms first-order lag on the torque.
            share = STEP_S / 0.010
            leg.hip_nm += share * (want[0] - leg.hip_nm)
            leg.knee_nm += share * (want[1] - leg.knee_nm)
            out += [leg.hip_nm, leg.knee_nm]
        return out

    def _follow_contacts(self, force_n: State, v: State) -> None:
        for side, force in zip(SIDES, force_n, strict=True):
            leg = self.legs[side]
            held_s = self.time_s - leg.since_s
            if not leg.planted and force > CONTACT_FORCE_N and held_s > 0.05:
                leg.planted, leg.since_s, leg.compressed, leg.pushing = (
                    True,
                    self.time_s,
                    False,
                    True,
                )
                leg.start_m = 0.0
                if self.to_plant > 0:
                    step_s = self.time_s - self.last_strike_s
                    timely = self.strikes == 0 or 0.18 <= step_s <= 0.55
                    self.stumbled |= side is not self.next_foot or not timely
                self.last_strike_s = self.time_s
                self.strikes += 1
                self._regulate()
                self.next_foot = side.other
                if self.airborne_since_s is not None and self.landed_s is None:
                    self.landed_s = self.time_s
            elif leg.planted and held_s > 0.05 and leg.compressed and not leg.pushing:
                leg.planted, leg.since_s = False, self.time_s
                if self.to_plant > 0:
                    self.stance_s += 0.5 * (held_s - self.stance_s)
        up = max(force_n) <= 0.0 and not any(leg.planted for leg in self.legs.values())
        both_needed = self.style.take_off is TakeOffStyle.TWO_FOOT
        ready = self.strikes >= self.style.steps + 1 + both_needed
        if up and ready and self.airborne_since_s is None:
            self.airborne_since_s = self.time_s

    def _regulate(self) -> None:
        """At each strike: more or less thrust for the wanted bounce."""
        wanted = self.rest_m + FOOT_RADIUS_M + self.style.bounce_m
        self.thrust_m += 0.15 * (wanted - self.apex_m)
        self.thrust_m = max(0.0, min(0.06, self.thrust_m))
        self.apex_m = 0.0

    def _wanted_mps(self) -> float:
        return 1.5 if self.running_out else self.style.speed_mps

    def _push(
        self, leg: _Leg, q: State, v: State, joints: tuple[float, ...]
    ) -> tuple[float, float]:
        """Springy stance leg; the hip holds the trunk."""
        s, speed, pitch, pitch_rate = self.style, v[0], q[2], v[2]
        hip, knee, knee_rate = joints
        angle = hip - pitch - knee / 2
        lever = self.body.segment_m * math.sin(knee / 2)
        length = self.full_m * math.cos(knee / 2)
        rate = -lever * knee_rate
        leg.compressed = leg.compressed or rate > 0.0
        stiffness, damping, rest = s.stiffness_npm, s.damping_nspm, self.rest_m
        if self.landed_s is not None and not self.running_out:
            stiffness, damping, rest = 9000.0, 700.0, 0.97 * self.full_m
        elif self.running_out:
            stiffness, damping = 0.5 * stiffness, 900.0
        elif self.to_plant == 0:
            stiffness = s.plant_stiffness_npm
            if s.take_off is TakeOffStyle.TWO_FOOT:
                stiffness *= 0.85
            rest = 0.995 * self.full_m
            both_down = s.take_off is TakeOffStyle.ONE_FOOT or self.strikes > s.steps + 1
            if leg.compressed and both_down:
                stiffness *= s.plant_boost_ratio
        elif self.to_plant == 1:
            rest -= s.penultimate_drop_m
            rest += s.penultimate_thrust_m if leg.compressed else 0.0
        elif leg.compressed:
            rest += self.thrust_m
        # A leg that lands bent starts its spring there and reaches its rest length in time.
        if leg.start_m == 0.0:
            leg.start_m = length
        since_s = self.time_s - leg.since_s
        rest = min(rest, leg.start_m + 0.02 + 1.2 * since_s, 0.995 * self.full_m)
        push = max(stiffness * (rest - length) - damping * rate, 0.0)
        push = min(push, 7000.0)
        leg.pushing = push > 60.0 and angle > -0.50
        hold = -600.0 * (pitch - 0.10) - 60.0 * pitch_rate
        hold = max(-150.0, min(150.0, hold))
        if self.to_plant > 0 or self.running_out:  # the hip drives the speed
            hold += max(-160.0, min(160.0, 200.0 * (speed - self._wanted_mps())))
        hold *= min(push / 500.0, 1.0)
        leg.angle_rad, leg.length_m = angle, length
        return hold, -push * lever

    def _swing(
        self,
        leg: _Leg,
        side: Side,
        q: State,
        v: State,
        hip: float,
        knee: float,
        hip_rate: float,
        knee_rate: float,
    ) -> tuple[float, float]:
        """Swinging leg: smoothed targets for the hip-to-foot line, followed by both joints."""
        angle, length = self._swing_target(leg, side, q, v)
        now_rad = hip - q[2] - knee / 2
        clear_m = q[1] - FOOT_RADIUS_M - self.full_m * math.cos(knee / 2) * math.cos(now_rad)
        if now_rad < -0.1 and clear_m < 0.02 and self.airborne_since_s is None:
            angle, length = now_rad, 0.75 * self.full_m  # fold before swinging forward
        share = STEP_S / 0.025
        leg.angle_rad += share * (angle - leg.angle_rad)
        leg.length_m += share * (length - leg.length_m)
        knee_want = 2.0 * math.acos(min(leg.length_m / self.full_m, 0.999))
        hip_want = leg.angle_rad + q[2] + knee_want / 2
        soft = min(1.0, 0.3 + (self.time_s - leg.since_s) / 0.06)  # no snap at toe-off
        hip_nm = 500.0 * (hip_want - hip) - 25.0 * hip_rate
        knee_nm = soft * 400.0 * (knee_want - knee) - 14.0 * knee_rate
        return max(-250.0, min(250.0, hip_nm)), max(-220.0, min(220.0, knee_nm))

    def _swing_target(self, leg: _Leg, side: Side, q: State, v: State) -> tuple[float, float]:
        s, speed = self.style, v[0]
        other = self.legs[side.other]
        halfway = speed * self.stance_s / 2
        neutral = 0.88 * halfway + s.placement_gain_s * (speed - self._wanted_mps())
        neutral = max(0.6 * halfway, min(1.25 * halfway, neutral))
        reach = math.asin(max(-0.6, min(0.6, neutral / self.rest_m)))
        if self.airborne_since_s is not None and not self.running_out:
            high = 0.98 * self.full_m
            trailing = not s.landing_both and side is not self.next_foot
            ahead = math.asin(max(-0.6, min(0.6, speed * 0.22 / self.rest_m)))
            return (ahead if not trailing else -0.15), (high if not trailing else 0.9 * high)
        if self.to_plant == 0 and not self.running_out:  # the plant foot is down, or both are
            if s.take_off is TakeOffStyle.TWO_FOOT and self.strikes == s.steps + 1:
                # Swing forward folded, then reach for the ground beside the first foot.
                index = SIDES.index(side)
                swung = q[3 + 2 * index] - q[2] - q[4 + 2 * index] / 2 > 0.5 * s.second_lead_rad
                return s.second_lead_rad, (0.985 if swung else 0.74) * self.full_m
            return 0.75, 0.62 * self.full_m  # free leg drives forward and up
        target = reach
        if self.to_plant == 1:
            target = reach + s.plant_reach_rad
        elif self.to_plant == 2:
            target = reach + s.penultimate_reach_rad
        if side is self.next_foot:
            if other.planted:  # swing through, folded, mirrored to the stance leg
                pitch_free = q[3 + 2 * SIDES.index(side.other)] - q[2]
                stance_angle = pitch_free - q[4 + 2 * SIDES.index(side.other)] / 2
                late = stance_angle < 0.0
                return (
                    (target if late else -stance_angle),
                    (s.fold_share if not late else 0.74) * self.full_m,
                )
            drop = s.penultimate_drop_m if self.to_plant == 2 else 0.0
            return target, self.rest_m - drop * 0.5
        if self.to_plant == 1 and s.take_off is TakeOffStyle.TWO_FOOT:
            return 0.5 * s.second_lead_rad, 0.80 * self.full_m  # on its way to plant beside
        return -0.30, s.fold_share * self.full_m  # just left the ground: trail
