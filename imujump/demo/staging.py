"""A planned session acted out: simulated movement, worn sensors, recording files, coach's log."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.demo.plan import AthletePlan
from imujump.demo.season import Training, Try
from imujump.model import Mark, Placement, TakeOffStyle
from imujump.recording.profiles import compact_profile
from imujump.recording.saving import save_recording
from imujump.sessions.records import Task
from imujump.sessions.session_log import Entry, EntryKind
from imujump.simulate.athlete import ApproachJump, write_jump
from imujump.simulate.body import Body
from imujump.simulate.imu import Imperfection, SensorErrors, draw, record
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Stand, TurnAround
from imujump.simulate.script import Script
from imujump.simulate.session import Block, compose
from imujump.simulate.standing_jump import StandingJump

G = STANDARD_GRAVITY_MPS2
RATE_HZ, ACCEL_RANGE_G, GYRO_RANGE_DEGPS = 200.0, 32.0, 2000.0

USUAL_SPEED_MPS = {TakeOffStyle.ONE_FOOT: 4.2, TakeOffStyle.TWO_FOOT: 3.3}
CONTACT_PER_SPEED = -0.02
"""Faster approaches leave less time on the floor, seconds per m/s (own choice)."""

LOOSE_RING_HZ, LOOSE_DAMPING = 20.0, 0.06
"""How a shank sensor on a loose strap rings (own choice: it shakes through the whole contact)."""

PACKET_SAMPLES = 19
"""As many samples as a packet of README's sensor holds at the usual size."""

BETWEEN_S = 600.0
"""From the standing jumps to the run-ups."""

LOG_SUFFIX = ".log.jsonl"


@dataclass(frozen=True, slots=True)
class Taken:
    """A recording of a session; ``task`` is what the coach says of it, if anything."""

    path: Path
    task: Task | None = None
    from_athlete: bool = False


def act_out(plan: AthletePlan, training: Training, folder: Path, seed: tuple[int, int]) -> None:
    """Write a session's recordings, and the coach's log beside the one with run-ups.

    Parameters
    ----------
    plan : AthletePlan
        Who jumps.
    training : Training
        The session.
    folder : Path
        Where to; files that are there already are written again.
    seed : pair of int
        Of the club and of the athlete: source of sway, mounting and noise.
    """
    folder.mkdir(parents=True, exist_ok=True)
    chance = np.random.default_rng((*seed, training.number, 1))
    body = Body(round(training.stature_m, 3))
    for taken in recordings_of(training, folder):
        if taken.task is Task.STANDING:
            motion = compose(_standing(training), chance, body=body)
            _write(motion, taken.path, training.started_utc, chance, loose=False)
            continue
        motion = compose(_run_ups(plan, training, body), chance, body=body)
        begin = training.started_utc + timedelta(seconds=BETWEEN_S)
        _write(motion, taken.path, begin, chance, training.loose)
        if not taken.from_athlete:
            # What an athlete sends has no coach's log.
            text = "".join(f"{line}\n" for line in coach_log(plan, training, motion, begin))
            taken.path.with_suffix(LOG_SUFFIX).write_text(text, encoding="utf-8", newline="\n")


def recordings_of(training: Training, folder: Path) -> tuple[Taken, ...]:
    """List the recordings that a session has."""
    stem = training.started_utc.strftime("%Y-%m-%d")
    run_ups = Taken(folder / f"{stem}.imujump", from_athlete=training.waiting)
    if not training.standing_m:
        return (run_ups,)
    return Taken(folder / f"{stem}_standing.imujump", Task.STANDING), run_ups


def take_off_mps(height_m: float, drop_m: float) -> float:
    """Upward speed at toe-off that makes a flight of a height by its time.

    >>> round(take_off_mps(0.4413, 0.0), 3)
    2.942
    """
    flight_s = math.sqrt(8.0 * height_m / G)
    return 0.5 * G * flight_s - drop_m / flight_s


def standing_speed_mps(height_m: float) -> float:
    """The same for a standing jump."""
    return take_off_mps(height_m, StandingJump().landing_drop_m)


def jump_of(plan: AthletePlan, one: Try) -> ApproachJump:
    """Give the technique that makes an attempt."""
    single = one.style is TakeOffStyle.ONE_FOOT
    usual = plan.contact_s if one.style is plan.style else 0.19
    faster = one.approach_speed_mps - USUAL_SPEED_MPS[one.style]
    return ApproachJump(
        style=one.style,
        side=one.side,
        steps=plan.steps,
        approach_speed_mps=one.approach_speed_mps,
        last_step_ratio=one.last_step_ratio,
        lowering_m=plan.lowering_m if one.style is plan.style else 0.14,
        take_off_contact_s=usual + CONTACT_PER_SPEED * faster,
        take_off_vertical_mps=take_off_mps(one.height_m, ApproachJump().landing_drop_m),
        irregularity_ratio=0.03,
        seed=one.seed,
        landing=one.side.other.value if single else "both",
        stand_before_s=1.6,
        stand_after_s=1.2,
    )


def _standing(training: Training) -> Iterator[Block]:
    yield Stand(3.0)
    for height_m in training.standing_m:
        yield StandingJump(standing_speed_mps(height_m))
        yield Stand(2.5)


def _run_ups(plan: AthletePlan, training: Training, body: Body) -> Iterator[Block | ApproachJump]:
    """Yield the attempts; the athlete jumps to and fro, turning around in between."""
    yield Stand(2.5)
    for one in training.tries:
        jump = jump_of(plan, one)
        # A contact that the leg cannot do is left to the simulated athlete.
        yield jump if _possible(jump, body) else replace(jump, take_off_contact_s=None)
        yield TurnAround(step_s=0.45)
    yield Stand(1.5)


def _possible(jump: ApproachJump, body: Body) -> bool:
    try:
        write_jump(jump, Script(body))
    except ValueError:
        return False
    return True


def _write(
    motion: Motion, path: Path, began: datetime, chance: np.random.Generator, loose: bool
) -> None:
    errors = SensorErrors(
        accel_range_mps2=ACCEL_RANGE_G * G, gyro_range_radps=math.radians(GYRO_RANGE_DEGPS)
    )
    marks = [
        Mark(round(jump.start_s, 3), f"attempt {number}")
        for number, jump in enumerate(motion.jumps, start=1)
    ]
    recording = record(
        motion,
        chance,
        rate_hz=RATE_HZ,
        packet_samples=PACKET_SAMPLES,
        errors=errors,
        started_utc=began,
        marks=marks,
        imperfections=_worn(errors, chance, loose),
    )
    profile = compact_profile(RATE_HZ, ACCEL_RANGE_G, GYRO_RANGE_DEGPS)
    path.unlink(missing_ok=True)
    save_recording(recording, path, dict.fromkeys(Placement, profile))


def _worn(
    errors: SensorErrors, chance: np.random.Generator, loose: bool
) -> Mapping[Placement, Imperfection]:
    """Draw how the sensors sit; the left shank's may be loose."""
    drawn = {placement: draw(errors, placement, chance) for placement in Placement}
    first = min(one.clock_offset_s for one in drawn.values())
    drawn = {p: replace(d, clock_offset_s=d.clock_offset_s - first) for p, d in drawn.items()}
    if loose:
        left = drawn[Placement.LEFT_SHANK]
        drawn[Placement.LEFT_SHANK] = replace(
            left, ring_hz=LOOSE_RING_HZ, ring_damping=LOOSE_DAMPING
        )
    return drawn


def coach_log(
    plan: AthletePlan, training: Training, motion: Motion, began: datetime
) -> Iterator[str]:
    """Yield the lines of the coach's log as the courtside page writes them."""
    begun = {"athlete": plan.name, "surface": plan.surface, "shoe": training.shoe}
    entries: list[tuple[EntryKind, float, int | None, str, dict[str, object]]] = [
        (EntryKind.BEGIN, 0.0, None, "", dict(begun))
    ]
    half = len(training.tries) // 2
    for number, (one, jump) in enumerate(zip(training.tries, motion.jumps, strict=True), start=1):
        told = {"toe_off_s": round(jump.toe_off_s, 3)}
        entries.append((EntryKind.ATTEMPT, jump.end_s, number, "", dict(told)))
        for kind, text in (
            (EntryKind.INVALID, one.mark),
            (EntryKind.SEEN, one.seen),
            (EntryKind.CUE, one.cue),
        ):
            if text:
                entries.append((kind, jump.end_s + 1.0, number, text, {}))
        if number == half:
            entries.append((EntryKind.NEW_SET, jump.end_s + 2.0, number, "", {}))
    for n, (kind, at_s, number_or_none, text, data) in enumerate(entries, start=1):
        noted = (began + timedelta(seconds=at_s)).isoformat(timespec="milliseconds")
        yield json.dumps(asdict(Entry(n, kind, noted, number_or_none, text, data)))
