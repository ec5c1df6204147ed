"""Pelvis and both shanks as one linked body: paths in one frame, drift removed.

Each sensor's dead reckoning is tied to the facts at hand: the athlete stands still before
(and, if recorded, after) the attempt; feet stand on the same floor; and the thigh, which
carries no sensor, joins hip and knee at constant length at every instant. That last fact
holds in stance, swing and flight alike, needs no foot event, and puts both feet and the
pelvis into one frame; the use of constant thigh length to reconstruct legs from pelvis and
shank sensors follows L. Sy et al., IEEE Trans. Biomed. Eng. 68(4):1293-1304, 2021. Once
foot contacts are known, the ankle's rest at mid-contact is added.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from imujump.model import BoolArray, FloatArray, IntArray, Placement, Side
from imujump.pipeline.drift import STATES, DriftProblem, DriftSolution, NoiseModel
from imujump.pipeline.orientation import heading_rotation, level_rotation
from imujump.pipeline.strapdown import Strapdown, cross_matrix, dead_reckon, rotate

PELVIS_NOISE = NoiseModel(
    gyro_density=3e-4,
    accel_density=0.02,
    gyro_scale=0.003,
    accel_scale=0.003,
    gyro_bias_radps=5e-4,
    accel_bias_mps2=0.05,
    clipped_accel_mps2=50.0,
    missing_accel_mps2=12.0,
    missing_gyro_radps=1.5,
)
"""Pelvis sensor: own choice from data-sheet noise of common parts widened for soft tissue;
scale and bias sizes after the rest calibration; gap figures are the spread of the signals
themselves while running."""

SHANK_NOISE = NoiseModel(
    gyro_density=3e-4,
    accel_density=0.05,
    gyro_scale=0.003,
    accel_scale=0.004,
    gyro_bias_radps=1e-3,
    accel_bias_mps2=0.05,
    clipped_accel_mps2=80.0,
    missing_accel_mps2=40.0,
    missing_gyro_radps=5.0,
)
"""Shank sensor: as the pelvis, with the stronger soft-tissue motion of the leg."""

SHANK_LEVER_M = 0.10
"""Height of the shank sensor above the ankle joint that the wearing instructions ask for."""

HIP_FORWARD_M, HIP_SIDE_M, HIP_DOWN_M = 0.08, 0.085, 0.05
"""Hip joint seen from a sensor on the sacrum. The hip joint lies about 0.10 m in front of the
sacral skin and 0.08 m below its level, 0.08-0.09 m beside the midline (regressions of
Harrington et al., J. Biomech. 40:595, 2007, at adult size, from memory); a belt sensor sits a
little lower and stands off by its own thickness."""

SHANK_LENGTH_M, THIGH_LENGTH_M, BONE_SPREAD_M = 0.40, 0.41, 0.05
"""Ankle-knee and knee-hip distance of an adult of 1.65-1.80 m (0.246 and 0.245 of stature,
Drillis and Contini 1966 as tabled by Winter, from memory); the spread covers youths and tall
players. Both are estimated in each attempt."""

KNEE_SPREAD_M = 0.04
"""Knee off the vertical above the shank sensor when standing: stance, knee bend, mounting."""

HIP_SPREAD_M = 0.02
"""Mid hip off its assumed place seen from the pelvis sensor."""

HIP_YAW_M = 0.03
"""Shift of each hip along the forward axis by a pelvis axis that is 20 degrees off."""

LEG_CLOSURE_M, LEG_CLOSURE_WITH_CONTACTS_M = 0.03, 0.06
"""Misfit of the rigid thigh: soft tissue, joint centres that move. It lasts for a good part of a
step, so neighbouring knots repeat it; once contacts hold the feet it gets less weight. Own
choice."""

PIVOT_SPEED_MPS = 0.25
"""Speed of the ankle at its slowest in a running contact: soft tissue, lever off by 1-2 cm at
200 degrees per second, skid of the shoe (own choice)."""

CONTACT_HEIGHT_M = 0.03
"""Ankle height at mid-contact against standing: heel off the floor, uneven floor (own choice)."""

REST_SPEED_MPS = 0.02
"""Sway of pelvis and shanks of a person standing still (own choice: 1-2 cm at 0.3 Hz)."""

FLOOR_M = 0.01
"""Unevenness of a court floor and of foot placement between two stands (own choice)."""

POSTURE_M = 0.03
"""Standing pelvis height repeats to within this between two stands (own choice)."""

START_M, START_RAD = 0.3, 0.3
"""How well a foot's place under the pelvis and a shank's heading are known before the leg
closure finds them (own choice: a staggered stance, a curved run-up)."""

KNOT_SPACING_S = 0.05
"""Unknowns every 50 ms follow all drift below 10 Hz (own choice)."""

ROUNDS = 4
"""Gauss-Newton rounds for the leg closure; the third changes paths by millimetres."""

NO_SAMPLES = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, slots=True)
class SensorWindow:
    """One sensor over the window, on the common sample grid.

    ``accel_mps2`` and ``gyro_radps`` (n, 3) are calibrated at rest and free of gaps (short
    ones bridged); ``up`` (3,) is the vertical at rest in sensor axes; ``missing`` and
    ``clipped`` (n,) flag samples.
    """

    accel_mps2: FloatArray
    gyro_radps: FloatArray
    up: FloatArray
    missing: BoolArray
    clipped: BoolArray


@dataclass(frozen=True, slots=True)
class Window:
    """All sensors over the time of one attempt.

    ``rests`` are (first, last) sample pairs in which the athlete stands still; the first
    begins at sample 0.
    """

    step_s: float
    gravity_mps2: float
    sensors: Mapping[Placement, SensorWindow]
    rests: tuple[tuple[int, int], ...]

    @property
    def samples(self) -> int:
        """Number of samples n."""
        return len(next(iter(self.sensors.values())).missing)


@dataclass(frozen=True, slots=True)
class Body:
    """Corrected motion of all sensors in one world frame (z up).

    ``levers`` are joint centres in sensor axes: ankle for a shank, mid hip for the pelvis.
    ``forward`` is the pelvis's forward axis in its sensor axes. ``solutions`` holds the drift
    solution behind each path and ``numbers`` each placement's place in its state.
    """

    step_s: float
    paths: Mapping[Placement, Strapdown]
    levers: Mapping[Placement, FloatArray]
    up: Mapping[Placement, FloatArray]
    forward: FloatArray | None
    solutions: Mapping[Placement, DriftSolution]
    numbers: Mapping[Placement, int]
    leg_misfit_m: float | None

    def joint_position(self, placement: Placement) -> FloatArray:
        """Path (n, 3) of the ankle, or of mid hip for the pelvis."""
        return self.paths[placement].point_position(self.levers[placement])

    def joint_velocity(self, placement: Placement) -> FloatArray:
        """Velocity (n, 3) of the ankle, or of mid hip for the pelvis."""
        return self.paths[placement].point_velocity(self.levers[placement])


@dataclass(frozen=True, slots=True)
class Legs:
    """Joint centres and thigh length, estimated along with the drift.

    ``thigh_m`` is one length for both legs; ``hip_m`` (3,) mid hip in pelvis sensor axes;
    ``hip_yaw_m`` the forward shift of the left hip (and backward of the right); ``knee_m``
    the knee (3,) in each shank's sensor axes.
    """

    thigh_m: float
    hip_m: FloatArray
    hip_yaw_m: float
    knee_m: Mapping[Side, FloatArray]


def solve_body(
    window: Window,
    contacts: Mapping[Side, IntArray] | None = None,
    lever_m: Mapping[Side, float] | None = None,
) -> Body:
    """Motion of all sensors of a window with their drift removed.

    Parameters
    ----------
    window : Window
        Any non-empty choice of the three sensors.
    contacts : mapping of Side to IntArray, optional
        Sample indices at which that foot stands still on the floor.
    lever_m : mapping of Side to float, optional
        Distance from shank sensor down to the point it pivots about in contact.

    Returns
    -------
    Body
        Paths in one frame whose origin is the pelvis sensor (or the first sensor) at rest.
    """
    contacts = contacts or {}
    names = tuple(p for p in Placement if p in window.sensors)
    numbers = {p: i for i, p in enumerate(names)}
    still = {side.shank: index for side, index in contacts.items()}
    knots = _knots(window, contacts)
    raw = {p: _reckon(window, p, np.eye(3)) for p in names}
    down_m = {p: SHANK_LEVER_M for p in names}
    down_m.update({side.shank: length for side, length in (lever_m or {}).items()})
    levers = {p: -down_m[p] * window.sensors[p].up for p in names}
    first = _drift_problem(window, names, raw, knots, ())
    for p in names:
        _rest_facts(first, window, p, numbers[p], raw[p])
        if p is not Placement.PELVIS:
            _pivot_facts(first, numbers[p], raw[p], levers[p], still.get(p, NO_SAMPLES))
    alone = first.solve()
    solution = alone
    paths = {p: solution.path(numbers[p]) for p in names}
    reference = Placement.PELVIS if Placement.PELVIS in names else names[0]
    forward = None
    if reference is Placement.PELVIS:
        forward = pelvis_forward(paths[reference], window.sensors[reference].up)
        levers[reference] = _hip_lever(forward, window.sensors[reference].up, 0.0)
    # Turn every sensor's frame to the reference's heading and start over from there.
    starts = {reference: np.zeros(3)}
    for p in names:
        if p is reference:
            continue
        turn = heading_rotation(_heading_between(paths[reference], paths[p]))
        raw[p] = _reckon(window, p, turn)
        paths[p] = _turned(paths[p], turn)
        starts[p] = _start_position(paths, p.side, window, forward)
        paths[p] = replace(paths[p], position_m=paths[p].position_m + starts[p])
    sides = tuple(s for s in Side if forward is not None and s.shank in names)
    misfit = None
    closure_m = LEG_CLOSURE_WITH_CONTACTS_M if contacts else LEG_CLOSURE_M
    if forward is not None and sides:
        legs, priors = _first_legs(window, sides, forward)
    if len(names) > 1:
        known = _drift_problem(window, names, raw, knots, priors if sides else ())
        for p in names:
            loose = p is not reference
            _rest_facts(known, window, p, numbers[p], raw[p], starts[p] if loose else None)
            if p is not Placement.PELVIS:
                _pivot_facts(known, numbers[p], raw[p], levers[p], still.get(p, NO_SAMPLES))
        # Legs are tied at knots only; all samples are corrected once, after the last round.
        old = {p: raw[p].at(knots) for p in names}
        now = {p: paths[p].at(knots) for p in names}
        for _ in range(ROUNDS if sides else 0):
            assert forward is not None
            problem = known.copy()
            misfits = []
            for side in sides:
                closing = _LegFacts(window, sides, side, old, now, forward, legs, numbers)
                misfits.append(closing.add(problem, knots, closure_m))
            solution = problem.solve()
            now = {p: solution.path(numbers[p], knots) for p in names}
            legs = _legs_found(solution.scalars[len(names) :], sides)
            misfit = float(np.sqrt(np.mean(np.square(np.concatenate(misfits)))))
        if not sides:
            solution = known.solve()
        paths = {p: solution.path(numbers[p]) for p in names}
    up = {p: window.sensors[p].up for p in names}
    if sides:
        levers[Placement.PELVIS] = legs.hip_m
        for side in sides:
            shin = legs.knee_m[side] / np.linalg.norm(legs.knee_m[side])
            up[side.shank] = _sagittal_axis(paths, side, up[side.shank], shin)
    solutions = dict.fromkeys(names, solution)
    if reference is Placement.PELVIS and len(window.rests) > 1:
        # Two stands hold the pelvis to millimetres; the legs' soft tissue would bend it.
        solutions[reference] = alone
        paths[reference] = alone.path(numbers[reference])
    return Body(window.step_s, paths, levers, up, forward, solutions, numbers, misfit)


def _knots(window: Window, contacts: Mapping[Side, IntArray]) -> IntArray:
    """Knots every 50 ms while moving, sparse at rest, and at each contact."""
    spacing = max(1, round(KNOT_SPACING_S / window.step_s))
    grid = np.arange(0, window.samples, spacing)
    for first, last in window.rests:
        grid = grid[(grid <= first) | (grid >= last)]
    ends = [np.linspace(first, last, 4).astype(np.int64) for first, last in window.rests]
    extra = [np.asarray(index, dtype=np.int64) for index in contacts.values()]
    last_sample = np.array((0, window.samples - 1))
    return np.unique(np.concatenate((grid, last_sample, *ends, *extra)))


def _reckon(window: Window, placement: Placement, turn: FloatArray) -> Strapdown:
    sensor = window.sensors[placement]
    return dead_reckon(
        sensor.accel_mps2,
        sensor.gyro_radps,
        window.step_s,
        turn @ level_rotation(sensor.up),
        window.gravity_mps2,
    )


def _turned(path: Strapdown, turn: FloatArray) -> Strapdown:
    return replace(
        path,
        rot=turn @ path.rot,
        force_mps2=path.force_mps2 @ turn.T,
        accel_mps2=path.accel_mps2 @ turn.T,
        velocity_mps=path.velocity_mps @ turn.T,
        position_m=path.position_m @ turn.T,
    )


def _drift_problem(
    window: Window,
    names: tuple[Placement, ...],
    paths: Mapping[Placement, Strapdown],
    knots: IntArray,
    scalars: tuple[tuple[float, float], ...],
) -> DriftProblem:
    # One more unknown per sensor: its height at rest, which ties separate stands.
    return DriftProblem(
        tuple(paths[p] for p in names),
        tuple(PELVIS_NOISE if p is Placement.PELVIS else SHANK_NOISE for p in names),
        tuple(window.sensors[p].missing for p in names),
        tuple(window.sensors[p].clipped for p in names),
        knots,
        (*((0.0, 1.0) for _ in names), *scalars),
    )


def _rest_facts(
    problem: DriftProblem,
    window: Window,
    placement: Placement,
    number: int,
    path: Strapdown,
    start_m: FloatArray | None = None,
) -> None:
    """Standing: upright at the start, no velocity, the same height in every stand.

    With ``start_m`` the sensor's place and heading at the start are only roughly known.
    """
    start = np.zeros(3) if start_m is None else start_m
    origin_m, heading_rad = (1e-4, 1e-5) if start_m is None else (START_M, START_RAD)
    posture = POSTURE_M if placement is Placement.PELVIS else FLOOR_M
    for axis in range(2):
        problem.pin(number, 0, axis, 0.0, 5e-3)
    problem.pin(number, 0, 2, 0.0, heading_rad)
    for axis in range(3):
        problem.pin(number, 0, 6 + axis, float(start[axis]), origin_m)
    for first, last in window.rests:
        index = np.linspace(first, last, 4).astype(np.int64)
        for axis in range(3):
            weights = np.zeros((4, problem.width))
            weights[:, STATES * number + 3 + axis] = 1.0
            problem.add(index, weights, -path.velocity_mps[index, axis], np.full(4, REST_SPEED_MPS))
        weights = np.zeros((4, problem.width))
        weights[:, STATES * number + 8] = 1.0
        height = np.zeros((4, problem.scalars))
        height[:, number] = -1.0
        sigma = np.full(4, 1e-3 if first == 0 else 2.0 * posture)  # four facts share it
        problem.add(index, weights, -path.position_m[index, 2], sigma, height)


def _pivot_facts(
    problem: DriftProblem, number: int, path: Strapdown, lever: FloatArray, index: IntArray
) -> None:
    """Mid-contact: the ankle is at rest, and about as high above the floor as standing."""
    if not len(index):
        return
    arm = path.rot[index] @ lever
    weights = np.zeros((len(index), problem.width))
    weights[:, STATES * number + 8] = 1.0
    weights[:, STATES * number : STATES * number + 2] = np.stack((arm[:, 1], -arm[:, 0]), axis=1)
    at_rest = np.zeros((len(index), problem.scalars))
    at_rest[:, number] = -1.0
    rise = path.position_m[index, 2] + arm[:, 2] + np.linalg.norm(lever)
    problem.add(index, weights, -rise, np.full(len(index), CONTACT_HEIGHT_M), at_rest)
    swing = rotate(path.rot[index], np.cross(path.gyro_radps[index], lever))
    velocity = path.velocity_mps[index] + swing
    turn = -cross_matrix(swing)
    for axis in range(3):
        weights = np.zeros((len(index), problem.width))
        weights[:, STATES * number + 3 + axis] = 1.0
        weights[:, STATES * number : STATES * number + 3] = turn[:, axis]
        problem.add(index, weights, -velocity[:, axis], np.full(len(index), PIVOT_SPEED_MPS))


def _outward(side: Side | None) -> float:
    """Sign of a side along the axis to the left."""
    return 1.0 if side is Side.LEFT else -1.0


def _hip_lever(forward: FloatArray, up: FloatArray, side_m: float) -> FloatArray:
    left = np.cross(up, forward)
    return HIP_FORWARD_M * forward + side_m * left - HIP_DOWN_M * up


def _attitude_between(old: FloatArray, new: FloatArray) -> FloatArray:
    """Small world-frame rotation vectors (n, 3) that turn ``old`` into ``new``."""
    m = new @ np.swapaxes(old, 1, 2)
    return 0.5 * np.stack(
        (m[:, 2, 1] - m[:, 1, 2], m[:, 0, 2] - m[:, 2, 0], m[:, 1, 0] - m[:, 0, 1]), axis=1
    )


def _first_legs(
    window: Window, sides: tuple[Side, ...], forward: FloatArray
) -> tuple[Legs, tuple[tuple[float, float], ...]]:
    """Assumed joint centres, and the same as priors in the order of the scalars."""
    hip = _hip_lever(forward, window.sensors[Placement.PELVIS].up, 0.0)
    knees = {
        side: (SHANK_LENGTH_M - SHANK_LEVER_M) * window.sensors[side.shank].up for side in sides
    }
    priors = [(THIGH_LENGTH_M, BONE_SPREAD_M), (0.0, HIP_YAW_M)]
    priors += [(float(x), HIP_SPREAD_M) for x in hip]
    for side in sides:
        priors += [(float(x), KNEE_SPREAD_M) for x in knees[side]]
    return Legs(THIGH_LENGTH_M, hip, 0.0, knees), tuple(priors)


def _legs_found(scalars: FloatArray, sides: tuple[Side, ...]) -> Legs:
    knees = {side: scalars[5 + 3 * i : 8 + 3 * i] for i, side in enumerate(sides)}
    return Legs(float(scalars[0]), scalars[2:5], float(scalars[1]), knees)


def _sagittal_axis(
    paths: Mapping[Placement, Strapdown], side: Side, up: FloatArray, shin: FloatArray
) -> FloatArray:
    """Axis of the shank from ankle to knee, corrected in the plane of its own swing only.

    Sideways the sensor sits beside the bone, so the found knee does not tell the axis there.
    """
    rate = paths[side.shank].gyro_radps
    swing = np.linalg.eigh(rate.T @ rate)[1][:, -1]
    across = np.cross(swing - up * (swing @ up), up)
    across /= np.linalg.norm(across)
    axis = (shin @ up) * up + (shin @ across) * across
    return np.asarray(axis / np.linalg.norm(axis))


class _LegFacts:
    """Ties hip and knee of one leg by the thigh's constant length.

    ``raw`` and ``now`` are the paths before correction and at present, at the knots only.
    """

    def __init__(
        self,
        window: Window,
        sides: tuple[Side, ...],
        side: Side,
        raw: Mapping[Placement, Strapdown],
        now: Mapping[Placement, Strapdown],
        forward: FloatArray,
        legs: Legs,
        numbers: Mapping[Placement, int],
    ) -> None:
        self.raw, self.now, self.legs, self.numbers = raw, now, legs, numbers
        self.side, self.place = side, sides.index(side)
        sign = _outward(side)
        left = np.cross(window.sensors[Placement.PELVIS].up, forward)
        self.yaw_axis = sign * forward
        self.hip = legs.hip_m + sign * HIP_SIDE_M * left + legs.hip_yaw_m * self.yaw_axis
        self.knee = legs.knee_m[side]

    def add(self, problem: DriftProblem, knots: IntArray, closure_m: float) -> FloatArray:
        """Add one fact per knot; returns the misfit (knots,) before this round, metres."""
        pelvis, shank = self.now[Placement.PELVIS], self.now[self.side.shank]
        turn_p, turn_s = pelvis.rot, shank.rot
        arm_hip, arm_knee = turn_p @ self.hip, turn_s @ self.knee
        thigh = pelvis.position_m + arm_hip - shank.position_m - arm_knee
        length = np.linalg.norm(thigh, axis=1)
        e = thigh / length[:, None]
        weights = np.zeros((len(knots), problem.width))
        known = np.zeros_like(weights)
        for placement, arm, sign in (
            (Placement.PELVIS, arm_hip, 1.0),
            (self.side.shank, arm_knee, -1.0),
        ):
            at = STATES * self.numbers[placement]
            weights[:, at : at + 3] = sign * np.cross(arm, e)
            weights[:, at + 6 : at + 9] = sign * e
            old, new = self.raw[placement], self.now[placement]
            known[:, at : at + 3] = _attitude_between(old.rot, new.rot)
            known[:, at + 6 : at + 9] = new.position_m - old.position_m
        scalars = np.zeros((len(knots), problem.scalars))
        first = problem.sensors
        seen = np.einsum("nji,nj->ni", turn_p, e)
        scalars[:, first] = -1.0
        scalars[:, first + 1] = seen @ self.yaw_axis
        scalars[:, first + 2 : first + 5] = seen
        knee_at = first + 5 + 3 * self.place
        scalars[:, knee_at : knee_at + 3] = -np.einsum("nji,nj->ni", turn_s, e)
        present = np.zeros(scalars.shape[1])
        present[first] = self.legs.thigh_m
        present[first + 1] = self.legs.hip_yaw_m
        present[first + 2 : first + 5] = self.legs.hip_m
        present[knee_at : knee_at + 3] = self.knee
        misfit = length - self.legs.thigh_m
        value = np.sum(weights * known, axis=1) + scalars @ present - misfit
        # Huber weights: a few instants of soft-tissue wobble must not bend the whole path.
        outlying = np.maximum(1.0, np.abs(misfit) / (2.0 * closure_m))
        problem.add(knots, weights, value, closure_m * np.sqrt(outlying), scalars)
        return np.asarray(misfit)


def pelvis_forward(path: Strapdown, up: FloatArray) -> FloatArray:
    """Forward axis of the pelvis in its sensor's axes, a unit vector (3,) across ``up``.

    The wearing instructions point the sensor's x axis forward, good to about 20 degrees; the
    direction of travel, seen from the pelvis, is the second witness, good to about 25 degrees
    on a run-up that turns (hips rotate with each step). The two are averaged by their
    precision while they agree within 90 degrees; else a run of over 3 m decides alone.
    """
    nominal = np.array((1.0, 0.0, 0.0)) - up * up[0]
    if np.linalg.norm(nominal) < 0.5:  # x was put upright: take what points most forward
        nominal = np.array((0.0, 0.0, 1.0)) - up * up[2]
    nominal /= np.linalg.norm(nominal)
    horizontal = path.velocity_mps.copy()
    horizontal[:, 2] = 0.0
    # Sum of speed x displacement: fast running counts, standing does not.
    speed = np.linalg.norm(horizontal, axis=1)
    seen = np.einsum("nji,nj->ni", path.rot, horizontal) * speed[:, None]
    travel = seen.sum(axis=0)
    travel -= up * (travel @ up)
    distance = float(speed.sum() * path.step_s)
    if distance < 1.0 or np.linalg.norm(travel) < 1e-9:
        return np.asarray(nominal)
    travel /= np.linalg.norm(travel)
    angle = float(np.arctan2(np.cross(nominal, travel) @ up, nominal @ travel))
    if abs(angle) > np.pi / 2:
        if distance > 3.0:
            return np.asarray(travel)
        return np.asarray(nominal)
    weight = 20.0**2 / (20.0**2 + 25.0**2)
    left = np.cross(up, nominal)
    return np.asarray(np.cos(weight * angle) * nominal + np.sin(weight * angle) * left)


def _heading_between(reference: Strapdown, path: Strapdown) -> float:
    """Angle that turns a sensor's world frame onto the reference's, rad.

    Both sensors travel with one body: the angle that best lays one path over the other.
    """
    a = path.position_m[:, 0] + 1j * path.position_m[:, 1]
    b = reference.position_m[:, 0] + 1j * reference.position_m[:, 1]
    return float(np.angle(np.sum(np.conj(a) * b)))


def _start_position(
    paths: Mapping[Placement, Strapdown],
    side: Side | None,
    window: Window,
    forward: FloatArray | None,
) -> FloatArray:
    """Where a shank sensor is at the start, from upright standing."""
    if forward is None:
        return np.zeros(3)
    pelvis = Placement.PELVIS
    hip_lever = _hip_lever(forward, window.sensors[pelvis].up, _outward(side) * HIP_SIDE_M)
    drop = THIGH_LENGTH_M + SHANK_LENGTH_M - SHANK_LEVER_M
    return np.asarray(paths[pelvis].rot[0] @ hip_lever - np.array((0.0, 0.0, drop)))
