"""Pelvis and both shanks as one linked body: paths in one frame, drift removed.

Each sensor's dead reckoning is tied to the facts at hand: the athlete stands still before
(and, if recorded, after) the attempt; feet stand on the same floor; thighs keep their length.
Once foot contacts are known, the ankle's rest at mid-contact is added.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from imujump.model import FloatArray, IntArray, Placement, Side
from imujump.pipeline.body import SHANK_LEVER_M, Body, Window
from imujump.pipeline.drift import DriftProblem
from imujump.pipeline.drift_solution import DriftSolution
from imujump.pipeline.facts import (
    SAME_POSTURE_RAD,
    changed_postures_rad,
    noise_model,
    pivot_facts,
    rest_facts,
    stands_of,
)
from imujump.pipeline.gap_filling import long_gaps
from imujump.pipeline.legs import (
    CLOSURE_LIMITS_M,
    CLOSURE_SPREADS,
    FIRST_CLOSURE_M,
    HIP_SIDE_M,
    SHANK_LENGTH_M,
    THIGH_LENGTH_M,
    first_legs,
    hip_axes,
    hip_lever,
    lateness_at,
    legs_found,
    outward,
    sagittal_axis,
    thigh_facts,
)
from imujump.pipeline.orientation import heading_rotation, level_rotation
from imujump.pipeline.strapdown import Strapdown, dead_reckon
from imujump.pipeline.vectors import cross, lengths

KNOT_SPACING_S, LONE_KNOT_SPACING_S = 0.1, 0.2
"""Unknowns every 100 ms follow all drift below 5 Hz; a sensor alone, held by nothing while the
athlete moves, needs fewer (own choice)."""

TOGETHER_S = 1e-6
"""Sensors are taken to be read together, but where their lateness is asked for."""

FIRST_ROUNDS, LATER_ROUNDS = 2, 1
"""Gauss-Newton rounds for the leg closure from upright standing, and from a solution before it;
one more changes paths by millimetres."""


class LinkedBody:
    """Motion of all sensors of a window with their drift removed, refined contact by contact.

    What does not depend on foot contacts is worked out once; each `solve` starts from the
    legs found before it.

    Parameters
    ----------
    window : Window
        Any non-empty choice of the three sensors.
    """

    def __init__(self, window: Window) -> None:
        self.window = window
        self._names = tuple(p for p in Placement if p in window.sensors)
        self._numbers = {p: i for i, p in enumerate(self._names)}
        self._pelvis = Placement.PELVIS in self._names
        self._reference = Placement.PELVIS if self._pelvis else self._names[0]
        raw = {p: _reckon(window, p) for p in self._names}
        postures_rad = changed_postures_rad(window)
        stands = {p: stands_of(window, p, postures_rad) for p in self._names}
        coarse = {}
        for p in self._names:
            coarse[p] = _problem(window, {p: raw[p]}, _knots(window, LONE_KNOT_SPACING_S), ())
            rest_facts(coarse[p], stands[p], 0, raw[p])
        self._alone = {p: problem.solve() for p, problem in coarse.items()}
        self._knots = _knots(window, KNOT_SPACING_S)
        places_m: dict[Placement, FloatArray] = {}
        at_knots: dict[Placement, Strapdown] = {}
        self._forward = None
        for p, alone in self._alone.items():
            if p is Placement.PELVIS:
                self._pelvis_alone = path = alone.path(0)
                self._forward = pelvis_forward(path, window.sensors[p].up)
                places_m[p], at_knots[p] = path.position_m, path.at(self._knots)
            else:
                places_m[p], at_knots[p] = alone.sketch(0, self._knots)
        turns, starts = self._turn_to_reference(raw, places_m)
        self._sides = tuple(s for s in Side if self._pelvis and s.shank in self._names)
        priors: tuple[tuple[float, float], ...] = ()
        if self._forward is not None and self._sides:
            self._legs, priors = first_legs(window, self._sides, self._forward)
            up = window.sensors[Placement.PELVIS].up
            self._hips = {side: hip_axes(side, self._forward, up) for side in self._sides}
        self._raw = raw
        self._known = _problem(window, raw, self._knots, priors, tuple(coarse.values()))
        for p in self._names:
            start = None if p is self._reference else starts[p]
            rest_facts(self._known, stands[p], self._numbers[p], raw[p], start)
        self._at_knots = {p: _moved(at_knots[p], turns[p], starts[p]) for p in self._names}
        self._stands_alike = any(angle < SAME_POSTURE_RAD for angle in postures_rad[1:])
        pelvis = window.sensors.get(Placement.PELVIS)
        self._gappy_pelvis = pelvis is not None and bool(long_gaps(pelvis.missing, window.step_s))
        self._last: DriftProblem | None = None
        self._rounds, self._closure_m = FIRST_ROUNDS, FIRST_CLOSURE_M

    def _turn_to_reference(
        self, raw: dict[Placement, Strapdown], places_m: Mapping[Placement, FloatArray]
    ) -> tuple[dict[Placement, FloatArray], dict[Placement, FloatArray]]:
        """Turn every sensor's frame to the reference's heading; return turns and starts."""
        turns, starts = {self._reference: np.eye(3)}, {self._reference: np.zeros(3)}
        for p in self._names:
            if p is self._reference:
                continue
            angle = _heading_between(places_m[self._reference], places_m[p])
            turns[p] = heading_rotation(angle)
            raw[p] = _moved(raw[p], turns[p], np.zeros(3))
            starts[p] = np.zeros(3)
            if self._forward is not None:
                starts[p] = _start_position(self._pelvis_alone, p.side, self.window, self._forward)
        return turns, starts

    def solve(
        self,
        still: Mapping[Side, IntArray] | None = None,
        lever_m: Mapping[Side, float] | None = None,
    ) -> Body:
        """Find the motion from all facts.

        Parameters
        ----------
        still : mapping of Side to IntArray, optional
            Sample indices at which that foot stands still on the floor.
        lever_m : mapping of Side to float, optional
            Distance from shank sensor down to the point it pivots about in contact.

        Returns
        -------
        Body
            Paths in one frame whose origin is the pelvis sensor (or the first sensor) at rest.
        """
        down_m = {p: SHANK_LEVER_M for p in self._names}
        down_m.update({side.shank: length for side, length in (lever_m or {}).items()})
        up = {p: self.window.sensors[p].up for p in self._names}
        levers = {p: -down_m[p] * up[p] for p in self._names}
        known = self._known.copy() if still else self._known
        for side, index in (still or {}).items():
            p = side.shank
            pivot_facts(known, self._numbers[p], self._raw[p], levers[p], index)
        if self._sides:
            solution, misfit = self._close_legs(known)
            levers[Placement.PELVIS] = self._legs.hip_m
        else:
            solution, misfit = known.solve(), None
            if self._forward is not None:
                levers[Placement.PELVIS] = hip_lever(self._forward, up[Placement.PELVIS], 0.0)
        solutions, numbers = dict.fromkeys(self._names, solution), dict(self._numbers)
        paths = {}
        if self._pelvis and self._stands_alike and not self._gappy_pelvis:
            # Two stands hold the pelvis to millimetres; the legs' soft tissue would bend it.
            pelvis = Placement.PELVIS
            solutions[pelvis], numbers[pelvis] = self._alone[pelvis], 0
            paths[pelvis] = self._pelvis_alone
        for p in self._names:
            if p not in paths:
                paths[p] = solution.path(numbers[p])
        for side in self._sides:
            shin = self._legs.knee_m[side] / np.linalg.norm(self._legs.knee_m[side])
            up[side.shank] = sagittal_axis(paths, side, up[side.shank], shin)
        return Body(
            self.window.step_s,
            paths,
            levers,
            up,
            self._forward,
            solutions,
            numbers,
            misfit,
        )

    def lateness(self) -> dict[Side, float]:
        """How late each shank's samples are against the pelvis's, s, as the legs tell.

        Empty without a leg to tell. A thigh keeps its length only while the sensors at its
        ends are read at one time. Good to 4 ms in simulated run-ups, to 10 ms in recorded ones.
        """
        if not self._sides or self._last is None:
            return {}
        problem = self._last.copy()
        self._tie_legs(problem)
        found = problem.solve().scalars
        return {side: float(found[self._late_at(side)]) for side in self._sides}

    def _late_at(self, side: Side) -> int:
        return len(self._names) + lateness_at(self._sides, side)

    def _tie_legs(self, problem: DriftProblem) -> FloatArray:
        """Add the thighs' facts at all knots; return their misfits before, m."""
        *facts, misfit_m = thigh_facts(
            problem, self._at_knots, self._legs, self._hips, self._numbers, self._closure_m
        )
        problem.add(np.tile(self._knots, len(self._sides)), *facts)
        return misfit_m

    def _close_legs(self, known: DriftProblem) -> tuple[DriftSolution, float]:
        """Tie hips and knees at the knots; return the solution and the usual misfit, m."""
        self._last = known
        for _ in range(self._rounds):
            problem = known.copy()
            for side in self._sides:
                problem.know(self._late_at(side), 0.0, TOGETHER_S)
            misfit_m = self._tie_legs(problem)
            solution = problem.solve()
            self._at_knots = {p: solution.path_at_knots(self._numbers[p]) for p in self._names}
            self._legs = legs_found(solution.scalars[len(self._names) :], self._sides)
        usual_m = float(np.sqrt(np.mean(np.square(misfit_m))))
        self._closure_m = float(np.clip(CLOSURE_SPREADS * usual_m, *CLOSURE_LIMITS_M))
        self._rounds = LATER_ROUNDS
        return solution, float(np.median(np.abs(misfit_m)))


def _knots(window: Window, spacing_s: float) -> IntArray:
    """Knots every ``spacing_s`` while moving, sparse at rest, and at the ends of long gaps."""
    grid = np.arange(0, window.samples, max(1, round(spacing_s / window.step_s)))
    for first, last in window.rests:
        grid = grid[(grid <= first) | (grid >= last)]
    ends = [np.linspace(first, last, 4).astype(np.int64) for first, last in window.rests]
    for sensor in window.sensors.values():
        gaps = long_gaps(sensor.missing, window.step_s)
        ends += [np.array(gap, dtype=np.int64) for gap in gaps]
    return np.unique(np.concatenate((grid, np.array((0, window.samples - 1)), *ends)))


def _reckon(window: Window, placement: Placement) -> Strapdown:
    sensor = window.sensors[placement]
    return dead_reckon(
        sensor.accel_mps2,
        sensor.gyro_radps,
        window.step_s,
        level_rotation(sensor.up),
        window.gravity_mps2,
    )


def _moved(path: Strapdown, turn: FloatArray, start_m: FloatArray) -> Strapdown:
    """The same motion seen in a frame turned by (3, 3) and begun elsewhere."""
    return replace(
        path,
        rot=turn @ path.rot,
        force_mps2=path.force_mps2 @ turn.T,
        accel_mps2=path.accel_mps2 @ turn.T,
        velocity_mps=path.velocity_mps @ turn.T,
        position_m=path.position_m @ turn.T + start_m,
    )


def _problem(
    window: Window,
    paths: Mapping[Placement, Strapdown],
    knots: IntArray,
    scalars: tuple[tuple[float, float], ...],
    like: tuple[DriftProblem, ...] = (),
) -> DriftProblem:
    # One more unknown per sensor: its height at rest, which ties separate stands.
    return DriftProblem(
        tuple(paths.values()),
        tuple(noise_model(window, p) for p in paths),
        tuple(window.sensors[p].missing for p in paths),
        tuple(window.sensors[p].clipped for p in paths),
        knots,
        (*((0.0, 1.0) for _ in paths), *scalars),
        like,
    )


def pelvis_forward(path: Strapdown, up: FloatArray) -> FloatArray:
    """Forward axis of the pelvis in its sensor's axes, a unit vector (3,) across ``up``.

    The wearing instructions point the sensor's x axis forward, good to about 15 degrees; the
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
    speed = lengths(horizontal)
    seen = np.einsum("nji,nj->ni", path.rot, horizontal) * speed[:, None]
    travel = seen.sum(axis=0)
    travel -= up * (travel @ up)
    distance = float(speed.sum() * path.step_s)
    if distance < 1.0 or np.linalg.norm(travel) < 1e-9:
        return np.asarray(nominal)
    travel /= np.linalg.norm(travel)
    angle = float(np.arctan2(cross(nominal, travel) @ up, nominal @ travel))
    if abs(angle) > np.pi / 2:
        if distance > 3.0:
            return np.asarray(travel)
        return np.asarray(nominal)
    weight = 15.0**2 / (15.0**2 + 25.0**2)
    left = cross(up, nominal)
    return np.asarray(np.cos(weight * angle) * nominal + np.sin(weight * angle) * left)


def _heading_between(reference_m: FloatArray, place_m: FloatArray) -> float:
    """Angle that turns a sensor's world frame onto the reference's, rad.

    Both sensors travel with one body: the angle that best lays one path over the other.
    """
    a = place_m[:, 0] + 1j * place_m[:, 1]
    b = reference_m[:, 0] + 1j * reference_m[:, 1]
    return float(np.angle(np.sum(np.conj(a) * b)))


def _start_position(
    pelvis: Strapdown, side: Side | None, window: Window, forward: FloatArray
) -> FloatArray:
    """Where a shank sensor is at the start, from upright standing."""
    up = window.sensors[Placement.PELVIS].up
    hip = hip_lever(forward, up, outward(side) * HIP_SIDE_M)
    drop = THIGH_LENGTH_M + SHANK_LENGTH_M - SHANK_LEVER_M
    return np.asarray(pelvis.rot[0] @ hip - np.array((0.0, 0.0, drop)))
