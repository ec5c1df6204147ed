"""Which feet are on the floor: the most likely course of stance and swing of both feet.

Three witnesses speak at each instant. The ankle of a foot on the floor is slow and near its
standing height; that of a swinging foot is fast and, mostly, higher. The floor carries the
body while any foot is down and not at all in flight. None of them is sure alone: a foot that
rolls over its ball moves its ankle at 2 m/s, a swinging foot comes to rest in the air at the
apex of a jump. The course of both feet together that explains all three best is found by
dynamic programming (Viterbi, IEEE Trans. Inf. Theory 13:260-269, 1967).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from imujump.model import BoolArray, FloatArray, IntArray, Placement, Side
from imujump.pipeline.body import Body
from imujump.pipeline.vectors import lengths

SLOW_ANKLE_MPS, SLOW_ANKLE_RATIO = 0.7, 0.35
"""An ankle slower than 0.7 m/s plus 0.35 of the pelvis's speed is arriving, resting or
leaving. At touchdown the ankle still moves at 1 to 2 m/s, more when running faster (own
choice; seen alike in kinematic figures, rigid-body simulation and motion capture)."""

STANCE_RATIO, SWING_RATIO = 0.7, 2.5
"""Spread of ankle speed over slow speed: Student's on the floor, where a rolling foot makes long
tails, Rayleigh in the air (own choice)."""

STANCE_HEIGHT_M, ROUGH_HEIGHT_M = 0.03, 0.10
"""Ankle height over standing of a foot on the floor, with foot drift removed and before that
(own choice)."""

HEEL_RISE_M, HEEL_RISE_SHARE = 0.15, 0.2
"""Highest ankle of a foot on the floor, heel off, and the part of stance spent so (own
choice)."""

STRAY_SHARE, ROUGH_STRAY_SHARE = 0.02, 0.3
"""Share of stance in which the height says nothing: an uneven floor, drift (own choice)."""

SWING_HEIGHT_M = 0.3
"""Range of ankle heights in the air (own choice)."""

FLIGHT_LOAD_MPS2, STANCE_LOAD_MPS2 = 3.0, 12.0
"""Load per body mass: spread around zero in flight, from swinging limbs, and the mean of a
gamma distribution of shape 3 on the floor (own choice: the mean vertical force over a stride is
body weight, in contact more)."""

UNLOADED_MPS2 = 2.0
"""Summed vertical force per body mass below which no foot carries the body: a fifth of body
weight, above the swing of the limbs in flight (own choice)."""

LOOKS_HZ, SEEN_ANEW_S = 100.0, 0.02
"""The witnesses are asked every 10 ms; what they say changes over about 20 ms, so two looks
count as one (own choice)."""

CHANGE_RATE_HZ = 5.0
"""Strikes or toe-offs of one foot per second: walking has 2, sprinting 8 (own choice)."""

CORE_RATIO = 0.6
"""In a contact the ankle falls below this part of the slow speed (own choice)."""

SHORTEST_CONTACT_S = 0.05
"""Briefer contacts are slow moments of a foot in the air (own choice; sprinters' contacts last
0.08 s and more)."""

LEG_SHARE = 0.061
"""Part of body mass that moves with each shank sensor: shank and foot (Dempster, as tabled by
Winter, from memory)."""

STATES = ((False, False), (True, False), (False, True), (True, True))
"""Left and right foot on the floor."""


@dataclass(frozen=True, slots=True)
class Spell:
    """A coarse contact: first and last sample on the floor, and the slowest sample."""

    first: int
    last: int
    rest: int


def vertical_load(body: Body) -> FloatArray | None:
    """Vertical force of the floor per body mass, m/s², (n,), from the segments' motion.

    Newton's law for the whole body, with pelvis and shanks standing for the segments around
    them; zero in flight, 9.8 standing. None without a pelvis sensor; a missing shank is
    represented by the pelvis.
    """
    if Placement.PELVIS not in body.paths:
        return None
    return body.once("vertical load", None, lambda: _vertical_load(body))


def _vertical_load(body: Body) -> FloatArray:
    pelvis = body.paths[Placement.PELVIS].force_mps2[:, 2]
    shanks = [s.shank for s in Side if s.shank in body.paths]
    load = (1.0 - LEG_SHARE * len(shanks)) * pelvis
    for shank in shanks:
        load = load + LEG_SHARE * body.paths[shank].force_mps2[:, 2]
    return np.asarray(load)


def mid_hip_load(body: Body) -> FloatArray | None:
    """:func:`vertical_load` with the pelvis taken at mid hip, (n,).

    The sensor on the sacrum sits behind the body's mass: it rises and falls with every nod of the
    pelvis, as mid hip does not. Told by differences of angular rate, this is the sharper witness of
    when the load begins and ends, and the noisier one in between. None without a pelvis sensor.
    """
    load = vertical_load(body)
    if load is None:
        return None
    share = 1.0 - LEG_SHARE * sum(side.shank in body.paths for side in Side)
    nod = body.joint_velocity(Placement.PELVIS) - body.paths[Placement.PELVIS].velocity_mps
    return np.asarray(load + share * np.gradient(nod[:, 2], body.step_s))


def body_speed(body: Body) -> FloatArray:
    """Horizontal speed (n,) of the pelvis, or of the mean shank, averaged over 0.3 s."""
    return body.once("body speed", None, lambda: _body_speed(body))


def _body_speed(body: Body) -> FloatArray:
    if Placement.PELVIS in body.paths:
        velocity = body.joint_velocity(Placement.PELVIS)
    else:
        velocity = np.mean([path.velocity_mps for path in body.paths.values()], axis=0)
    width = max(1, round(0.3 / body.step_s))
    return np.asarray(uniform_filter1d(np.hypot(velocity[:, 0], velocity[:, 1]), width))


def slow_ratio(body: Body, side: Side) -> FloatArray:
    """Ankle speed over the speed below which an ankle counts as slow (n,)."""
    return body.once("slow ratio", side.shank, lambda: _slow_ratio(body, side))


def _slow_ratio(body: Body, side: Side) -> FloatArray:
    speed = lengths(body.joint_velocity(side.shank))
    return np.asarray(speed / (SLOW_ANKLE_MPS + SLOW_ANKLE_RATIO * body_speed(body)))


def stance_spells(body: Body, near_floor: bool) -> Mapping[Side, list[Spell]]:
    """Coarse contacts of each worn foot, in order.

    Parameters
    ----------
    body : Body
        Motion of the sensors.
    near_floor : bool
        Whether foot drift has been removed with a first set of contacts, so that the ankle's
        height can be trusted to centimetres.
    """
    stride = max(1, round(1.0 / (LOOKS_HZ * body.step_s)))
    ratios = {side: slow_ratio(body, side) for side in Side if side.shank in body.paths}
    count = next(iter(body.paths.values())).position_m.shape[0]
    spread_m = STANCE_HEIGHT_M if near_floor else ROUGH_HEIGHT_M
    stray = STRAY_SHARE if near_floor else ROUGH_STRAY_SHARE
    says = np.zeros((count, len(STATES)))
    for foot, side in enumerate(Side):
        if side not in ratios:
            continue
        height = body.joint_position(side.shank)[:, 2]
        on = _by_speed(ratios[side]) + _by_height(height - height[0], spread_m, stray)
        for number, state in enumerate(STATES):
            if state[foot]:
                says[:, number] += on
    load = vertical_load(body)
    if load is not None:
        says[:, 0] += _flight_over_support(load)
    looks = np.add.reduceat(says, np.arange(0, count, stride), axis=0)
    course = _most_likely(looks * (body.step_s / SEEN_ANEW_S), 1.0 / LOOKS_HZ)
    found: dict[Side, list[Spell]] = {}
    for foot, side in enumerate(Side):
        if side in ratios:
            down = np.array([state[foot] for state in STATES])[course]
            runs = spells_where(np.repeat(down, stride)[:count], ratios[side])
            shortest = SHORTEST_CONTACT_S / body.step_s
            found[side] = [s for s in runs if s.last - s.first >= shortest]
    return found


def _by_speed(ratio: FloatArray) -> FloatArray:
    """Log likelihood ratio (n,) of stance against swing from the ankle's speed."""
    stance = 4.0 / (np.pi * STANCE_RATIO * (1.0 + (ratio / STANCE_RATIO) ** 2) ** 2)
    swing = ratio / SWING_RATIO**2 * np.exp(-0.5 * np.minimum(ratio / SWING_RATIO, 2.5) ** 2)
    return np.asarray(np.log(stance / np.maximum(swing, 1e-2)))


def _by_height(height_m: FloatArray, spread_m: float, stray: float) -> FloatArray:
    """Log likelihood ratio (n,) of stance against swing from the ankle's height."""
    off = np.minimum(np.abs(height_m) / spread_m, 6.0)
    flat = np.exp(-0.5 * off**2) / (spread_m * np.sqrt(2.0 * np.pi))
    below_heel_rise = 0.5 * (1.0 + np.tanh((HEEL_RISE_M - np.abs(height_m)) / spread_m))
    stance = (1.0 - HEEL_RISE_SHARE) * flat + HEEL_RISE_SHARE * below_heel_rise / HEEL_RISE_M
    swing = 0.5 * (1.0 + np.tanh(height_m / spread_m)) / SWING_HEIGHT_M
    swing = np.maximum(swing, STRAY_SHARE / SWING_HEIGHT_M)
    stance = (1.0 - stray) * stance + stray / SWING_HEIGHT_M
    return np.asarray(np.log(stance / swing))


def _flight_over_support(load_mps2: FloatArray) -> FloatArray:
    """Log likelihood ratio (n,) of flight against support from the body's load."""
    spread = load_mps2 / FLIGHT_LOAD_MPS2
    flight = 2.0 / (np.pi * FLIGHT_LOAD_MPS2 * (1.0 + spread**2) ** 2)
    scale = STANCE_LOAD_MPS2 / 3.0
    positive = np.maximum(load_mps2, 0.5)
    support = positive**2 / (2.0 * scale**3) * np.exp(-np.minimum(positive / scale, 5.0))
    return np.asarray(np.log(flight / support))


def _most_likely(says: FloatArray, step_s: float) -> FloatArray:
    """Course of states (looks,) that explains the log likelihoods (looks, states) best.

    The feet change independently, so each look asks first whether the left foot changed
    (states 0-1 and 2-3), then the right (0-2 and 1-3). Each look's scores need those before,
    so they are written out in plain numbers; from where each came is then found for all looks
    at once.
    """
    change = float(np.log(CHANGE_RATE_HZ * step_s))
    b0, b1, b2, b3 = says[0].tolist()
    scores = [b0, b1, b2, b3]
    for s0, s1, s2, s3 in says[1:].tolist():
        l0 = b0 if b0 >= b1 + change else b1 + change
        l1 = b1 if b1 >= b0 + change else b0 + change
        l2 = b2 if b2 >= b3 + change else b3 + change
        l3 = b3 if b3 >= b2 + change else b2 + change
        b0 = s0 + (l0 if l0 >= l2 + change else l2 + change)
        b2 = s2 + (l2 if l2 >= l0 + change else l0 + change)
        b1 = s1 + (l1 if l1 >= l3 + change else l3 + change)
        b3 = s3 + (l3 if l3 >= l1 + change else l1 + change)
        scores += (b0, b1, b2, b3)
    every = np.array(scores).reshape(says.shape)
    left, came_left = _kept_or_changed(every, (1, 0, 3, 2), change)
    _, came_right = _kept_or_changed(left, (2, 3, 0, 1), change)
    state = int(np.argmax(every[-1]))
    course = [state]
    for source in reversed(np.take_along_axis(came_left, came_right, axis=1)[:-1].tolist()):
        state = source[state]
        course.append(state)
    return np.array(course[::-1])


def _kept_or_changed(
    scores: FloatArray, other: tuple[int, ...], change: float
) -> tuple[FloatArray, IntArray]:
    """Scores (looks, states) after one foot may have changed, and the states they came from."""
    changed = scores[:, other] + change
    keeps = scores >= changed
    return np.where(keeps, scores, changed), np.where(keeps, np.arange(len(other)), other)


def spells_where(down: BoolArray, ratio: FloatArray) -> list[Spell]:
    """Runs of samples (n,) in which a foot is down, each with its slowest sample."""
    edge = np.diff(np.concatenate(((0,), down.astype(np.int8), (0,))))
    return [
        Spell(first, end - 1, first + int(np.argmin(ratio[first:end])))
        for first, end in zip(
            np.flatnonzero(edge == 1).tolist(), np.flatnonzero(edge == -1).tolist(), strict=True
        )
    ]
