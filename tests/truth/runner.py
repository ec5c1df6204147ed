"""A dynamic runner-jumper with real contact forces, embedded between two stands.

Contacts come from the feet's normal force, speeds and lengths from the simulated state. The
signals between the blends are those of MuJoCo's own accelerometers and gyros at the sensor
sites, every 0.25 ms. Planar: no yaw, roll or sideways motion, point feet.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

import mujoco
import numpy as np
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement, Side, TakeOffStyle

from .facts import Contact, Facts, JumpPlan, Scope
from .motion import BodyMotion, IdealSignals, Segment, all_ideal_signals
from .record import VirtualRecording, shifted_contacts, still_and_notes, with_gap
from .runner_body import FOOT_RADIUS_M, STEP_S, Body, model_xml
from .runner_control import CONTACT_FORCE_N, SIDES, Controller, Style
from .sensor_errors import describe, draw_sensor_set, measure_all
from .standing import StandingPlan, with_standing

GRID_HZ = 1.0 / STEP_S
BLEND_IN_S, BLEND_OUT_S = 1.2, 0.7
LONGEST_RUN_S = 7.0
REBOUND_S = 0.015
"""A foot that lifts for less than this within a contact is still in contact (own choice:
the bare foot point rebounds for a few milliseconds where a heel pad would not)."""

SHORTEST_PUSH_S = 0.09
"""Each foot of a plant stays at least so long: sprinters' contacts, people's shortest, last 0.08 to
0.10 s (from memory)."""

TOGETHER_S = 0.03
"""Two feet that share the floor for less than this do not plant together (own choice)."""

FORCE_COLUMNS, COM_COLUMNS, COM_RATE_COLUMNS = slice(18, 20), slice(20, 23), slice(23, 26)


@dataclass(frozen=True, slots=True)
class Run:
    """One simulated attempt: states (n, 7), sensors (n, 26) and the body that ran."""

    body: Body
    style: Style
    state: FloatArray
    rate: FloatArray
    sensors: FloatArray

    @property
    def force_n(self) -> FloatArray:
        """Normal force (n, 2), left and right foot."""
        return self.sensors[:, FORCE_COLUMNS]

    @property
    def time_s(self) -> FloatArray:
        """Time of each row."""
        return np.arange(len(self.state), dtype=np.float64) * STEP_S


class Fall(Exception):
    """The attempt is no approach jump; the text says why."""


def draw_style(rng: np.random.Generator, take_off: TakeOffStyle) -> Style:
    """Draw a way of running and jumping (ranges are own choice, found by trial)."""
    two = take_off is TakeOffStyle.TWO_FOOT
    return Style(
        speed_mps=float(rng.uniform(2.6, 4.6)),
        steps=int(rng.integers(7, 11)),
        first=SIDES[int(rng.integers(2))],
        take_off=take_off,
        stiffness_npm=float(rng.uniform(18000, 30000)),
        damping_nspm=float(rng.uniform(80, 300)),
        rest_share=float(rng.uniform(0.955, 0.975)),
        bounce_m=float(rng.uniform(0.02, 0.06)),
        placement_gain_s=float(rng.uniform(0.08, 0.20)),
        penultimate_thrust_m=float(rng.uniform(-0.01, 0.04)),
        penultimate_drop_m=float(rng.uniform(0.0, 0.05)),
        penultimate_reach_rad=float(rng.uniform(-0.05, 0.05)),
        plant_reach_rad=float(rng.uniform(0.0, 0.2)),
        plant_stiffness_npm=float(rng.uniform(6000, 11000) if two else rng.uniform(13000, 21000)),
        plant_boost_ratio=float(rng.uniform(2.5, 4.5) if two else rng.uniform(2.2, 3.4)),
        second_lead_rad=float(rng.uniform(0.1, 0.5)),
        fold_share=float(rng.uniform(0.60, 0.70)),
        landing_both=bool(rng.uniform() < 0.6),
    )


def draw_body(rng: np.random.Generator) -> Body:
    """Draw a body: leg segments of 42 to 48 cm, mass growing with the cube of size."""
    segment_m = float(rng.uniform(0.42, 0.48))
    mass = (segment_m / 0.45) ** 3 * float(rng.uniform(0.92, 1.10))
    return Body(segment_m, 46.0 * mass, 7.5 * mass, 4.0 * mass)


def simulate(body: Body, style: Style, longest_s: float = LONGEST_RUN_S) -> Run:
    """Run from a flight phase until well after the landing.

    Raises
    ------
    Fall
        As soon as the figure stumbles, falls or never jumps.
    """
    model = mujoco.MjModel.from_xml_string(model_xml(body))
    data = mujoco.MjData(model)
    controller = Controller(body, style)
    data.qpos[:] = controller.start_pose()
    data.qvel[0] = style.speed_mps
    count = round(longest_s / STEP_S)
    state, rate = np.empty((count, 7)), np.empty((count, 7))
    sensors = np.empty((count, model.nsensordata))
    force = [0.0, 0.0]
    end_s = longest_s
    for i in range(count):
        q, v = data.qpos.tolist(), data.qvel.tolist()
        data.ctrl[:] = controller.torques(q, v, force)
        data.qfrc_applied[:2] = controller.support(q, v, body.mass_kg)
        state[i], rate[i] = q, v
        mujoco.mj_step(model, data)
        sensors[i] = data.sensordata  # of the state before the step
        force = sensors[i, FORCE_COLUMNS].tolist()
        if controller.to_plant > 0 and min(force) > CONTACT_FORCE_N:
            raise Fall("both feet down in the run-up")
        if controller.stumbled:
            raise Fall("stumbled in the run-up")
        if q[1] < 0.5 * controller.full_m or abs(q[2]) > 0.8:
            raise Fall("fell")
        if controller.landed_s is not None and end_s == longest_s:
            end_s = controller.landed_s + controller.scored_s + BLEND_OUT_S + 0.01
        if controller.time_s >= end_s:
            return Run(body, style, state[: i + 1], rate[: i + 1], sensors[: i + 1])
    raise Fall("never jumped")


def contacts_of(run: Run) -> tuple[Contact, ...]:
    """Contacts from normal force above 10 N, oldest strike first."""
    found = []
    for column, side in enumerate(SIDES):
        edges = np.flatnonzero(np.diff(run.force_n[:, column] > CONTACT_FORCE_N))
        times = [(int(edge) + 1) * STEP_S for edge in edges]
        spans = [[a, b] for a, b in zip(times[::2], [*times[1::2], None], strict=False)]
        merged: list[list[float | None]] = []
        for strike, off in spans:
            last = merged[-1][1] if merged else None
            if last is not None and strike is not None and strike - last < REBOUND_S:
                merged[-1][1] = off
            else:
                merged.append([strike, off])
        found += [Contact(side, strike, off) for strike, off in merged]
    return tuple(sorted(found, key=lambda c: c.strike_s or 0.0))


def jump_of(run: Run, contacts: tuple[Contact, ...]) -> JumpPlan:
    """The plant contacts of an attempt worth keeping.

    Raises
    ------
    Fall
        If the feet did not alternate, the flight was no jump, or a foot scuffed.
    """
    two = run.style.take_off is TakeOffStyle.TWO_FOOT
    first, last = run.style.steps, run.style.steps + 1 + two
    if len(contacts) <= last:
        raise Fall("too few contacts")
    used = contacts[: last + 1]
    sides = [c.side for c in used[:last]]
    if any(a is b for a, b in pairwise(sides)):
        raise Fall("a foot struck twice in a row")
    strikes = [c.strike_s or 0.0 for c in used[: first + 1]]
    if not all(0.18 <= b - a <= 0.55 for a, b in pairwise(strikes)):
        raise Fall("a stumble or a bound instead of a step")
    plant = used[first:last]
    for number, contact in enumerate(used[:last]):
        shortest_s = SHORTEST_PUSH_S if number >= first else 0.06
        if contact.off_s is None or contact.off_s - (contact.strike_s or 0.0) < shortest_s:
            raise Fall("a foot scuffed")
    toe_off_s = max(c.off_s or 0.0 for c in plant)
    flight_s = (used[last].strike_s or 0.0) - toe_off_s
    if not 0.32 <= flight_s <= 0.72:
        raise Fall(f"flight of {flight_s:.2f} s")
    if (plant[-1].strike_s or 0.0) - strikes[-1] > 0.2:
        raise Fall("the second foot came a step later")
    if two and (plant[0].off_s or 0.0) - (plant[1].strike_s or 0.0) < TOGETHER_S:
        raise Fall("the feet did not stand together")
    motion = body_motion(run)
    feet_m = [motion.shanks[c.side].position_m[motion.at(c.strike_s or 0.0), 0] for c in plant]
    if feet_m[-1] < feet_m[0] - 0.3:
        raise Fall("the second foot came down far behind the first")
    speeds = [float(run.rate[round(t / STEP_S), 0]) for t in (strikes[-1], toe_off_s)]
    if speeds[0] < 1.8 or speeds[1] < 0.3:
        raise Fall("too slow into or out of the plant")
    return JumpPlan(plant, 0)


def _about_left(angle_rad: FloatArray) -> Rotation:
    return Rotation.from_rotvec(angle_rad[:, None] * np.array([0.0, 1.0, 0.0]))


def body_motion(run: Run) -> BodyMotion:
    """Forward kinematics of the simulated states, by plain geometry."""
    q = run.state
    hip = np.column_stack([q[:, 0], np.zeros(len(q)), q[:, 1]])
    down = np.array([0.0, 0.0, -run.body.segment_m])
    shanks = {}
    for index, side in enumerate(SIDES):
        thigh_rad = q[:, 2] - q[:, 3 + 2 * index]
        thigh, shank = _about_left(thigh_rad), _about_left(thigh_rad + q[:, 4 + 2 * index])
        lateral = np.array([0.0, 0.09 if side is Side.LEFT else -0.09, 0.0])
        shanks[side] = Segment(hip + lateral + thigh.apply(down) + shank.apply(down), shank)
    return BodyMotion(run.time_s, Segment(hip, _about_left(q[:, 2])), shanks)


def last_step_change_m(run: Run) -> float:
    """Last step minus penultimate step, foot point to foot point at touchdown."""
    motion = body_motion(run)
    used = contacts_of(run)[run.style.steps - 2 : run.style.steps + 1]
    places_m = [motion.shanks[c.side].position_m[motion.at(c.strike_s or 0.0), 0] for c in used]
    return float(np.diff(places_m, n=2)[0])


def find_run(
    seed: int, take_off: TakeOffStyle, *, shorter: bool = False, tries: int = 400
) -> tuple[Run, int]:
    """Draw attempts from a seed until one is a jump; also returns how many were drawn.

    ``shorter`` keeps only attempts whose last step is at least 5 cm shorter than the
    penultimate; left alone the figure mostly lengthens it.
    """
    rng = np.random.default_rng([seed, 4])
    for attempt in range(1, tries + 1):
        try:
            run = simulate(draw_body(rng), draw_style(rng, take_off))
            jump_of(run, contacts_of(run))
        except Fall:
            continue
        if not shorter or last_step_change_m(run) < -0.05:
            return run, attempt
    raise Fall(f"no jump in {tries} draws from seed {seed}")


def runner_recording(
    seed: int, take_off: TakeOffStyle, *, shorter: bool = False
) -> VirtualRecording:
    """A simulated approach jump with body, style and sensor errors drawn from ``seed``."""
    run, _ = find_run(seed, take_off, shorter=shorter)
    return recording_of(run, seed)


def recording_of(run: Run, seed: int) -> VirtualRecording:
    """Embed a simulated attempt between two stands and measure it."""
    rng = np.random.default_rng([seed, 5])
    contacts = contacts_of(run)
    jump = jump_of(run, contacts)
    end_s = float(run.time_s[-1])
    plan = StandingPlan(
        blend_in_s=(0.0, BLEND_IN_S),
        blend_out_s=(end_s - BLEND_OUT_S, end_s),
        still_start_s=round(float(rng.uniform(3.0, 4.5)) * GRID_HZ) / GRID_HZ,
        still_end_s=round(float(rng.uniform(3.0, 4.0)) * GRID_HZ) / GRID_HZ,
        pelvis_height_m=0.995 * 2 * run.body.segment_m + FOOT_RADIUS_M,
        shank_end_height_m=FOOT_RADIUS_M,
        sway_m=float(rng.choice([0.0, 0.002, 0.004])),
    )
    motion, weight = with_standing(body_motion(run), plan, rng)
    shift_s = plan.shift_s
    plant_s = jump.plant[0].strike_s or 0.0
    counted = sum(BLEND_IN_S <= (c.strike_s or 0.0) < plant_s for c in contacts)
    moved = JumpPlan(shifted_contacts(jump.plant, shift_s), counted)
    scope = Scope(
        start_s=BLEND_IN_S + shift_s,
        end_s=plan.blend_out_s[0] + shift_s,
        uncertainty_s=0.001,
        step_at_touchdown=True,
        step_uncertainty_m=0.005,
        standing_m=plan.pelvis_height_m,
    )
    sensor_set = draw_sensor_set(seed, soft_tissue=True)
    truth: dict[str, Any] = {
        "source": "physics",
        "variant": {**asdict(run.style), **asdict(run.body), "sway_m": plan.sway_m},
        "duration_s": round(plan.duration_s, 4),
        **Facts(motion, shifted_contacts(contacts, shift_s), moved, scope).document(),
        **still_and_notes(
            plan,
            shift_s,
            (
                "planar motion: no yaw, no roll, no sideways sway beyond standing",
                "point feet: the foot point is the lower shank end; no heel rise, no ankle",
                "trunk pitch partly held by an artificial spring to the world",
                "contact instants: normal force above 10 N",
            ),
        ),
        "sensor_model": describe(sensor_set),
    }
    truth |= _centre_of_mass(run, jump)
    signals = measure_all(_signals(run, motion, weight, shift_s), GRID_HZ, sensor_set)
    return with_gap(
        VirtualRecording("approachjump", sensor_set.rate_hz, signals, truth), sensor_set, rng
    )


def _centre_of_mass(run: Run, jump: JumpPlan) -> dict[str, float]:
    toe_off_s = max(c.off_s or 0.0 for c in jump.plant)
    up_mps = float(run.sensors[round(toe_off_s / STEP_S), COM_RATE_COLUMNS][2])
    return {
        "com_vertical_speed_at_toe_off_mps": round(up_mps, 4),
        "com_jump_height_m": round(up_mps**2 / (2 * STANDARD_GRAVITY_MPS2), 4),
    }


def _signals(
    run: Run, motion: BodyMotion, weight: FloatArray, shift_s: float
) -> dict[Placement, IdealSignals]:
    """Splines where the figure stands or blends, MuJoCo's sensors in between."""
    signals = all_ideal_signals(motion)
    full = np.flatnonzero(weight >= 1.0)
    rows = run.sensors[full - round(shift_s / STEP_S)]
    for index, placement in enumerate(Placement):
        signals[placement].accel_mps2[full] = rows[:, 6 * index : 6 * index + 3]
        signals[placement].gyro_radps[full] = rows[:, 6 * index + 3 : 6 * index + 6]
    return signals
