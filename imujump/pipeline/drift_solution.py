"""The solved drift of several sensors: their paths without it, and standard deviations."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import cho_solve

from imujump.model import FloatArray, IntArray
from imujump.pipeline.chain import FactoredChain
from imujump.pipeline.error_growth import ATTITUDE, BIASES, POSITION, STATES, VELOCITY
from imujump.pipeline.strapdown import Strapdown
from imujump.pipeline.vectors import cross, small_turn, turned

if TYPE_CHECKING:
    from imujump.pipeline.drift import DriftProblem


class DriftSolution:
    """The solved drift: corrected paths, constants and standard deviations."""

    def __init__(
        self,
        problem: DriftProblem,
        chain: FloatArray,
        tail: FloatArray,
        factor: FactoredChain,
        half_edge: FloatArray,
        corner: tuple[FloatArray, bool],
    ) -> None:
        self.problem = problem
        self._chain, self._tail = chain, tail
        self._factor, self._half_edge, self._corner = factor, half_edge, corner

    @property
    def scalars(self) -> FloatArray:
        """The further constants, in the order they were given."""
        return self._tail[BIASES * self.problem.sensors :]

    def error_states(self, index: IntArray) -> FloatArray:
        """Error states (r, 9 sensors) at knots."""
        return self._chain[self.problem.knot_numbers(index)]

    def path(self, sensor: int) -> Strapdown:
        """Return a sensor's dead reckoning without its drift, at every sample."""
        return self._corrected(sensor, self.problem.paths[sensor], self._error(sensor))

    def sketch(self, sensor: int, index: IntArray) -> tuple[FloatArray, Strapdown]:
        """Return a sensor's position (n, 3) at every sample, and all of its path at some."""
        old, error = self.problem.paths[sensor], self._error(sensor)
        whole = self._corrected(sensor, old.at(index), error[index])
        return old.position_m + error[:, POSITION], whole

    def _error(self, sensor: int) -> FloatArray:
        """Error states (n, 9) at every sample."""
        return self.problem.growths[sensor].everywhere(
            self.problem.knots, self._states(sensor), self._bias(sensor)
        )

    def path_at_knots(self, sensor: int) -> Strapdown:
        """Return the same at the knots only."""
        return self._corrected(sensor, self.problem.paths_at_knots[sensor], self._states(sensor))

    def _states(self, sensor: int) -> FloatArray:
        return self._chain[:, STATES * sensor : STATES * (sensor + 1)]

    def _bias(self, sensor: int) -> FloatArray:
        return self._tail[BIASES * sensor : BIASES * (sensor + 1)]

    def _corrected(self, sensor: int, old: Strapdown, error: FloatArray) -> Strapdown:
        angle = error[:, ATTITUDE]
        rot = old.rot + small_turn(angle) @ old.rot
        bias = self._bias(sensor)
        force = old.force_mps2 + cross(angle, old.force_mps2) - turned(rot, bias[3:])
        return Strapdown(
            old.step_s,
            rot,
            force,
            force - (old.force_mps2 - old.accel_mps2),
            old.velocity_mps + error[:, VELOCITY],
            old.position_m + error[:, POSITION],
            old.gyro_radps - bias[:3],
        )

    def sigmas(self, weights: FloatArray, scalars: FloatArray | None = None) -> FloatArray:
        """Give the standard deviations of r outputs that are linear in the unknowns.

        Parameters
        ----------
        weights : FloatArray
            (r, knots, 9 sensors) on the error states.
        scalars : FloatArray, optional
            (r, number of scalars) on the further constants.
        """
        knots, states = weights.shape[1:]
        # Before the first weight half a solution is zero.
        first = int(np.argmax(weights.any(axis=(0, 2)))) * states
        half = self._factor.half(weights.reshape(-1, knots * states)[:, first:].T, first)
        tail = -(self._half_edge[first:].T @ half)
        if scalars is not None:
            tail[BIASES * self.problem.sensors :] += scalars.T
        variance = np.sum(half * half, axis=0)
        variance += np.sum(tail * cho_solve(self._corner, tail, check_finite=False), axis=0)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))

    def spread_weights(self, index: float) -> tuple[int, float]:
        """Knot before a sample index and the share of the knot after it (0 to 1)."""
        knots = self.problem.knots
        k = min(max(int(knots.searchsorted(index, side="right")) - 1, 0), len(knots) - 2)
        share = float((index - knots[k]) / (knots[k + 1] - knots[k]))
        return k, min(max(share, 0.0), 1.0)
