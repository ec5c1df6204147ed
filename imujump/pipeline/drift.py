"""Drift of inertial dead reckoning as a linear least-squares problem over knots.

Dead reckoning integrates angular rate to attitude and specific force to velocity and
position; its errors grow smoothly and are linear in a few unknowns. For each sensor the
unknowns are the errors of attitude, velocity and position at *knots* along the window and
one constant bias of gyroscope and accelerometer. Known facts (a standing athlete, a foot
that pivots on its ankle, level ground, bones of constant length) are rows on these
unknowns. All sensors are solved together, forwards and backwards in time at once: the
batch form of a fixed-interval smoother (Rauch, Tung and Striebel, AIAA J. 3(8), 1965, from
memory), which also takes facts that tie two sensors or concern an unknown constant.

The unknowns at knots form a chain, so the normal equations are banded with a border for
the constants. The standard deviation of any output that is linear in the unknowns follows
from the same factorisation.
"""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from imujump.model import BoolArray, FloatArray, IntArray
from imujump.pipeline.chain import FactoredChain
from imujump.pipeline.drift_solution import DriftSolution
from imujump.pipeline.error_growth import (
    BIASES,
    STATES,
    Noise,
    NoiseModel,
    Propagation,
)
from imujump.pipeline.strapdown import Strapdown


class DriftProblem:
    """Collects facts about the drift of several sensors, then solves for it.

    Parameters
    ----------
    paths : tuple of Strapdown
        Dead reckoning of each sensor over the same window.
    noise : tuple of NoiseModel
        One per sensor.
    missing, clipped : tuple of BoolArray
        (n,) per sensor: samples lost, samples at the end of the range.
    knots : IntArray
        Sample indices that carry unknowns, the same for all sensors.
    scalars : tuple of (mean, sigma)
        Further unknown constants, such as a bone's length, with what is known of them.
    like : tuple of DriftProblem
        Others of the same sensors in this order, together or one by one, their paths turned about
        the vertical at the most: what was worked out there is not worked out again.

    Examples
    --------
    A sensor at rest whose accelerometer reads 0.01 m/s² too much is brought back by the
    fact that it does not move at the end:

    >>> from imujump.pipeline.strapdown import dead_reckon
    >>> accel = np.tile((0.01, 0.0, 9.81), (201, 1))
    >>> path = dead_reckon(accel, np.zeros((201, 3)), 0.01, np.eye(3), 9.81)
    >>> noise = NoiseModel(1e-5, 1e-3, 0.0, 0.0, 1e-6, 0.05, 1.0, 1.0, 1.0, 0.0)
    >>> still = np.zeros(201, dtype=bool)
    >>> knots = np.array((0, 100, 200))
    >>> problem = DriftProblem((path,), (noise,), (still,), (still,), knots)
    >>> for axis in range(3):
    ...     problem.pin(0, 0, 0 + axis, 0.0, 1e-4)
    ...     problem.pin(0, 0, 3 + axis, 0.0, 1e-3)
    ...     problem.pin(0, 0, 6 + axis, 0.0, 1e-3)
    ...     problem.pin(0, 200, 3 + axis, -path.velocity_mps[200, axis], 1e-3)
    >>> bool(abs(problem.solve().path(0).position_m[-1, 0]) < 1e-3)
    True
    """

    def __init__(
        self,
        paths: tuple[Strapdown, ...],
        noise: tuple[NoiseModel, ...],
        missing: tuple[BoolArray, ...],
        clipped: tuple[BoolArray, ...],
        knots: IntArray,
        scalars: tuple[tuple[float, float], ...] = (),
        like: tuple[DriftProblem, ...] = (),
    ) -> None:
        self.paths = paths
        self.knots = np.unique(knots)
        self.sensors = len(paths)
        self.width = STATES * self.sensors
        self.border = BIASES * self.sensors + len(scalars)
        known = {
            path: growth
            for other in like
            for path, growth in zip(other.paths, other.growths, strict=True)
        }
        self.growths: tuple[Propagation, ...] = tuple(
            known.get(path) or Propagation(path) for path in paths
        )
        each = zip(paths, noise, missing, clipped, strict=True)
        # Turning changes no length, and the noise depends on lengths alone.
        self._noises: tuple[Noise, ...] = tuple(
            added for other in like for added in other._noises
        ) or tuple(Noise(*one) for one in each)
        self.paths_at_knots = tuple(path.at(self.knots) for path in paths)
        m, k = self.width, len(self.knots)
        # Normal equations of each knot: its own block, then the border's, then the right side.
        self._rows = np.zeros((k, m, m + self.border + 1))
        self._below = np.zeros((k - 1, m, m))
        self._corner = np.zeros((self.border, self.border + 1))
        for s in range(self.sensors):
            self._add_motion(s, noise[s])
        for number, (mean, sigma) in enumerate(scalars):
            self.know(number, mean, sigma)

    def _add_motion(self, s: int, noise: NoiseModel) -> None:
        phi, effect = self.growths[s].between(self.knots[:-1], self.knots[1:])
        q_inv = self._noises[s].information(self.knots[:-1], self.knots[1:])
        own = slice(STATES * s, STATES * (s + 1))
        bias = slice(BIASES * s, BIASES * (s + 1))
        edge = slice(self.width + BIASES * s, self.width + BIASES * (s + 1))
        phi_q = np.swapaxes(phi, 1, 2) @ q_inv
        self._rows[1:, own, own] += q_inv
        self._rows[:-1, own, own] += phi_q @ phi
        self._below[:, own, own] -= q_inv @ phi
        self._rows[1:, own, edge] -= q_inv @ effect
        self._rows[:-1, own, edge] += phi_q @ effect
        self._corner[bias, bias] += np.sum(np.swapaxes(effect, 1, 2) @ q_inv @ effect, axis=0)
        prior = np.array((noise.gyro_bias_radps,) * 3 + (noise.accel_bias_mps2,) * 3)
        self._corner[bias, bias] += np.diag(1.0 / prior**2)

    @property
    def scalars(self) -> int:
        """Number of further unknown constants."""
        return self.border - BIASES * self.sensors

    def copy(self) -> DriftProblem:
        """The same facts, to be added to apart from the original."""
        other = copy.copy(self)
        other._rows, other._corner = self._rows.copy(), self._corner.copy()
        return other

    def knot_numbers(self, index: IntArray) -> IntArray:
        """Positions of sample indices among the knots; each must be one."""
        at = np.searchsorted(self.knots, index)
        if np.any(at >= len(self.knots)) or np.any(self.knots[at] != index):
            raise ValueError("index holds samples that are not knots; add them to knots")
        return at

    def add(
        self,
        index: IntArray,
        weights: FloatArray,
        value: FloatArray,
        sigma: FloatArray,
        scalars: FloatArray | None = None,
    ) -> None:
        """Add r scalar facts: weights · unknowns = value ± sigma.

        Parameters
        ----------
        index : IntArray
            (r,) sample index of each fact, a knot.
        weights : FloatArray
            (r, 9 sensors) on the error states of all sensors at that knot.
        value, sigma : FloatArray
            (r,) right-hand side and its standard deviation.
        scalars : FloatArray, optional
            (r, number of scalars) weights on the further constants.
        """
        c = np.zeros((len(weights), self.border))
        if scalars is not None:
            c[:, BIASES * self.sensors :] = scalars
        self._add(self.knot_numbers(index), weights, c, value, sigma)

    def add_between(
        self,
        sensor: int,
        index: IntArray,
        weights: FloatArray,
        value: FloatArray,
        sigma: FloatArray,
        scalars: FloatArray,
    ) -> None:
        """Add r facts on one sensor's error states (r, 9) at any samples, knots or not.

        The error at a sample has grown from that at the knot before, or grows into that at
        the knot after, whichever is told with less noise; that noise adds to sigma.
        """
        before = np.minimum(
            np.searchsorted(self.knots, index, side="right") - 1, len(self.knots) - 2
        )
        growth, noise = self.growths[sensor], self._noises[sensor]
        early = noise.between(self.knots[before], index)
        late = noise.between(index, self.knots[before + 1])
        nearer = np.trace(late, axis1=1, axis2=2) < np.trace(early, axis1=1, axis2=2)
        knot = before + nearer
        phi, effect = growth.between(self.knots[knot], index)
        added = np.where(nearer[:, None, None], late, early)
        rows = weights[:, None, :]
        spread = (rows @ added)[:, 0]
        sigma = np.sqrt(sigma**2 + np.sum(spread * weights, axis=1))
        on_states = np.zeros((len(weights), self.width))
        on_states[:, STATES * sensor : STATES * (sensor + 1)] = (rows @ phi)[:, 0]
        on_border = np.zeros((len(weights), self.border))
        on_border[:, BIASES * sensor : BIASES * (sensor + 1)] = (rows @ effect)[:, 0]
        on_border[:, BIASES * self.sensors :] = scalars
        self._add(knot, on_states, on_border, value, sigma)

    def _add(
        self,
        k: IntArray,
        on_states: FloatArray,
        on_border: FloatArray,
        value: FloatArray,
        sigma: FloatArray,
    ) -> None:
        facts = np.column_stack((on_states, on_border, value)) / sigma[:, None]
        states, border = facts[:, : self.width], facts[:, self.width :]
        knots = np.arange(len(self.knots))
        if np.array_equal(k, np.tile(knots, len(k) // len(knots))):  # some at every knot
            at_each = facts.reshape(-1, *self._rows.shape[::2])
            self._rows += at_each[:, :, : self.width].transpose(1, 2, 0) @ at_each.swapaxes(0, 1)
        else:
            for knot in np.unique(k).tolist():
                own = k == knot
                self._rows[knot] += states[own].T @ facts[own]
        self._corner += border[:, :-1].T @ border

    def pin(
        self,
        sensor: int,
        index: IntArray | int,
        component: IntArray | int,
        value: FloatArray | float,
        sigma: FloatArray | float,
        scalar: int | None = None,
    ) -> None:
        """State single error components (0-2 attitude, 3-5 velocity, 6-8 position) at knots.

        With ``scalar`` they are told against that further constant.
        """
        k, state, sure, value = np.broadcast_arrays(
            self.knot_numbers(np.atleast_1d(index)),
            STATES * sensor + np.asarray(component),
            1.0 / np.square(sigma),
            value,
        )
        columns: list[tuple[Any, FloatArray]] = [(state, sure), (-1, sure * value)]
        if scalar is not None:
            at = BIASES * self.sensors + scalar
            columns.append((self.width + at, -sure))
            self._corner[at, at] += np.sum(sure)
            self._corner[at, -1] -= np.sum(sure * value)
        for column, added in columns:
            at_each: Any = (k, state, column)
            np.add.at(self._rows, at_each, added)  # a knot may be told of twice

    def know(self, scalar: int, value: float, sigma: float) -> None:
        """State one of the further constants."""
        at = BIASES * self.sensors + scalar
        self._corner[at, at] += 1.0 / sigma**2
        self._corner[at, -1] += value / sigma**2

    def solve(self) -> DriftSolution:
        """Solve all facts by least squares (bordered banded Cholesky factorisation)."""
        k, m = len(self.knots), self.width
        # A sensor's errors grow from its own alone: the next knot's states of one sensor.
        factor = FactoredChain(self._rows[:, :, :m], self._below, STATES)
        # Half a solution is all that the border needs.
        half = factor.half(self._rows[:, :, m:].reshape(k * m, -1))
        edge, right = half[:, :-1], half[:, -1]
        border = self._corner - (half.T @ half)[:-1]
        corner = cho_factor(border[:, :-1], check_finite=False)
        tail = cho_solve(corner, border[:, -1], check_finite=False)
        chain = factor.back(right - edge @ tail).reshape(k, m)
        return DriftSolution(self, chain, tail, factor, edge, corner)
