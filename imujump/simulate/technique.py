"""Technique of an approach jump: what the athlete means to do, and what follows from it.

The parameters' ranges follow the literature: approach 2.5 to 7 m/s, contacts 0.10 to 0.20 s
in the run-up, 0.18 to 0.28 s at a one-foot and 0.28 to 0.40 s at a two-foot take-off, plant
interval 0.03 to 0.12 s, flight 0.4 to 0.75 s, hips lowered 0.05 to 0.25 m.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Side, TakeOffStyle
from imujump.simulate.body import Body
from imujump.simulate.gait import hump_rise_m

G = STANDARD_GRAVITY_MPS2

LEAST_CONTACT_S = {TakeOffStyle.ONE_FOOT: 0.145, TakeOffStyle.TWO_FOOT: 0.25}
"""Shortest plant contact chosen where none is asked for; just below the usual spans of court
jumps, 0.18 to 0.28 and 0.28 to 0.40 s (general literature), for the fastest approaches."""

USUAL_PUSH_SHARE = 0.62
"""Centre of the vertical impulse with which a usual contact time is worked out (own choice:
a push as late as a moderate lowering needs)."""

PLANT_REACH_SHARE = 0.965
"""Hip to ankle over leg length at plant touchdown: knee bent by 25 degrees (own choice)."""


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
    strike_pitch_rad : float
        Foot pitch at the run-up's strikes: negative lands on the heel, positive on the ball.
    irregularity_ratio, seed : float, int
        Step-to-step spread (one standard deviation) of contact and flight times in the
        run-up, and the seed it is drawn from; strikes differ in pitch and impact along with
        it. 0 makes all steps alike.
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
    strike_pitch_rad: float = -0.22
    irregularity_ratio: float = 0.0
    seed: int = 0
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
            "strike_pitch_rad": (-0.45, 0.35),
            "irregularity_ratio": (0.0, 0.1),
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
            down, self.take_off_vertical_mps, contact, USUAL_PUSH_SHARE
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

    @property
    def flight_s(self) -> float:
        """Last toe-off to first landing contact."""
        up = self.take_off_vertical_mps
        return (up + math.sqrt(up**2 + 2.0 * G * self.landing_drop_m)) / G

    @property
    def turn_rate_radps(self) -> float:
        """Yaw rate at toe-off: half of it on average over the plant, all of it in flight."""
        return self.turn_rad / (0.5 * self.contact_s + self.flight_s)

    def plant_travel_m(self, speed_in_mps: float) -> float:
        """Hip path over the plant; braking comes first, centred at 0.43 of the contact."""
        change = self.leaving_speed_mps - speed_in_mps
        return (speed_in_mps + 0.57 * change) * self.contact_s

    def plant_lead_m(self, body: Body, speed_in_mps: float, height_m: float) -> float:
        """First plant ankle ahead of the hips: about half their way over it, within reach."""
        share = 0.54 if self.style is TakeOffStyle.ONE_FOOT else 0.52
        # Lifted legs hold the pelvis about 4 cm below its standing place under the centre.
        above = body.standing_hip_m + height_m - 0.04 - body.ankle_height_m - 0.02
        limit = math.sqrt(max(0.0, (PLANT_REACH_SHARE * body.leg_m) ** 2 - above**2))
        return min(limit, share * self.plant_travel_m(speed_in_mps))
