"""The drift problem against a dense least-squares solution, and its motion against physics."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imujump.model import FloatArray
from imujump.pipeline.drift import DriftProblem
from imujump.pipeline.error_growth import BIASES, STATES, Noise, NoiseModel, Propagation
from imujump.pipeline.strapdown import Strapdown, dead_reckon

STEP_S, SAMPLES, GRAVITY = 0.01, 121, 9.81
KNOTS = np.array((0, 17, 30, 61, 90, 120))

NOISES = (
    NoiseModel(1e-2, 0.1, 0.01, 0.01, 0.02, 0.2, 5.0, 3.0, 0.5, 0.15),
    NoiseModel(2e-2, 0.2, 0.02, 0.01, 0.03, 0.1, 5.0, 3.0, 0.5, 0.15),
)
SCALARS = ((0.4, 0.1), (0.0, 0.5), (-1.0, 0.2))


def swinging(generator: np.random.Generator) -> Strapdown:
    """Dead reckoning of a sensor that turns and is pushed about."""
    t = np.arange(SAMPLES)[:, None] * STEP_S
    waves = generator.uniform(1.0, 9.0, 6), generator.uniform(0.0, 6.0, 6)
    signal = np.sin(t * waves[0] + waves[1])
    accel = 3.0 * signal[:, :3] + (0.0, 0.0, GRAVITY)
    start = Rotation.from_rotvec(generator.normal(0.0, 0.3, 3)).as_matrix()
    return dead_reckon(accel, 1.5 * signal[:, 3:], STEP_S, start, GRAVITY)


@dataclass
class Dense:
    """The same rows as one tall matrix over knots, biases and scalars."""

    sensors: int
    rows: list[FloatArray] = field(default_factory=list)
    right: list[float] = field(default_factory=list)

    @property
    def width(self) -> int:
        return len(KNOTS) * STATES * self.sensors + BIASES * self.sensors + len(SCALARS)

    def state(self, knot: int, sensor: int) -> slice:
        first = (knot * self.sensors + sensor) * STATES
        return slice(first, first + STATES)

    def bias(self, sensor: int) -> slice:
        first = len(KNOTS) * STATES * self.sensors + BIASES * sensor
        return slice(first, first + BIASES)

    @property
    def scalars(self) -> slice:
        return slice(self.width - len(SCALARS), self.width)

    def add(self, row: FloatArray, value: float, sigma: float) -> None:
        self.rows.append(row / sigma)
        self.right.append(value / sigma)

    def solve(self) -> tuple[FloatArray, FloatArray]:
        a, b = np.array(self.rows), np.array(self.right)
        found, _, rank, _ = np.linalg.lstsq(a, b, rcond=None)
        assert rank == self.width
        # From the singular values of the rows themselves: no normal equations anywhere.
        inverse = np.linalg.pinv(a)
        return found, inverse @ inverse.T


@dataclass(frozen=True)
class Case:
    problem: DriftProblem
    dense: Dense


def case(sensors: int, seed: int) -> Case:
    generator = np.random.default_rng(seed)
    paths = tuple(swinging(generator) for _ in range(sensors))
    missing = tuple(generator.random(SAMPLES) < 0.05 for _ in paths)
    clipped = tuple(generator.random(SAMPLES) < 0.05 for _ in paths)
    problem = DriftProblem(paths, NOISES[:sensors], missing, clipped, KNOTS, SCALARS)
    dense = Dense(sensors)
    for s, path in enumerate(paths):
        phi, effect = Propagation(path).between(KNOTS[:-1], KNOTS[1:])
        noise = Noise(path, NOISES[s], missing[s], clipped[s]).between(KNOTS[:-1], KNOTS[1:])
        for k in range(len(KNOTS) - 1):
            white = np.linalg.inv(np.linalg.cholesky(noise[k]))
            rows = np.zeros((STATES, dense.width))
            rows[:, dense.state(k + 1, s)] = white
            rows[:, dense.state(k, s)] = -white @ phi[k]
            rows[:, dense.bias(s)] = -white @ effect[k]
            for row in rows:
                dense.add(row, 0.0, 1.0)
        for i in range(BIASES):
            row = np.zeros(dense.width)
            row[dense.bias(s)][i] = 1.0
            dense.add(row, 0.0, NOISES[s].gyro_bias_radps if i < 3 else NOISES[s].accel_bias_mps2)
    for i, (mean, sigma) in enumerate(SCALARS):
        row = np.zeros(dense.width)
        row[dense.scalars][i] = 1.0
        dense.add(row, mean, sigma)
    for s in range(sensors):
        for component in range(STATES):
            value = float(generator.normal(0.0, 0.1))
            problem.pin(s, 0, component, value, 0.05)
            row = np.zeros(dense.width)
            row[dense.state(0, s)][component] = 1.0
            dense.add(row, value, 0.05)
    # Facts that tie sensors and constants at any knots, some knots more than once.
    count = 24
    at = generator.integers(0, len(KNOTS), count)
    weights = generator.normal(size=(count, STATES * sensors))
    constants = generator.normal(size=(count, len(SCALARS)))
    values, sigmas = generator.normal(size=count), generator.uniform(0.05, 0.5, count)
    problem.add(KNOTS[at], weights, values, sigmas, constants)
    for i in range(count):
        row = np.zeros(dense.width)
        first = at[i] * sensors * STATES
        row[first : first + STATES * sensors] = weights[i]
        row[dense.scalars] = constants[i]
        dense.add(row, values[i], sigmas[i])
    return Case(problem, dense)


@pytest.mark.parametrize(("sensors", "seed"), [(1, 0), (2, 1), (2, 2)])
def test_states_constants_and_sigmas_are_those_of_a_dense_solution(sensors: int, seed: int) -> None:
    both = case(sensors, seed)
    solution = both.problem.solve()
    found, covariance = both.dense.solve()
    chain = found[: len(KNOTS) * STATES * sensors].reshape(len(KNOTS), -1)
    np.testing.assert_allclose(solution.error_states(KNOTS), chain, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(solution.scalars, found[both.dense.scalars], rtol=1e-9, atol=1e-9)
    generator = np.random.default_rng(9)
    weights = generator.normal(size=(8, len(KNOTS), STATES * sensors))
    constants = generator.normal(size=(8, len(SCALARS)))
    for known in (None, constants):
        rows = np.zeros((8, both.dense.width))
        rows[:, : weights[0].size] = weights.reshape(8, -1)
        if known is not None:
            rows[:, both.dense.scalars] = known
        true = np.sqrt(np.einsum("ri,ij,rj->r", rows, covariance, rows))
        np.testing.assert_allclose(solution.sigmas(weights, known), true, rtol=1e-9)


def test_sigma_of_one_state_is_its_marginal() -> None:
    both = case(2, 4)
    solution, (_, covariance) = both.problem.solve(), both.dense.solve()
    size = len(KNOTS) * STATES * 2
    weights = np.eye(size).reshape(size, len(KNOTS), STATES * 2)
    np.testing.assert_allclose(
        solution.sigmas(weights), np.sqrt(np.diag(covariance)[:size]), rtol=1e-9
    )


@pytest.mark.parametrize("component", range(STATES + BIASES))
def test_the_error_model_is_the_derivative_of_dead_reckoning(component: int) -> None:
    """Disturb start or bias by a little and reckon again: errors grow as the model says.

    The corrected path is the disturbed one plus the error state, so a disturbance of size d
    appears as a state of -d at first order; 1e-6 leaves second order at 1e-9. Integrals of
    the signals by trapezoids differ from the reckoning's own steps by their second order in
    time, 1e-3 of the effect here.
    """
    generator = np.random.default_rng(5)
    t = np.arange(SAMPLES)[:, None] * STEP_S
    signal = np.sin(t * generator.uniform(1.0, 6.0, 6) + generator.uniform(0.0, 6.0, 6))
    accel, gyro = 3.0 * signal[:, :3] + (0.0, 0.0, GRAVITY), 1.5 * signal[:, 3:]
    start = Rotation.from_rotvec((0.2, -0.1, 0.4)).as_matrix()
    true = dead_reckon(accel, gyro, STEP_S, start, GRAVITY)
    size = 1e-6
    state, bias = np.zeros(STATES), np.zeros(BIASES)
    if component < STATES:
        state[component] = size
    else:
        bias[component - STATES] = size
    tilted = Rotation.from_rotvec(-state[:3]).as_matrix() @ start
    off = dead_reckon(accel + bias[3:], gyro + bias[:3], STEP_S, tilted, GRAVITY)
    first, last = np.array((0,)), np.array((SAMPLES - 1,))
    phi, effect = Propagation(off).between(first, last)
    grown = phi[0] @ state + effect[0] @ bias
    turn = Rotation.from_matrix(true.rot[-1] @ off.rot[-1].T).as_rotvec()
    seconds = (SAMPLES - 1) * STEP_S
    moved = true.velocity_mps[-1] - off.velocity_mps[-1] + state[3:6]
    placed = true.position_m[-1] - off.position_m[-1] + state[6:9] + state[3:6] * seconds
    seen = np.concatenate((turn, moved, placed))
    np.testing.assert_allclose(grown, seen, atol=3e-3 * np.abs(seen).max())


def test_transitions_chain() -> None:
    """From a to c is from a to b and on from b to c."""
    path = swinging(np.random.default_rng(3))
    a, b, c = (np.array((k,)) for k in (5, 48, 110))
    model = Propagation(path)
    (ab, eab), (bc, ebc), (ac, eac) = model.between(a, b), model.between(b, c), model.between(a, c)
    np.testing.assert_allclose(bc @ ab, ac, atol=1e-10)
    np.testing.assert_allclose(bc @ eab + ebc, eac, atol=1e-10)


def test_path_moves_by_the_error_states_at_knots() -> None:
    both = case(1, 7)
    solution = both.problem.solve()
    old, new = both.problem.paths[0], solution.path(0)
    states = solution.error_states(KNOTS)
    np.testing.assert_allclose(
        new.velocity_mps[KNOTS], old.velocity_mps[KNOTS] + states[:, 3:6], atol=1e-12
    )
    np.testing.assert_allclose(
        new.position_m[KNOTS], old.position_m[KNOTS] + states[:, 6:9], atol=1e-12
    )


def test_facts_off_the_knots_are_refused() -> None:
    problem = case(1, 0).problem
    with pytest.raises(ValueError, match="not knots"):
        problem.pin(0, 5, 0, 0.0, 1.0)
    with pytest.raises(ValueError, match="not knots"):
        problem.pin(0, SAMPLES + 5, 0, 0.0, 1.0)


def test_share_between_knots() -> None:
    solution = case(1, 0).problem.solve()
    assert solution.spread_weights(0.0) == (0, 0.0)
    assert solution.spread_weights(30.0) == (2, 0.0)
    assert solution.spread_weights(45.5) == (2, 0.5)
    assert solution.spread_weights(500.0) == (4, 1.0)


def test_everywhere_is_growth_from_the_knot_before() -> None:
    both = case(2, seed=5)
    path = both.problem.paths[1]
    growth, generator = Propagation(path), np.random.default_rng(6)
    bias = generator.normal(0.0, 0.1, BIASES)
    states = [generator.normal(0.0, 0.1, STATES)]
    for start, end in pairwise(KNOTS.tolist()):  # no noise: each knot follows from the one before
        phi, effect = growth.between(np.array((start,)), np.array((end,)))
        states.append(phi[0] @ states[-1] + effect[0] @ bias)
    found = growth.everywhere(KNOTS, np.array(states), bias)
    for index in (0, 5, 17, 29, 75, 120):
        phi, effect = growth.between(np.array((0,)), np.array((index,)))
        np.testing.assert_allclose(found[index], phi[0] @ states[0] + effect[0] @ bias, atol=1e-12)


def test_facts_between_knots_equal_facts_at_a_knot_there() -> None:
    """The same velocity fact, once with a knot at its sample and once without."""
    generator = np.random.default_rng(9)
    path = swinging(generator)
    quiet = NoiseModel(1e-6, 1e-5, 0.0, 0.0, 0.02, 0.2, 5.0, 3.0, 0.5, 0.15)
    whole = np.zeros(SAMPLES, dtype=bool)
    solved = []
    for knots in (KNOTS, np.unique(np.append(KNOTS, 70))):
        problem = DriftProblem((path,), (quiet,), (whole,), (whole,), knots)
        for component in range(STATES):
            problem.pin(0, 0, component, 0.0, 1e-3)
        for axis in range(3):
            weights = np.zeros((1, STATES))
            weights[0, 3 + axis] = 1.0
            problem.add_between(
                0, np.array((70,)), weights, np.array((0.3,)), np.array((1e-2,)), np.zeros((1, 0))
            )
        solved.append(problem.solve().error_states(KNOTS))
    np.testing.assert_allclose(solved[0], solved[1], atol=1e-5)
