"""Bias of foot events by strike pattern, speed and sample rate: ``python -m tests.truth.bias``.

Jumps of the package's own figure under every pattern, speed and rate are drawn twice. From the
first half a constant is fitted for each level; the second half, of other seeds, shows the bias
that is left without and with these constants.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import click
import numpy as np
from rich import box
from rich.console import Console
from rich.table import Table

from imujump.model import EventKind, FloatArray
from imujump.pipeline.engine import analyse
from imujump.simulate.body import Body
from imujump.simulate.imu import SensorErrors, record
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose
from imujump.simulate.technique import ReachError
from imujump.simulate.truth_record import motion_record
from imujump.validation.pairing import Tally
from imujump.validation.truths import parse_truth

from .fresh_draws import draw_technique

PATTERNS = {"heel": (-0.35, -0.15), "midfoot": (-0.12, 0.03), "forefoot": (0.08, 0.20)}
"""Pitch of the foot at touchdown, rad, toes up negative (own choice of bounds)."""

SPEEDS_MPS = {"3.0-3.8": (3.0, 3.8), "3.8-4.6": (3.8, 4.6), "4.6-5.4": (4.6, 5.4)}
RATES_HZ = {"100 Hz": 100.0, "200 Hz": 200.0, "400 Hz": 400.0}
FACTORS = (tuple(PATTERNS), tuple(SPEEDS_MPS), tuple(RATES_HZ))
SEED = 4100


@dataclass(frozen=True, slots=True)
class Seen:
    """One found event: its half, levels of the three factors, error in seconds."""

    half: int
    levels: tuple[str, str, str]
    kind: EventKind
    error_s: float


def drawn(rng: np.random.Generator, pattern: str, speed: str) -> Motion:
    """A jump of that pattern and speed that a body can perform."""
    while True:
        technique = replace(
            draw_technique(rng),
            strike_pitch_rad=float(rng.uniform(*PATTERNS[pattern])),
            approach_speed_mps=float(rng.uniform(*SPEEDS_MPS[speed])),
        )
        try:
            body = Body(float(rng.uniform(1.60, 2.05)))
            return compose([Stand(float(rng.uniform(0.3, 1.5))), technique], rng, body=body)
        except (ReachError, ValueError):
            continue


def seen(each: int) -> Iterator[Seen]:
    """Errors of all found events, ``each`` jumps for every combination and half."""
    for half, number in itertools.product(range(2), range(each)):
        for place, levels in enumerate(itertools.product(*FACTORS)):
            pattern, speed, rate = levels
            rng = np.random.default_rng((SEED, half, number, place))
            motion = drawn(rng, pattern, speed)
            errors = replace(SensorErrors(), clock_skew_ppm=0.0, clock_offset_s=0.0)
            source = record(motion, rng, rate_hz=RATES_HZ[rate], errors=errors)
            tally = Tally()
            tally.add("", analyse(source), parse_truth(motion_record(motion)))
            for kind, found in tally.event_errors_s.items():
                yield from (Seen(half, levels, kind, error) for error in found)


def design(events: list[Seen]) -> FloatArray:
    """Columns (events, 7): the whole, and the levels of each factor but the first."""
    columns = [np.ones(len(events))]
    for factor, names in enumerate(FACTORS):
        columns += [np.array([e.levels[factor] == n for e in events], float) for n in names[1:]]
    return np.stack(columns, axis=1)


def fitted(events: list[Seen]) -> FloatArray:
    """Constants (7,) by least squares, s."""
    errors = np.array([e.error_s for e in events])
    return np.asarray(np.linalg.lstsq(design(events), errors, rcond=None)[0])


@click.command(help=__doc__)
@click.argument("each", default=2)
def main(each: int) -> None:
    every = list(seen(each))
    console = Console(width=110)
    for kind in EventKind:
        first, second = ([e for e in every if e.kind is kind and e.half == h] for h in (0, 1))
        left_s = design(second) @ fitted(first)
        sheet = Table(
            "", "first half, ms", "second half, ms", "with constants, ms", "n", box=box.SIMPLE
        )
        errors = np.array([e.error_s for e in second])
        sheet.add_row(*_row("all", [e.error_s for e in first], errors, errors - left_s))
        for factor, names in enumerate(FACTORS):
            for name in names:
                at = np.array([e.levels[factor] == name for e in second])
                fit = [e.error_s for e in first if e.levels[factor] == name]
                sheet.add_row(*_row(name, fit, errors[at], (errors - left_s)[at]))
        console.print(f"{kind}: bias ± standard deviation")
        console.print(sheet)


def _row(name: str, *parts: list[float] | FloatArray) -> tuple[str, ...]:
    cells = [f"{1e3 * np.mean(p):+.1f} ± {1e3 * np.std(p):.1f}" for p in parts]
    return (name, *cells, str(len(parts[1])))


if __name__ == "__main__":
    main()
