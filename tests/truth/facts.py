"""The truth of an approach jump, from the body's movement and its ground contacts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Side, TakeOffStyle

from .motion import PELVIS_SENSOR_OFFSET_M, BodyMotion, forward_pitch_rad, yaw_rad

MID_CONTACT_SHARE = 0.4
"""Instant of a contact at which the foot is surely planted (own choice: between heel strike
and heel rise)."""

LANDING_TOGETHER_S = 0.1
"""Feet that land within this of each other count as a landing on both (own choice)."""

STANDING_PUSH_OFF_S = 0.6
"""A jump from standing has no touchdown; its lowest point is sought this long before
toe-off (own choice)."""


@dataclass(frozen=True, slots=True)
class Contact:
    """One foot on the ground; ``None`` where the instant lies outside what is known."""

    side: Side
    strike_s: float | None
    off_s: float | None


@dataclass(frozen=True, slots=True)
class JumpPlan:
    """Which contacts make the jump.

    ``plant`` are the take-off contacts in order of strike, one or two of them (a jump from
    standing has plant contacts without a strike). ``run_up_steps`` counts the steps that end
    at or before the first plant strike and belong to the run-up.
    """

    plant: tuple[Contact, ...]
    run_up_steps: int


@dataclass(frozen=True, slots=True)
class Scope:
    """How far the truth reaches and how well it is known."""

    start_s: float
    end_s: float
    uncertainty_s: float
    step_at_touchdown: bool
    step_uncertainty_m: float
    standing_m: float


class Facts:
    """Answers questions about one recording's movement and contacts."""

    def __init__(
        self, motion: BodyMotion, contacts: Sequence[Contact], jump: JumpPlan | None, scope: Scope
    ) -> None:
        self.motion, self.jump, self.scope = motion, jump, scope
        self.contacts = contacts
        self.path_m = motion.pelvis.position_m
        self.sensor_m = motion.pelvis.point(PELVIS_SENSOR_OFFSET_M)
        self.velocity_mps = np.gradient(self.path_m, motion.time_s, axis=0)
        self.speed_mps = np.linalg.norm(self.velocity_mps[:, :2], axis=1)

    def _inside(self, time_s: float | None) -> bool:
        return time_s is not None and self.scope.start_s <= time_s <= self.scope.end_s

    def struck(self) -> list[Contact]:
        """Contacts whose strike lies in scope, oldest first."""
        chosen = [c for c in self.contacts if self._inside(c.strike_s)]
        return sorted(chosen, key=lambda c: c.strike_s or 0.0)

    def speed_at(self, time_s: float) -> float:
        """Horizontal speed of the pelvis origin."""
        return float(self.speed_mps[self.motion.at(time_s)])

    def mean_speed(self, start_s: float, end_s: float) -> float:
        """Pelvis displacement between two instants per time."""
        start, end = self.path_m[self.motion.at(start_s)], self.path_m[self.motion.at(end_s)]
        return float(np.linalg.norm((end - start)[:2]) / max(end_s - start_s, 1e-9))

    def events(self) -> list[dict[str, Any]]:
        """Foot strikes and toe-offs in scope, oldest first."""
        found = [
            {
                "kind": kind,
                "side": str(contact.side),
                "time_s": _r(time_s),
                "uncertainty_s": self.scope.uncertainty_s,
                "scored": True,
            }
            for contact in self.contacts
            for kind, time_s in (("foot_strike", contact.strike_s), ("toe_off", contact.off_s))
            if self._inside(time_s)
        ]
        return sorted(found, key=lambda event: event["time_s"])

    def _foot(self, contact: Contact, *, mid: bool) -> FloatArray:
        assert contact.strike_s is not None
        time_s = contact.strike_s
        if mid and contact.off_s is not None:
            time_s += MID_CONTACT_SHARE * (contact.off_s - contact.strike_s)
        return self.motion.shanks[contact.side].position_m[self.motion.at(time_s), :2]

    def steps(self) -> list[dict[str, Any]]:
        """Every step between two strikes in scope, oldest first."""
        struck = self.struck()
        return [self._step(a, b) for a, b in pairwise(struck)]

    def _step(self, a: Contact, b: Contact) -> dict[str, Any]:
        assert a.strike_s is not None
        assert b.strike_s is not None
        i, j = self.motion.at(a.strike_s), self.motion.at(b.strike_s)
        travel = self.path_m[j, :2] - self.path_m[i, :2]
        travel = travel / max(float(np.linalg.norm(travel)), 1e-9)
        touchdown = self._foot(b, mid=False) - self._foot(a, mid=False)
        middle = self._foot(b, mid=True) - self._foot(a, mid=True)
        used = touchdown if self.scope.step_at_touchdown else middle
        step: dict[str, Any] = {
            "from_side": str(a.side),
            "to_side": str(b.side),
            "start_s": _r(a.strike_s),
            "end_s": _r(b.strike_s),
            "duration_s": _r(b.strike_s - a.strike_s),
            "length_m": _r(used @ travel),
            "length_touchdown_m": _r(touchdown @ travel),
            "length_midcontact_m": _r(middle @ travel),
            "distance_midcontact_m": _r(float(np.linalg.norm(middle))),
            "pelvis_mean_speed_mps": _r(self.mean_speed(a.strike_s, b.strike_s)),
            "contact_time_s": _r(None if a.off_s is None else a.off_s - a.strike_s),
            "flight_after_s": _r(None if a.off_s is None else b.strike_s - a.off_s),
            "pelvis_lowest_m": _r(float(np.min(self.path_m[i : j + 1, 2]))),
            "scored": True,
        }
        if self.jump is not None:
            step["phase"] = self._phase(a.strike_s, b.strike_s)
        return step

    def _run_up_start_s(self) -> float | None:
        """Strike of the run-up's first counted contact."""
        assert self.jump is not None
        plant_s = self.jump.plant[0].strike_s
        if plant_s is None or not self.jump.run_up_steps:
            return None
        earlier = [c.strike_s for c in self.struck() if (c.strike_s or 0.0) < plant_s]
        return earlier[-self.jump.run_up_steps] if len(earlier) >= self.jump.run_up_steps else None

    def _phase(self, start_s: float, end_s: float) -> str:
        assert self.jump is not None
        plant = self.jump.plant
        plant_s = plant[0].strike_s
        if plant_s is None:
            toe_off_s = max(c.off_s for c in plant if c.off_s is not None)
            return "before" if end_s <= toe_off_s else "after"
        if end_s <= plant_s:
            first_s = self._run_up_start_s()
            return "run_up" if first_s is not None and start_s >= first_s else "before"
        last_s = plant[-1].strike_s
        return "plant" if last_s is not None and end_s <= last_s else "after"

    def take_off(self) -> dict[str, Any] | None:
        """The jump's instants, or ``None`` for a movement without take-off."""
        if self.jump is None:
            return None
        plant = self.jump.plant
        toe_off_s = max(c.off_s for c in plant if c.off_s is not None)
        after = [c for c in self.struck() if (c.strike_s or 0.0) > toe_off_s]
        landing_s = after[0].strike_s
        assert landing_s is not None
        feet = {c.side for c in after if (c.strike_s or 0.0) - landing_s <= LANDING_TOGETHER_S}
        plant_s = plant[0].strike_s
        two = len(plant) == 2
        second_s = plant[1].strike_s if two else None
        return {
            "style": str(TakeOffStyle.TWO_FOOT if two else TakeOffStyle.ONE_FOOT),
            "side": None if two else str(plant[0].side),
            "first_contact_side": None if plant_s is None else str(plant[0].side),
            "plant_touchdown_s": _r(plant_s),
            "toe_off_s": _r(toe_off_s),
            "landing_s": _r(landing_s),
            "flight_s": _r(landing_s - toe_off_s),
            "uncertainty_s": self.scope.uncertainty_s,
            "contact_time_s": _r(None if plant_s is None else toe_off_s - plant_s),
            "plant_interval_s": _r(
                None if second_s is None or plant_s is None else second_s - plant_s
            ),
            "landing_feet": "both" if len(feet) == 2 else str(after[0].side),
        }

    def heights(self, points_m: FloatArray, take_off: dict[str, Any]) -> dict[str, Any]:
        """Heights of a pelvis point; ``points_m`` (n, 3) is its path."""
        z = points_m[:, 2]
        rate = np.gradient(z, self.motion.time_s)
        standing_m = self.scope.standing_m + float(points_m[0, 2] - self.path_m[0, 2])
        plant_s, toe_off_s = take_off["plant_touchdown_s"], take_off["toe_off_s"]
        run_up = [s for s in self.steps() if s["phase"] == "run_up"]
        first_s = run_up[-1]["start_s"] if run_up else plant_s
        if first_s is None:
            first_s = toe_off_s - STANDING_PUSH_OFF_S
        i, j = self.motion.at(first_s), self.motion.at(toe_off_s)
        k = self.motion.at(take_off["landing_s"])
        low, apex = i + int(np.argmin(z[i : j + 1])), j + int(np.argmax(z[j : k + 1]))
        earlier = run_up[:-1][-3:]
        mean_m = None
        if earlier:
            a, b = (self.motion.at(t) for t in (earlier[0]["start_s"], earlier[-1]["end_s"]))
            mean_m = float(np.mean(z[a : b + 1]))
        return {
            "standing_m": _r(standing_m),
            "lowest_m": _r(z[low]),
            "lowest_time_s": _r(self.motion.time_s[low]),
            "lowering_m": _r(standing_m - z[low]),
            "runup_mean_m": _r(mean_m),
            "at_plant_touchdown_m": _r(None if plant_s is None else z[self.motion.at(plant_s)]),
            "at_toe_off_m": _r(z[j]),
            "apex_m": _r(z[apex]),
            "apex_time_s": _r(self.motion.time_s[apex]),
            "apex_rise_over_toe_off_m": _r(z[apex] - z[j]),
            "apex_rise_over_standing_m": _r(z[apex] - standing_m),
            "vertical_speed_at_toe_off_mps": _r(rate[j]),
        }

    def plant_angles(self, take_off: dict[str, Any]) -> dict[str, Any]:
        """Turn from plant to landing, pelvis tilt and plant shank angle at touchdown."""
        assert self.jump is not None
        yaw = yaw_rad(self.motion.pelvis.rotation)
        plant_s = take_off["plant_touchdown_s"]
        start = self.motion.at(take_off["toe_off_s"] if plant_s is None else plant_s)
        turn = yaw[self.motion.at(take_off["landing_s"])] - yaw[start]
        pitch = shank = None
        if plant_s is not None:
            pitch = forward_pitch_rad(self.motion.pelvis.rotation)[start]
            segment = self.motion.shanks[self.jump.plant[0].side]
            up = segment.rotation[start].apply([0.0, 0.0, 1.0])
            travel = self.velocity_mps[start, :2] / max(self.speed_at(plant_s), 1e-9)
            shank = -np.arctan2(up[:2] @ travel, up[2])
        return {
            "pelvis_yaw_change_plant_to_landing_rad": _r(turn),
            "pelvis_pitch_at_plant_rad": _r(pitch),
            "plant_shank_angle_rad": _r(shank),
        }

    def document(self) -> dict[str, Any]:
        """The truth's fields that depend on movement and contacts only."""
        steps = self.steps()
        take_off = self.take_off()
        doc: dict[str, Any] = {
            "events": self.events(),
            "foot_strike_speed": [
                {
                    "time_s": _r(c.strike_s),
                    "side": str(c.side),
                    "pelvis_speed_mps": _r(self.speed_at(c.strike_s or 0.0)),
                    "scored": True,
                }
                for c in self.struck()
            ],
            "steps": steps,
            "take_off": take_off,
        }
        if take_off is None:
            return doc
        run_up = [s for s in steps if s["phase"] == "run_up"]
        lengths = [s["length_m"] for s in run_up]
        middles = [s["length_midcontact_m"] for s in run_up]
        plant_s = take_off["plant_touchdown_s"]
        flight_s = take_off["flight_s"]
        doc |= {
            "speed_at_plant_touchdown_mps": _r(None if plant_s is None else self.speed_at(plant_s)),
            "speed_at_toe_off_mps": _r(self.speed_at(take_off["toe_off_s"])),
            "approach_speed_last_step_mean_mps": (
                run_up[-1]["pelvis_mean_speed_mps"] if run_up else None
            ),
            "run_up_step_count": len(run_up),
            "step_lengths_m": lengths,
            "step_length_reference": (
                "touchdown" if self.scope.step_at_touchdown else "midcontact"
            ),
            "step_length_uncertainty_m": self.scope.step_uncertainty_m,
            "last_step_m": lengths[-1] if lengths else None,
            "penultimate_step_m": lengths[-2] if len(lengths) > 1 else None,
            "last_step_ratio": _ratio(lengths),
            "last_step_ratio_midcontact": _ratio(middles),
            "pelvis_height": {
                "pelvis_origin": self.heights(self.path_m, take_off),
                "sensor_point": self.heights(self.sensor_m, take_off),
            },
            "com_vertical_speed_at_toe_off_mps": None,
            "com_jump_height_m": None,
            "flight_time_height_m": _r(STANDARD_GRAVITY_MPS2 * flight_s**2 / 8),
            **self.plant_angles(take_off),
        }
        return doc


def _r(value: Any) -> float | None:
    """Round to 0.1 mm, 0.1 ms or the like."""
    return None if value is None else round(float(value), 4)


def _ratio(lengths: Sequence[float]) -> float | None:
    return _r(lengths[-1] / lengths[-2]) if len(lengths) > 1 else None
