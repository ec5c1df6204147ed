"""Sensors off the body: in the hand, on a table, dropped, carried and thrown in a bag.

Made at the level of paths: smooth positions and attitudes, plus accelerations of falls, throws
and knocks that leave no speed behind. All begin and end as worn by somebody who stands still,
so that they can follow and precede any movement; the strap is taken off and put on within the
first and last second and a half.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement
from imujump.simulate.curve import quintic_curve
from imujump.simulate.jet import Frame, Jet
from imujump.simulate.motion import SensorMotion
from tests.truth.motion import IdealSignals

G = STANDARD_GRAVITY_MPS2

LONGEST_DROP_S, LONGEST_THROW_S = 0.40, 0.55
"""Falls from up to 0.8 m, a table; throws that fly as long as a good jump (own choice)."""

Vector = tuple[float, float, float]


@dataclass(slots=True)
class Course:
    """Path of one sensor or bag being written, action by action.

    ``falls_s`` lists the free falls as (start, end).
    """

    generator: np.random.Generator
    time_s: float = 0.0
    places: list[tuple[float, FloatArray]] = field(default_factory=list)
    angles: list[tuple[float, FloatArray]] = field(default_factory=list)
    bursts: list[tuple[float, float, FloatArray, str]] = field(default_factory=list)
    swings: list[tuple[float, float, float, FloatArray]] = field(default_factory=list)
    falls_s: list[tuple[float, float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.places.append((0.0, np.zeros(3)))
        self.angles.append((0.0, np.zeros(3)))

    def rest(self, length_s: float) -> None:
        """Lie still."""
        self.time_s += length_s
        self.places.append((self.time_s, self.places[-1][1]))
        self.angles.append((self.time_s, self.angles[-1][1]))

    def move(self, length_s: float, reach_m: float, turn_rad: float) -> None:
        """Move by hand to some place and attitude near by."""
        self.time_s += length_s
        step = self.generator.normal(0.0, reach_m, 3)
        turn = self.generator.uniform(-turn_rad, turn_rad, 3)
        self.places.append((self.time_s, self.places[-1][1] + step))
        self.angles.append((self.time_s, self.angles[-1][1] + turn))

    def worn(self, length_s: float) -> None:
        """Go back to the attitude of a standing body."""
        self.time_s += length_s
        self.places.append((self.time_s, self.places[-1][1]))
        self.angles.append((self.time_s, np.zeros(3)))

    def knock(self) -> None:
        """Hit something: one period of a sine of 4 to 12 ms, 5 to 40 g."""
        way = self.generator.normal(0.0, 1.0, 3)
        size = self.generator.uniform(5.0, 40.0) * G
        length_s = float(self.generator.uniform(0.004, 0.012))
        self.bursts.append((self.time_s, length_s, size * way / np.linalg.norm(way), "knock"))
        self.rest(0.3)

    def drop(self, fall_s: float) -> None:
        """Fall from rest to the floor, turning a little, and lie there."""
        self._fall(fall_s, G * fall_s)

    def throw(self, fall_s: float) -> None:
        """Be thrown up, fly and be caught or land as low as it left."""
        push_s = 0.25
        up = np.array([0.0, 0.0, 0.5 * G * fall_s / push_s])
        self.bursts.append((self.time_s, push_s, up, "push"))
        self.rest(push_s)
        self._fall(fall_s, 0.5 * G * fall_s)

    def _fall(self, fall_s: float, stop_mps: float) -> None:
        start_s = self.time_s
        self.falls_s.append((start_s, start_s + fall_s))
        self.bursts.append((start_s, fall_s, np.array([0.0, 0.0, -G]), "fall"))
        self.time_s += fall_s
        stop_s = float(self.generator.uniform(0.015, 0.06))
        up = np.array([0.0, 0.0, stop_mps / stop_s])
        self.bursts.append((self.time_s, stop_s, up, "push"))
        self.time_s += stop_s
        turn = self.generator.uniform(-0.5, 0.5, 3)
        self.places.append((start_s, self.places[-1][1]))
        self.angles.append((start_s, self.angles[-1][1]))
        self.places.append((self.time_s, self.places[-1][1]))
        self.angles.append((self.time_s, self.angles[-1][1] + turn))
        self.rest(float(self.generator.uniform(0.5, 2.0)))

    def swing(self, length_s: float, frequency_hz: float, size_m: FloatArray) -> None:
        """Go to and fro along ``size_m`` (3,): carried while walking, shaken, driven."""
        self.swings.append((self.time_s, length_s, frequency_hz, size_m))
        self.rest(length_s)

    def motion(self, time_s: FloatArray) -> SensorMotion:
        """Position and attitude with their derivatives; bursts act on the acceleration only."""
        position, angles = _curve(self.places, time_s), _curve(self.angles, time_s)
        second = position.second.copy()
        for start_s, length_s, size_mps2, kind in self.bursts:
            u = (time_s - start_s) / length_s
            shape = {
                "fall": np.ones_like(u),
                "push": 0.5 * math.pi * np.sin(math.pi * u),
                "knock": np.sin(2.0 * math.pi * u),
            }[kind]
            second += np.where((u >= 0.0) & (u < 1.0), shape, 0.0)[:, None] * size_mps2
        for start_s, length_s, frequency_hz, size_m in self.swings:
            t = np.clip(time_s - start_s, 0.0, length_s)
            w, v = 2.0 * math.pi * frequency_hz, 2.0 * math.pi / length_s
            # Place sin(w t) (1 - cos(v t)) / 2, which grows from rest and fades to rest, twice
            # differentiated.
            shape = 0.5 * w**2 * np.sin(w * t)
            shape -= 0.25 * (w + v) ** 2 * np.sin((w + v) * t)
            shape -= 0.25 * (w - v) ** 2 * np.sin((w - v) * t)
            inside = (time_s >= start_s) & (time_s < start_s + length_s)
            second -= np.where(inside, shape, 0.0)[:, None] * size_m
        frame = Frame.from_angles(angles.part(0), angles.part(1), angles.part(2))
        return SensorMotion(Jet(position.value, position.rate, second), frame)


def _curve(points: list[tuple[float, FloatArray]], time_s: FloatArray) -> Jet:
    """Rest at every point, smooth between; of points at one instant the first counts."""
    times = np.array([t for t, _ in points])
    keep = np.append(True, np.diff(times) > 1e-6)
    values = np.array([v for _, v in points])[keep]
    still = np.zeros_like(values)
    return quintic_curve(times[keep], values, still, still)(time_s)


def in_hand(generator: np.random.Generator, length_s: float) -> Course:
    """One sensor taken off, turned over, laid down, knocked, shaken and dropped."""
    course = Course(generator)
    course.rest(1.0)
    course.move(1.5, 0.3, 2.0)
    while course.time_s < length_s - 11.0:
        what = generator.choice(["move", "rest", "knock", "shake", "drop"], p=[5 / 9] + [1 / 9] * 4)
        if what == "move":
            course.move(float(generator.uniform(0.3, 1.2)), 0.2, 1.5)
        elif what == "rest":
            course.rest(float(generator.uniform(0.5, 6.0)))
        elif what == "knock":
            course.knock()
        elif what == "shake":
            size_m = generator.normal(0.0, 0.03, 3)
            course.swing(2.0, float(generator.uniform(2.0, 5.0)), size_m)
        else:
            course.drop(float(generator.uniform(0.15, LONGEST_DROP_S)))
    course.worn(1.5)
    course.rest(length_s - course.time_s)
    return course


def in_bag(generator: np.random.Generator, length_s: float) -> Course:
    """A bag that is carried, put down, knocked, dropped, thrown and driven about."""
    course = Course(generator)
    course.rest(1.0)
    course.move(1.5, 0.3, 1.0)
    while course.time_s < length_s - 14.0:
        what = generator.choice(["carry", "rest", "knock", "drop", "throw", "drive"])
        if what == "carry":
            size_m = np.array([0.01, 0.015, 0.03]) * generator.uniform(0.7, 1.5)
            course.swing(
                float(generator.uniform(4.0, 8.0)), float(generator.uniform(1.6, 2.2)), size_m
            )
        elif what == "rest":
            course.rest(float(generator.uniform(0.5, 6.0)))
        elif what == "knock":
            course.knock()
        elif what == "drop":
            course.drop(float(generator.uniform(0.10, LONGEST_DROP_S)))
        elif what == "throw":
            course.throw(float(generator.uniform(0.20, LONGEST_THROW_S)))
        else:
            size_m = generator.normal(0.0, 1.0, 3)
            hz = float(generator.uniform(5.0, 25.0))
            course.swing(6.0, hz, 0.5 * size_m / (2.0 * math.pi * hz) ** 2)
    course.move(1.0, 0.2, 0.5)
    course.worn(1.5)
    course.rest(length_s - course.time_s)
    return course


def handled(
    generator: np.random.Generator, length_s: float, grid_hz: float
) -> Mapping[Placement, IdealSignals]:
    """Ideal signals of three sensors, each handled on its own."""
    time_s = np.arange(round(length_s * grid_hz)) / grid_hz
    return {p: _signals(in_hand(generator, length_s).motion(time_s)) for p in Placement}


def transported(
    generator: np.random.Generator, length_s: float, grid_hz: float
) -> Mapping[Placement, IdealSignals]:
    """Ideal signals of three sensors in one bag, each lying in it in its own way."""
    time_s = np.arange(round(length_s * grid_hz)) / grid_hz
    course = in_bag(generator, length_s)
    found = {}
    for placement in Placement:
        lying = generator.uniform(-math.pi, math.pi, 3)
        # Laid into the bag at the start and taken out at the end, each by itself.
        own = [(0.0, np.zeros(3)), (1.0, np.zeros(3)), (2.5, lying)]
        own += [(length_s - 4.0, lying), (length_s - 2.0, np.zeros(3)), (length_s, np.zeros(3))]
        extra = _curve(own, time_s)
        motion = course.motion(time_s)
        angles = _curve(course.angles, time_s) + extra
        frame = Frame.from_angles(angles.part(0), angles.part(1), angles.part(2))
        found[placement] = _signals(SensorMotion(motion.position, frame))
    return found


def _signals(motion: SensorMotion) -> IdealSignals:
    return IdealSignals(motion.specific_force_mps2(), motion.angular_rate_radps())
