"""An athlete who never tires: stands, walks and jumps drawn from a seed, scene after scene."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np

from imujump.model import FloatArray, Placement, Side, TakeOffStyle
from imujump.simulate.athlete import ApproachJump, ReachError
from imujump.simulate.body import Body
from imujump.simulate.imu import Imperfection, SensorErrors, draw, record
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Bounce, Fidget, Stand, TurnAround, Walk
from imujump.simulate.session import Block, compose

Scene = list[Block | ApproachJump]
SceneWriter = Callable[[int, np.random.Generator], Scene]
"""Writes the scene of that number; it starts and ends in quiet standing."""


def jump_session(number: int, generator: np.random.Generator) -> Scene:
    """Write a scene of a jump session: stand, jump, walk back, pause.

    The first scene is quiet standing and a short walk, which a sensor check can use.
    """
    if number == 0:
        return [Stand(4.0), Walk(4.0), TurnAround(), Walk(4.0), TurnAround(-math.pi), Stand(3.0)]
    two_foot = bool(generator.integers(2))
    jump = ApproachJump(
        style=TakeOffStyle.TWO_FOOT if two_foot else TakeOffStyle.ONE_FOOT,
        side=Side.LEFT if generator.integers(2) else Side.RIGHT,
        steps=6,
        approach_speed_mps=float(generator.uniform(3.4, 3.8 if two_foot else 4.4)),
        last_step_ratio=float(generator.uniform(1.02, 1.15) if two_foot else 0.93),
        lowering_m=0.20 if two_foot else 0.15,
        take_off_vertical_mps=float(generator.uniform(2.5, 2.75)),
        irregularity_ratio=0.03,
        seed=int(generator.integers(1 << 30)),
        stand_before_s=2.5,
        stand_after_s=2.0,
    )
    pauses: list[Block] = [Stand(4.0), Fidget(5.0), Bounce(4)]
    pause = pauses[int(generator.integers(3))]
    return [jump, TurnAround(), Walk(8.0), TurnAround(-math.pi), pause, Stand(2.0)]


@dataclass(slots=True)
class _Track:
    """One sensor's samples: chunks, each with the number of its first sample."""

    chunks: list[tuple[int, FloatArray]]
    count: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class SceneOrder:
    """All that a scene is written from; travels to another process."""

    number: int
    seed: int
    scenes: SceneWriter
    rate_hz: float
    worn: Mapping[Placement, Imperfection]
    errors: SensorErrors
    legs_swapped: bool
    keep_motion: bool


@dataclass(frozen=True, slots=True, eq=False)
class WrittenScene:
    """A scene's length, its samples (n, 6) of each sensor, and its motion if that is kept."""

    duration_s: float
    rows: Mapping[Placement, FloatArray]
    motion: Motion | None


def write_scene(order: SceneOrder) -> WrittenScene:
    """Write one scene and sample it with every worn sensor."""
    generator = np.random.default_rng((order.seed, 1 + order.number))
    try:
        motion = compose(order.scenes(order.number, generator), generator, body=Body())
    except ReachError:
        # A draw that no leg can reach becomes a pause.
        motion = compose([Stand(6.0)], generator, body=Body())
    taken = record(
        motion,
        generator,
        rate_hz=order.rate_hz,
        errors=order.errors,
        placements=tuple(order.worn),
        packet_samples=1 << 20,
        legs_swapped=order.legs_swapped,
        imperfections=order.worn,
    )
    rows = {b.placement: np.hstack([b.accel_mps2, b.gyro_radps]) for b in taken.batches()}
    return WrittenScene(motion.duration_s, rows, motion if order.keep_motion else None)


class Athlete:
    """Writes scenes one after the other and samples them with every worn sensor.

    Parameters
    ----------
    rate_hz : float
        Nominal rate of all sensors.
    placements : sequence of Placement
        Sensors worn.
    skew_ppm : mapping
        Rate error of each sensor's clock; 0 where not named.
    seed : int
        The same seed gives the same samples.
    scenes : callable
        Writes the scenes.
    errors : SensorErrors, optional
        Sizes of the sensors' imperfections.
    legs_swapped : bool
        The shank sensors are on the wrong legs.
    keep_motions : bool
        Keep each scene's motion, which knows the true events and jumps.

    Attributes
    ----------
    motions : list of (float, Motion)
        Feed time at which each kept scene begins, and its motion.
    pool : Executor or None
        Where later scenes are written; None: here.
    """

    def __init__(
        self,
        rate_hz: float,
        placements: Sequence[Placement] = tuple(Placement),
        *,
        skew_ppm: Mapping[Placement, float] | None = None,
        seed: int = 0,
        scenes: SceneWriter = jump_session,
        errors: SensorErrors | None = None,
        legs_swapped: bool = False,
        keep_motions: bool = False,
    ) -> None:
        self.rate_hz = rate_hz
        self._placements = tuple(placements)
        self._seed = seed
        self._scenes = scenes
        self._errors = SensorErrors() if errors is None else errors
        self._legs_swapped = legs_swapped
        generator = np.random.default_rng((seed, 0))
        skews = skew_ppm or {}
        self._worn = {
            p: replace(draw(self._errors, p, generator), clock_skew_ppm=skews.get(p, 0.0))
            for p in self._placements
        }
        # A fraction of a sample period between the sensors, as sensors that are not started
        # together have.
        self._phase_s = {p: float(generator.uniform(0.0, 1.0 / rate_hz)) for p in placements}
        self._tracks = {p: _Track([]) for p in self._placements}
        self._written = 0
        self.length_s = 0.0
        self.motions: list[tuple[float, Motion]] = []
        self.pool: Executor | None = None
        self._keep_motions = keep_motions
        self._lock = threading.Lock()

    def feeds(self) -> dict[Placement, AthleteFeed]:
        """Return the feed of each worn sensor."""
        return {p: AthleteFeed(self, p) for p in self._placements}

    def prepare(self, until_s: float) -> None:
        """Write scenes until the motion reaches a feed time."""
        with self._lock:
            while self.length_s < until_s:
                self._write_scene()

    def period_s(self, placement: Placement) -> float:
        """True sample period of a sensor."""
        skew = self._worn[placement].clock_skew_ppm
        return 1.0 / (self.rate_hz * (1.0 + 1e-6 * skew))

    def phase_s(self, placement: Placement) -> float:
        """Feed time of a sensor's first sample."""
        return self._phase_s[placement]

    def track(self, placement: Placement) -> _Track:
        """Samples of one sensor written so far."""
        return self._tracks[placement]

    def _write_scene(self) -> None:
        worn = {}
        for place, flaw in self._worn.items():
            next_s = self.phase_s(place) + self._tracks[place].count * self.period_s(place)
            worn[place] = replace(flaw, clock_offset_s=max(0.0, next_s - self.length_s))
        order = SceneOrder(
            self._written, self._seed, self._scenes, self.rate_hz, worn, self._errors,
            self._legs_swapped, self._keep_motions,
        )  # fmt: skip
        # What the athlete stands through at first must be there at once.
        pool = self.pool if self._written else None
        scene = write_scene(order) if pool is None else pool.submit(write_scene, order).result()
        for place, rows in scene.rows.items():
            track = self._tracks[place]
            track.chunks.append((track.count, rows))
            track.count += len(rows)
        if scene.motion is not None:
            self.motions.append((self.length_s, scene.motion))
        self._written += 1
        self.length_s += scene.duration_s


class AthleteFeed:
    """One sensor's view of an :class:`Athlete`."""

    def __init__(self, athlete: Athlete, placement: Placement) -> None:
        self._athlete = athlete
        self._placement = placement
        self.rate_hz = athlete.rate_hz

    @property
    def length_s(self) -> float:
        """An athlete goes on for ever."""
        return math.inf

    def prepare(self, until_s: float) -> None:
        """Write scenes until the motion reaches a feed time."""
        self._athlete.prepare(until_s)

    def ready_s(self) -> float:
        """Feed time up to which samples are ready."""
        return self._athlete.length_s

    def first_from(self, time_s: float) -> int:
        """Number of the first sample at or after a feed time."""
        phase_s = self._athlete.phase_s(self._placement)
        period_s = self._athlete.period_s(self._placement)
        return max(0, math.ceil((time_s - phase_s) / period_s - 1e-6))

    def times_s(self, first: int, count: int) -> FloatArray:
        """Feed time of samples (count,), seconds."""
        phase_s = self._athlete.phase_s(self._placement)
        period_s = self._athlete.period_s(self._placement)
        return np.asarray(phase_s + np.arange(first, first + count) * period_s)

    def values(self, first: int, count: int) -> FloatArray:
        """Samples (count, 6), writing scenes first where they are missing."""
        track = self._athlete.track(self._placement)
        while track.count < first + count:
            self._athlete.prepare(self._athlete.length_s + 1e-3)
        return np.concatenate(
            [
                chunk[max(0, first - start) : max(0, first + count - start)]
                for start, chunk in track.chunks
            ]
        )

    def forget(self, before: int) -> None:
        """Let go of scenes that lie wholly before a sample number."""
        track = self._athlete.track(self._placement)
        while len(track.chunks) > 1 and track.chunks[1][0] <= before:
            del track.chunks[0]
