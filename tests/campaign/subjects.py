"""The jumps of the campaign: ideal signals of three sensors and what is true of them.

Six jumps of the analytic figure (one-foot and two-foot, 3.0 to 5.6 m/s), which can also be
moved in other ways, and three of the rigid-body runner, which shares no code with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from typing import Any

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import METRIC_NAMES, EventKind, GaitEvent, Placement, Side, TakeOffStyle
from imujump.simulate.athlete import ApproachJump, write_jump
from imujump.simulate.body import Body
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Fidget, Stand
from imujump.simulate.script import Script
from imujump.simulate.truth import events, jump_truth
from tests.truth.agreement_with_truth import known_values
from tests.truth.facts import Facts, JumpPlan, Scope
from tests.truth.motion import IdealSignals
from tests.truth.record import shifted_contacts
from tests.truth.runner import (
    BLEND_IN_S,
    BLEND_OUT_S,
    GRID_HZ,
    _signals,
    body_motion,
    contacts_of,
    find_run,
    jump_of,
)
from tests.truth.runner_body import FOOT_RADIUS_M
from tests.truth.standing import StandingPlan, with_standing

FIGURE_GRID_HZ = 1600.0
"""Grid of the figure's ideal signals: a multiple of every sample rate of the campaign."""

SOFT_IMPACT_S, SOFT_SHOCK_S = 0.060, 0.060
"""On a soft floor a strike is taken up over 60 ms in place of 22, and reaches the body over 60
in place of 30 (own choice: a mat into which a foot sinks by a centimetre or two)."""

FOREFOOT_RAD = 0.17
"""Foot pitch at every strike of a forefoot striker, heel raised (own choice: 10 degrees)."""

TIMING_S = 0.0005
"""Standard deviation stated for exact instants; nothing is weighed by it."""


class Movement(StrEnum):
    """How the figure makes its jump."""

    PLAIN = "plain"
    FIDGETING = "fidgeting"
    SHORT_STAND = "short stand"
    SOFT_FLOOR = "soft floor"
    FOREFOOT = "forefoot"


@dataclass(frozen=True, slots=True, eq=False)
class Subject:
    """One jump: ideal signals on a grid, and its truth under the metrics' names.

    ``penultimate_s`` are the touchdowns that begin and end the penultimate step.
    """

    name: str
    style: TakeOffStyle
    side: Side
    grid_hz: float
    signals: Mapping[Placement, IdealSignals]
    metrics: Mapping[str, float | None]
    events: tuple[GaitEvent, ...]
    penultimate_s: tuple[float, float]
    plant_s: float
    toe_off_s: float
    landing_s: float


TWO = TakeOffStyle.TWO_FOOT
FIGURE_JUMPS: Mapping[str, ApproachJump] = {
    "one 3.4": ApproachJump(approach_speed_mps=3.4, irregularity_ratio=0.03, seed=21),
    "one 4.4": ApproachJump(
        side=Side.RIGHT, approach_speed_mps=4.4, landing="right", irregularity_ratio=0.03, seed=22
    ),
    "one 5.6": ApproachJump(
        steps=8,
        approach_speed_mps=5.6,
        lowering_m=0.12,
        take_off_vertical_mps=3.1,
        last_step_ratio=0.88,
        landing="left",
        turn_rad=-0.3,
        irregularity_ratio=0.03,
        seed=23,
    ),
    "two 3.0": ApproachJump(
        style=TWO,
        side=Side.RIGHT,
        approach_speed_mps=3.0,
        steps=5,
        irregularity_ratio=0.03,
        seed=24,
    ),
    "two 3.6": ApproachJump(
        style=TWO,
        approach_speed_mps=3.6,
        last_step_ratio=1.2,
        lowering_m=0.20,
        turn_rad=0.6,
        irregularity_ratio=0.03,
        seed=25,
    ),
    "two 4.4": ApproachJump(
        style=TWO,
        side=Side.RIGHT,
        approach_speed_mps=4.4,
        steps=7,
        take_off_vertical_mps=2.9,
        plant_interval_s=0.09,
        irregularity_ratio=0.03,
        seed=26,
    ),
}

RUNS: Mapping[str, tuple[int, TakeOffStyle]] = {
    "runner one a": (2, TakeOffStyle.ONE_FOOT),
    "runner one b": (8, TakeOffStyle.ONE_FOOT),
    "runner two": (7, TakeOffStyle.TWO_FOOT),
}
"""Seeds of the rigid-body runner: those that take few draws to find a jump and whose run-up has
no flight above 0.25 s. Left alone the runner may bound as long as it jumps, and which of two such
flights is the attempt is a matter of taste."""


@cache
def figure(name: str, movement: Movement = Movement.PLAIN) -> Subject:
    """One jump of the analytic figure."""
    motion = figure_motion(name, movement)
    (mark,) = motion.jumps
    truth = jump_truth(motion, mark)
    time_s = np.arange(int(motion.duration_s * FIGURE_GRID_HZ)) / FIGURE_GRID_HZ
    signals = {}
    for placement in Placement:
        sensor = motion.sensor(placement, time_s)
        signals[placement] = IdealSignals(
            sensor.specific_force_mps2(motion.gravity_mps2), sensor.angular_rate_radps()
        )
    before_last = truth.steps[-2]
    return Subject(
        name,
        mark.style,
        mark.side,
        FIGURE_GRID_HZ,
        signals,
        truth.metrics,
        tuple(
            GaitEvent(e.kind, e.side, e.time_s, TIMING_S)
            for e in events(motion, mark.start_s, mark.end_s)
        ),
        (before_last.start_s, before_last.strike_s),
        mark.plant_s,
        mark.toe_off_s,
        mark.landing_s,
    )


def figure_motion(
    name: str, movement: Movement = Movement.PLAIN, body: Body | None = None
) -> Motion:
    """Stand or fidget, jump, stand."""
    jump = FIGURE_JUMPS[name]
    script = Script(Body() if body is None else body)
    generator = np.random.default_rng(jump.seed)
    if movement is Movement.FIDGETING:
        Fidget(8.0).write(script, generator)
        jump = replace(jump, stand_before_s=0.3)
    elif movement is Movement.SHORT_STAND:
        Fidget(8.0).write(script, generator)
        jump = replace(jump, stand_before_s=0.8)
    else:
        Stand(2.5).write(script, generator)
        jump = replace(jump, stand_before_s=0.5)
    write_jump(jump, script)
    Stand(1.5).write(script, generator)
    if movement is Movement.SOFT_FLOOR:
        _soften(script)
    elif movement is Movement.FOREFOOT:
        _land_on_forefoot(script)
    return Motion(script)


def _soften(script: Script) -> None:
    """Let every strike of the script sink in more slowly, and pass on more slowly."""
    for side in Side:
        script.stances[side] = [
            s if s.strike_s is None else replace(s, impact_s=SOFT_IMPACT_S)
            for s in script.stances[side]
        ]
    starts = sorted(s.time_s for s in script.shocks) + [k.time_s for k in script.knots]
    for i, shock in enumerate(script.shocks):
        room_s = min(t for t in starts if t > shock.time_s) - shock.time_s
        length_s = max(shock.length_s, min(SOFT_SHOCK_S, room_s - 0.002))
        script.shocks[i] = replace(shock, length_s=length_s)


def _land_on_forefoot(script: Script) -> None:
    """Turn every heel strike into a strike on the ball."""
    for side in Side:
        script.stances[side] = [
            replace(s, strike_pitch_rad=FOREFOOT_RAD) if s.strike_pitch_rad < 0.0 else s
            for s in script.stances[side]
        ]


@cache
def runner(name: str) -> Subject:
    """One jump of the rigid-body runner between two stands."""
    seed, take_off = RUNS[name]
    run, _ = find_run(seed, take_off)
    contacts = contacts_of(run)
    jump = jump_of(run, contacts)
    end_s = float(run.time_s[-1])
    plan = StandingPlan(
        blend_in_s=(0.0, BLEND_IN_S),
        blend_out_s=(end_s - BLEND_OUT_S, end_s),
        still_start_s=3.0,
        still_end_s=3.0,
        pelvis_height_m=0.995 * 2 * run.body.segment_m + FOOT_RADIUS_M,
        shank_end_height_m=FOOT_RADIUS_M,
        sway_m=0.002,
    )
    motion, weight = with_standing(body_motion(run), plan, np.random.default_rng([seed, 6]))
    shift_s = plan.shift_s
    plant_s = jump.plant[0].strike_s or 0.0
    counted = sum(BLEND_IN_S <= (c.strike_s or 0.0) < plant_s for c in contacts)
    facts = Facts(
        motion,
        shifted_contacts(contacts, shift_s),
        JumpPlan(shifted_contacts(jump.plant, shift_s), counted),
        Scope(
            start_s=BLEND_IN_S + shift_s,
            end_s=plan.blend_out_s[0] + shift_s,
            uncertainty_s=TIMING_S,
            step_at_touchdown=True,
            step_uncertainty_m=0.005,
            standing_m=plan.pelvis_height_m,
        ),
    ).document()
    before_last = [s for s in facts["steps"] if s["phase"] == "run_up"][-2]
    take_off_facts = facts["take_off"]
    return Subject(
        name,
        take_off,
        Side(take_off_facts["first_contact_side"]),
        GRID_HZ,
        _signals(run, motion, weight, shift_s),
        metrics_of_facts(facts),
        tuple(
            GaitEvent(EventKind(e["kind"]), Side(e["side"]), e["time_s"], TIMING_S)
            for e in facts["events"]
        ),
        (before_last["start_s"], before_last["end_s"]),
        take_off_facts["plant_touchdown_s"],
        take_off_facts["toe_off_s"],
        take_off_facts["landing_s"],
    )


def metrics_of_facts(facts: Mapping[str, Any]) -> dict[str, float | None]:
    """Truth of the metrics that a truth document holds; ``None`` for the others.

    The runner is blended in from standing at full speed, and may be fastest while it slides in:
    its peak speed is not known.
    """
    known = known_values(facts)
    first, second = [s for s in facts["steps"] if s["phase"] == "run_up"][-2:]
    up_mps, flight_s = known["take_off_vertical_mps"], known["flight_s"]
    known |= {
        "speed_loss_mps": known["plant_speed_mps"] - known["take_off_speed_mps"],
        "penultimate_step_s": second["start_s"] - first["start_s"],
        "plant_sink_m": known["lowering_m"] - known["plant_lowering_m"],
        "height_flight_m": STANDARD_GRAVITY_MPS2 * flight_s**2 / 8.0,
        "height_velocity_m": up_mps**2 / (2.0 * STANDARD_GRAVITY_MPS2),
        "reactive_ratio": flight_s / known["take_off_contact_s"],
    }
    return {name: known.get(name) for name in METRIC_NAMES}
