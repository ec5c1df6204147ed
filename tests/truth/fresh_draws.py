"""Recordings that nobody has seen before, drawn anew in every test run, and their analysis.

The seed comes from the operating system unless ``IMUJUMP_SEED`` is set, which repeats a run.
Seeds below 10 000 belong to development and are refused.
"""

from __future__ import annotations

import math
import os
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import RecordingInfo, SampleSource, SensorInfo, Side, TakeOffStyle
from imujump.pipeline.engine import analyse
from imujump.recording.memory import MemorySource, from_arrays
from imujump.simulate.athlete import ApproachJump, ReachError
from imujump.simulate.body import Body
from imujump.simulate.imu import SensorErrors, record
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose
from imujump.simulate.truth import jump_truths
from imujump.simulate.truth_record import jump_record

from .agreement_with_truth import Outcome, held_against
from .clips import run_up_names
from .record import VirtualRecording, run_up_recording
from .runner import (
    Fall,
    Run,
    contacts_of,
    draw_body,
    draw_style,
    find_run,
    jump_of,
    last_step_change_m,
    recording_of,
    simulate,
)
from .runner_body import STEP_S

FIRST_FRESH_SEED, SEEDS = 10_000, 2**31
VARIABLE = "IMUJUMP_SEED"
SHORTER_M = -0.05
"""A last step counts as shorter from this change on, as in :func:`.runner.find_run`."""

FIGURES, RUNNERS_OF_EACH_STYLE, PEOPLE = 20, 4, 24
"""Recordings of the short set: what fits into 80 s on one core."""

MOST_TRIES = 60
"""After so many simulated attempts of one style the short set no longer waits for a shorter
last step (about 45 s; one two-foot attempt in 30 and one one-foot attempt in 12 has one)."""

MOST_STEP_FLIGHT_SHARE = 0.8
"""Own choice. A flight that is a fifth shorter rises two thirds as high."""

MOST_REBOUND_SHARE = 0.7
"""Own choice. People do not rebound from a landing at seven tenths of their take-off speed."""


@cache
def fresh_seed() -> int:
    """Seed of this run: from ``IMUJUMP_SEED``, else new.

    Raises
    ------
    ValueError
        If the variable is no whole number from 10 000 on.
    """
    text = os.environ.get(VARIABLE)
    if text is None:
        return FIRST_FRESH_SEED + secrets.randbelow(SEEDS - FIRST_FRESH_SEED)
    if not text.isascii() or not text.isdigit() or int(text) < FIRST_FRESH_SEED:
        raise ValueError(f"{VARIABLE} is {text!r}; set a whole number from {FIRST_FRESH_SEED} on")
    return int(text)


def source_of(recording: VirtualRecording) -> MemorySource:
    """The recording as a source; samples that were lost are left out."""
    model = recording.truth["sensor_model"]
    step_s = 1.0 / recording.rate_hz
    heads, channels = [], {}
    for placement, samples in recording.samples.items():
        heads.append(
            SensorInfo(
                placement,
                str(placement),
                float(recording.rate_hz),
                step_s,
                model["accel_range_g"] * STANDARD_GRAVITY_MPS2,
                math.radians(model["gyro_range_dps"]),
            )
        )
        came = np.flatnonzero(~np.isnan(samples).any(axis=1)).astype(np.int64)
        channels[placement] = (came, samples[came, :3], samples[came, 3:])
    return from_arrays(RecordingInfo(tuple(heads)), channels)


def analysed(name: str, recording: VirtualRecording) -> Outcome:
    """Analyse a virtual recording and hold the result against its truth."""
    return held_against(name, recording.truth, analyse(source_of(recording)))


def is_clear(run: Run) -> bool:
    """Whether the jump stands out: no step before it and no rebound flies nearly as long.

    The simulated figure now and then bounds out of its start, or bounces out of its landing, as
    high as it jumps; then no observer could tell by the movement which of them was meant.
    """
    contacts = contacts_of(run)
    plant = jump_of(run, contacts).plant
    struck = [c.strike_s for c in contacts if c.strike_s is not None]
    left = [c.off_s for c in contacts if c.off_s is not None]

    def flight_s(landing_s: float) -> float:
        return landing_s - max((off for off in left if off < landing_s), default=0.0)

    toe_off_s = max(c.off_s or 0.0 for c in plant)
    landing_s = min(s for s in struck if s > toe_off_s)
    jump_s = flight_s(landing_s)
    rise_mps = run.rate[:, 1]
    rebound_mps = float(rise_mps[round(landing_s / STEP_S) :].max())
    if rebound_mps > MOST_REBOUND_SHARE * rise_mps[round(toe_off_s / STEP_S)]:
        return False
    steps = [s for s in struck if s <= (plant[0].strike_s or 0.0)]
    return max(map(flight_s, steps)) <= MOST_STEP_FLIGHT_SHARE * jump_s


def runner_campaign(seed: int, count: int) -> Iterator[Outcome]:
    """Runner variants, one-foot and two-foot in turn, half with a shorter last step."""
    for number in range(count):
        take_off = TakeOffStyle.TWO_FOOT if number % 2 else TakeOffStyle.ONE_FOOT
        own = seed + number
        run, _ = find_run(own, take_off, shorter=number % 4 >= 2)
        while not is_clear(run):
            own += count
            run, _ = find_run(own, take_off, shorter=number % 4 >= 2)
        yield analysed(f"runner {take_off} {own}", recording_of(run, own))


def few_runners(seed: int, each: int) -> Iterator[Outcome]:
    """``each`` one-foot and ``each`` two-foot runners, as a rule one of either shorter."""
    for take_off in TakeOffStyle:
        own = seed + (each if take_off is TakeOffStyle.TWO_FOOT else 0)
        for number, recording in enumerate(_recordings(own, take_off, each)):
            yield analysed(f"runner {take_off} {own + number}", recording)


def _recordings(seed: int, take_off: TakeOffStyle, count: int) -> list[VirtualRecording]:
    """The first clear jumps of a stream of attempts; the last place waits for a shorter step."""
    rng = np.random.default_rng([seed, 6])
    kept: list[VirtualRecording] = []
    shorter = tries = 0
    while len(kept) < count:
        tries += 1
        try:
            run = simulate(draw_body(rng), draw_style(rng, take_off))
            jump_of(run, contacts_of(run))
        except Fall:
            continue
        is_shorter = last_step_change_m(run) < SHORTER_M
        if len(kept) == count - 1 and not (shorter or is_shorter or tries > MOST_TRIES):
            continue
        if is_clear(run):
            kept.append(recording_of(run, seed + len(kept)))
            shorter += is_shorter
    return kept


def people(data: Path, seed: int, count: int) -> Iterator[Outcome]:
    """Run-up jumps of people: clips chosen, cut, mirrored and measured at random."""
    names = run_up_names(data)
    chosen = np.random.default_rng([seed, 7]).permutation(len(names))[:count]
    for number, index in enumerate(chosen):
        recording = run_up_recording(data, names[index], seed + number)
        yield analysed(f"clip {names[index]} {seed + number}", recording)


def figures(seed: int, count: int) -> Iterator[Outcome]:
    """Jumps of the package's own figure: technique, body, rate and sensor errors at random."""
    for number in range(count):
        rng = np.random.default_rng([seed + number, 8])
        motion = _possible_motion(rng)
        source = record(
            motion,
            rng,
            rate_hz=float(rng.choice([100.0, 200.0, 400.0], p=[0.15, 0.65, 0.20])),
            errors=_sensor_errors(rng),
        )
        yield _figure_outcome(f"figure {seed + number}", motion, source)


def _figure_outcome(name: str, motion: Motion, source: SampleSource) -> Outcome:
    (truth,) = jump_truths(motion)
    document: Mapping[str, Any] = jump_record(motion, truth)
    return held_against(name, document, analyse(source))


def _possible_motion(rng: np.random.Generator) -> Motion:
    while True:
        try:
            return compose(
                [Stand(float(rng.uniform(0.3, 1.5))), draw_technique(rng)],
                rng,
                body=Body(float(rng.uniform(1.60, 2.05))),
            )
        except (ReachError, ValueError):
            continue  # legs too short for that technique


def draw_technique(rng: np.random.Generator) -> ApproachJump:
    """Draw a technique; ranges lie inside those of :mod:`imujump.simulate.technique`."""

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    two = bool(rng.uniform() < 0.5)
    return ApproachJump(
        style=TakeOffStyle.TWO_FOOT if two else TakeOffStyle.ONE_FOOT,
        side=Side.LEFT if rng.uniform() < 0.5 else Side.RIGHT,
        steps=int(rng.integers(4, 11)),
        approach_speed_mps=between(2.8, 4.5) if two else between(3.0, 6.0),
        step_flight_s=between(0.07, 0.14),
        contact_scale=between(0.85, 1.15),
        last_step_ratio=between(0.8, 1.3),
        step_width_m=between(0.04, 0.16),
        lowering_m=between(0.10, 0.22),
        plant_interval_s=between(0.03, 0.12),
        take_off_vertical_mps=between(2.2, 3.4),
        turn_rad=between(-0.8, 0.8),
        strike_pitch_rad=between(-0.35, 0.20),
        irregularity_ratio=between(0.0, 0.06),
        seed=int(rng.integers(2**31)),
        plant_tilt_rad=between(-0.25, 0.05),
        run_tilt_rad=between(0.0, 0.25),
        landing=str(rng.choice(["left", "right", "both", "both"])),
        landing_lag_s=between(-0.04, 0.04),
        landing_drop_m=between(0.0, 0.10),
        stand_before_s=between(2.0, 4.0),
        stand_after_s=between(2.0, 4.0),
    )


def _sensor_errors(rng: np.random.Generator) -> SensorErrors:
    """Sensors from half to three times as bad as usual, on one clock."""
    usual, times = SensorErrors(), float(np.exp(rng.uniform(np.log(0.5), np.log(3.0))))
    return replace(
        usual,
        accel_noise_mps2_per_rthz=times * usual.accel_noise_mps2_per_rthz,
        gyro_noise_radps_per_rthz=times * usual.gyro_noise_radps_per_rthz,
        accel_bias_mps2=times * usual.accel_bias_mps2,
        gyro_bias_radps=times * usual.gyro_bias_radps,
        scale_ratio=times * usual.scale_ratio,
        accel_range_mps2=float(rng.choice([16.0, 32.0])) * STANDARD_GRAVITY_MPS2,
        clock_skew_ppm=0.0,
        clock_offset_s=0.0,
    )


_DRAWN: dict[str, tuple[Outcome, ...]] = {}


def outcomes_of(kind: str, data: Path) -> tuple[Outcome, ...]:
    """The short set of one kind, drawn and analysed once in a test run.

    ``kind`` is "figure", "runner" or "people"; ``data`` the folder of the open data sets.
    """
    if kind not in _DRAWN:
        seed = fresh_seed()
        draws = {
            "figure": lambda: figures(seed, FIGURES),
            "runner": lambda: few_runners(seed, RUNNERS_OF_EACH_STYLE),
            "people": lambda: people(data, seed, PEOPLE),
        }
        _DRAWN[kind] = tuple(draws[kind]())
    return _DRAWN[kind]


def drawn_in_this_run() -> dict[str, tuple[Outcome, ...]]:
    """What :func:`outcomes_of` has drawn so far."""
    return dict(_DRAWN)
