"""Hours without an approach jump, as a recording that is made while it is read.

Segments of about a minute follow each other, each of one kind and each from quiet standing to
quiet standing, so that their signals join. Only one segment is in memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement, RecordingInfo, SampleBatch, SensorInfo
from imujump.simulate.body import Body
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Bounce, Fidget, RunThrough, Stand, TurnAround, Walk
from imujump.simulate.script import Script
from imujump.simulate.session import Block
from tests.truth.motion import IdealSignals
from tests.truth.sensor_errors import GYRO_RANGE_DPS, SensorSet, draw_sensor_set, measured

from .handling import handled, transported
from .skipping import Skip

RATE_HZ, GRID_HZ = 200, 800.0
SEGMENT_S = 60.0
CHUNK_S = 10.0
PACKET_SAMPLES = 20

Signals = Mapping[Placement, IdealSignals]
Chooser = Callable[[np.random.Generator], list[Block]]


def _standing(generator: np.random.Generator) -> list[Block]:
    return [Stand(float(generator.uniform(5.0, 30.0)), float(generator.uniform(0.001, 0.006)))]


def _fidgeting(generator: np.random.Generator) -> list[Block]:
    return [Fidget(float(generator.uniform(4.0, 20.0)))]


def _walking(generator: np.random.Generator) -> list[Block]:
    speed, step = float(generator.uniform(0.8, 1.8)), float(generator.uniform(0.5, 0.75))
    return [Walk(float(generator.uniform(4.0, 20.0)), speed, step), *_pause(generator)]


def _walking_back(generator: np.random.Generator) -> list[Block]:
    sign = float(generator.choice([-1.0, 1.0]))
    way_m = float(generator.uniform(6.0, 15.0))
    return [
        TurnAround(sign * math.pi),
        Walk(way_m),
        TurnAround(-sign * math.pi),
        *_pause(generator),
    ]


def _bouncing(generator: np.random.Generator) -> list[Block]:
    hops = int(generator.integers(3, 11))
    flight, contact = float(generator.uniform(0.20, 0.42)), float(generator.uniform(0.20, 0.30))
    return [Bounce(hops, flight, contact), *_pause(generator)]


def _skipping(generator: np.random.Generator) -> list[Block]:
    speed = float(generator.uniform(1.6, 2.4))
    flight = float(generator.uniform(0.12, 0.24))
    return [Skip(int(generator.integers(3, 9)), speed, flight), *_pause(generator)]


def _running_through(generator: np.random.Generator) -> list[Block]:
    speed = float(generator.uniform(2.5, 6.0))
    run = RunThrough(speed, int(generator.integers(4, 11)), float(generator.uniform(0.06, 0.13)))
    return [run, *_pause(generator)]


def _pause(generator: np.random.Generator) -> list[Block]:
    """Stand, stand about or go on at once."""
    what, length = generator.integers(3), float(generator.uniform(1.0, 5.0))
    return [[Stand(length)], [Fidget(length)], []][what]  # type: ignore[return-value]


MOVEMENTS: Mapping[str, Chooser] = {
    "standing": _standing,
    "fidgeting": _fidgeting,
    "walking": _walking,
    "walking back": _walking_back,
    "bouncing": _bouncing,
    "skipping": _skipping,
    "running through": _running_through,
}
OFF_BODY: Mapping[str, Callable[[np.random.Generator, float, float], Signals]] = {
    "handling": handled,
    "bag": transported,
}
KINDS = (*MOVEMENTS, *OFF_BODY)


def segment(kind: str, generator: np.random.Generator, least_s: float = SEGMENT_S) -> Signals:
    """Ideal signals of at least ``least_s`` of one kind, from standing to standing."""
    if kind in OFF_BODY:
        return OFF_BODY[kind](generator, least_s, GRID_HZ)
    script = Script(Body())
    Stand(1.5).write(script, generator)
    while script.time_s < least_s - 1.5:
        for block in MOVEMENTS[kind](generator):
            block.write(script, generator)
    Stand(1.5).write(script, generator)
    motion = Motion(script)
    count = int(motion.duration_s * GRID_HZ)
    count -= count % round(GRID_HZ / RATE_HZ)
    parts: dict[Placement, list[IdealSignals]] = {p: [] for p in Placement}
    for first in range(0, count, round(CHUNK_S * GRID_HZ)):
        time_s = np.arange(first, min(count, first + round(CHUNK_S * GRID_HZ))) / GRID_HZ
        for placement in Placement:
            sensor = motion.sensor(placement, time_s)
            parts[placement].append(
                IdealSignals(sensor.specific_force_mps2(), sensor.angular_rate_radps())
            )
    return {
        placement: IdealSignals(
            np.concatenate([p.accel_mps2 for p in own]), np.concatenate([p.gyro_radps for p in own])
        )
        for placement, own in parts.items()
    }


@dataclass(eq=False)
class IdleSession:
    """A recording without a jump, made while it is read; a SampleSource to be read once.

    Parameters
    ----------
    seed : int
        Of sensors, order and movements.
    duration_s : float
        At least this long.
    kinds : tuple of str
        What is done; each round takes all kinds in a new order.
    least_s : float
        Length of a segment.
    progress : callable
        Told the seconds made so far and the kind that comes next.
    """

    seed: int
    duration_s: float
    kinds: tuple[str, ...] = KINDS
    least_s: float = SEGMENT_S
    progress: Callable[[float, str], None] = lambda made_s, kind: None
    segments: list[tuple[float, str]] = field(default_factory=list)
    """Start and kind of every segment made so far."""

    @property
    def sensor_set(self) -> SensorSet:
        """Errors of the three sensors."""
        return replace(
            draw_sensor_set(self.seed, soft_tissue=True), rate_hz=RATE_HZ, accel_range_g=16.0
        )

    @property
    def info(self) -> RecordingInfo:
        """The head of the recording."""
        limit_mps2 = self.sensor_set.accel_range_g * STANDARD_GRAVITY_MPS2
        return RecordingInfo(
            tuple(
                SensorInfo(
                    p, f"idle {p}", RATE_HZ, 1.0 / RATE_HZ, limit_mps2, math.radians(GYRO_RANGE_DPS)
                )
                for p in Placement
            )
        )

    def batches(self) -> Iterator[SampleBatch]:
        """Make and yield batches of 0.1 s, the three sensors in turn, on one clock."""
        generator = np.random.default_rng([self.seed, 8])
        sensor_set = self.sensor_set
        index, order = 0, []
        while index < self.duration_s * RATE_HZ:
            if not order:
                order = [self.kinds[i] for i in generator.permutation(len(self.kinds))]
            kind = order.pop()
            self.progress(index / RATE_HZ, kind)
            self.segments.append((index / RATE_HZ, kind))
            samples = {
                p: measured(ideal, GRID_HZ, sensor_set.sensors[p], sensor_set, generator)
                for p, ideal in segment(kind, generator, self.least_s).items()
            }
            count = min(len(s) for s in samples.values())
            for first in range(0, count, PACKET_SAMPLES):
                last = min(first + PACKET_SAMPLES, count)
                ticks = np.arange(index + first, index + last, dtype=np.int64)
                for p, own in samples.items():
                    yield SampleBatch(
                        p,
                        index + first,
                        ticks,
                        (index + last) / RATE_HZ,
                        np.ascontiguousarray(own[first:last, :3]),
                        np.ascontiguousarray(own[first:last, 3:]),
                    )
            index += count

    def kind_at(self, time_s: float) -> str:
        """What was done at an instant, and for how long already."""
        start_s, kind = max((s for s in self.segments if s[0] <= time_s), default=(0.0, "nothing"))
        return f"{kind}, {time_s - start_s:.1f} s into it"
