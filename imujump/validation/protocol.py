"""A fixed set of simulated approach jumps with known truth: the same on every machine.

Its seed is its own: the analysis was developed on jumps of other seeds and other sources.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Side, TakeOffStyle
from imujump.simulate.athlete import ApproachJump
from imujump.simulate.body import Body
from imujump.simulate.imu import SensorErrors, SimulatedRecording, record
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose
from imujump.simulate.technique import ReachError
from imujump.simulate.truth_record import motion_record
from imujump.validation.truths import Truth, parse_truth

SEED = 77_1203
JUMPS = 24
RATES_HZ, RANGES_G = (100.0, 200.0, 400.0), (16.0, 32.0)

TRIES = 50
"""Draws until one can be performed; most can at once."""


@dataclass(frozen=True, slots=True)
class Simulated:
    """One recording of the protocol."""

    name: str
    recording: SimulatedRecording
    truth: Truth


def recordings(jumps: int = JUMPS, seed: int = SEED) -> Iterator[Simulated]:
    """Simulate the protocol's jumps one after the other.

    Rates, ranges, take-off styles and sides take turns; all else is drawn at random.
    """
    for number in range(jumps):
        generator = np.random.default_rng((seed, number))
        rate_hz = RATES_HZ[number % len(RATES_HZ)]
        range_g = RANGES_G[number // len(RATES_HZ) % len(RANGES_G)]
        style = (TakeOffStyle.ONE_FOOT, TakeOffStyle.TWO_FOOT)[number % 2]
        motion = _motion(style, generator)
        errors = replace(SensorErrors(), accel_range_mps2=range_g * STANDARD_GRAVITY_MPS2)
        recording = record(motion, generator, rate_hz=rate_hz, errors=errors)
        name = f"{number + 1:02d} {str(style).replace('_', ' ')}, {rate_hz:g} Hz, {range_g:g} g"
        yield Simulated(name, recording, parse_truth(motion_record(motion)))


def _motion(style: TakeOffStyle, generator: np.random.Generator) -> Motion:
    for _ in range(TRIES):
        jump, stature_m = _drawn(style, generator)
        # A technique that no body can perform is refused: draw another.
        with contextlib.suppress(ValueError):
            return compose([Stand(0.5), jump, Stand(0.5)], generator, body=Body(stature_m))
    raise ReachError(f"no jump that a body can perform in {TRIES} draws")


def _drawn(style: TakeOffStyle, generator: np.random.Generator) -> tuple[ApproachJump, float]:
    """Draw a technique over the ranges that people show, and a stature."""
    uniform = generator.uniform
    jump = ApproachJump(
        style=style,
        side=Side.LEFT if uniform() < 0.5 else Side.RIGHT,
        steps=int(generator.integers(4, 10)),
        approach_speed_mps=uniform(2.8, 5.4),
        last_step_ratio=uniform(0.75, 1.2),
        lowering_m=uniform(0.08, 0.2),
        plant_interval_s=uniform(0.03, 0.12),
        take_off_vertical_mps=uniform(2.1, 3.2),
        turn_rad=uniform(-0.9, 0.9),
        strike_pitch_rad=uniform(-0.35, 0.2),
        irregularity_ratio=uniform(0.0, 0.06),
        seed=int(generator.integers(1, 2**31)),
        plant_tilt_rad=uniform(-0.25, 0.05),
        landing=("both", "both", "left", "right")[int(generator.integers(4))],
        landing_lag_s=uniform(-0.04, 0.04),
        stand_before_s=uniform(1.5, 3.0),
        stand_after_s=uniform(1.2, 2.0),
    )
    return jump, math.floor(uniform(1.60, 2.00) * 100.0) / 100.0
