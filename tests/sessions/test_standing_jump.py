"""Power of standing jumps against worked figures and published means; refusals; error."""

from __future__ import annotations

import math

import numpy as np
import pytest

from imujump.sessions.records import Task
from imujump.sessions.standing_jump import (
    Measured,
    PowerFormula,
    height_from_flight,
    power,
)

F = PowerFormula


def watts(formula: PowerFormula, height_m: float, mass_kg: float) -> float:
    found = power(formula, Measured(height_m, None), Measured(mass_kg, None), Task.STANDING)
    assert found.watts is not None
    assert found.watts.sigma is None
    return found.watts.value


@pytest.mark.parametrize(
    ("formula", "told"),
    [
        # Sayers (MSSE 1999 31:572): coefficients seen; the rest plain arithmetic on 55 cm, 80 kg,
        # with Sayers' counter-movement form from memory.
        (F.SAYERS, 4907.5),
        (F.SAYERS_COUNTER_MOVEMENT, 4759.5),
        (F.HARMAN_PEAK, 4462.5),
        (F.HARMAN_MEAN, 1613.0),
        (F.WOMEN_PEAK, 4231.4),
    ],
)
def test_worked_power(formula, told) -> None:
    assert watts(formula, 0.55, 80.0) == pytest.approx(told, abs=0.05)


def test_worked_power_per_kilogram() -> None:
    found = power(F.SAYERS, Measured(0.55, 0.01), Measured(80.0, 0.5), Task.STANDING)
    assert found.per_kg is not None
    assert found.per_kg.value == pytest.approx(61.34, abs=5e-3)


def test_lewis() -> None:
    # 60 cm, 75 kg with g = 9.81: 1261.5 W (published example 1261.6 W, rounding; seen).
    assert watts(F.LEWIS_MEAN, 0.60, 75.0) == pytest.approx(1261.5, abs=0.1)


def test_means_of_a_published_sample() -> None:
    # Canavan and Vescovi, 2004 (MSSE 36:1589): 65.9 kg, Sayers 2920.8 W, so 32.79 cm. They give
    # Harman 2585.0, Sayers counter-movement 2925.1, measured 2425.4 W; arithmetic 2580, 2917, 2422.
    assert watts(F.SAYERS, 0.3279, 65.9) == pytest.approx(2920.8, abs=1.0)
    for formula, worked, published in (
        (F.HARMAN_PEAK, 2580, 2585.0),
        (F.SAYERS_COUNTER_MOVEMENT, 2917, 2925.1),
        (F.WOMEN_PEAK, 2422, 2425.4),
    ):
        found = watts(formula, 0.3279, 65.9)
        assert found == pytest.approx(worked, abs=1.0)
        assert found == pytest.approx(published, rel=0.004)


def test_height_of_a_flight() -> None:
    # Free fall: 0.500, 0.600, 0.700 s are 0.3065, 0.4413, 0.6007 m; 5 ms at 0.600 s cost 7.4 mm.
    for flight_s, height_m in ((0.500, 0.3065), (0.600, 0.4413), (0.700, 0.6007)):
        assert height_from_flight(Measured(flight_s, None)).value == pytest.approx(
            height_m, abs=5e-5
        )
    assert height_from_flight(Measured(0.6, 0.005)).sigma == pytest.approx(0.0074, abs=5e-5)
    with pytest.raises(ValueError, match=r"^flight_s is nan"):
        height_from_flight(Measured(math.nan, None))


@pytest.mark.parametrize("formula", list(F))
def test_errors_agree_with_a_random_draw(formula) -> None:
    # 200 000 draws know a standard deviation to 0.16 %; the error of the women's form is added.
    rng = np.random.default_rng(91)
    heights, masses = rng.normal(0.45, 0.01, 200_000), rng.normal(70.0, 0.7, 200_000)
    found = power(formula, Measured(0.45, 0.01), Measured(70.0, 0.7), Task.STANDING)
    assert found.watts is not None
    assert found.per_kg is not None
    assert found.interval is not None
    drawn = (
        np.sqrt(4.9 * heights) * masses * 9.81
        if formula is F.LEWIS_MEAN
        else watts(formula, 0.45, 70.0)
        + (watts(formula, 0.46, 70.0) - watts(formula, 0.45, 70.0)) * (heights - 0.45) / 0.01
        + (watts(formula, 0.45, 71.0) - watts(formula, 0.45, 70.0)) * (masses - 70.0)
    )
    drawn = drawn + rng.normal(0, 121.0 if found.with_regression_error else 0.0, 200_000)
    assert found.with_regression_error == (formula is F.WOMEN_PEAK)
    assert found.watts.sigma == pytest.approx(float(drawn.std()), rel=0.01)
    assert found.per_kg.sigma == pytest.approx(float((drawn / masses).std()), rel=0.01)


@pytest.mark.parametrize(
    ("height_m", "mass_kg", "task", "word"),
    [
        (0.55, 80.0, Task.TWO_FOOT, "standing"),
        (0.55, 80.0, Task.ONE_FOOT, "standing"),
        (0.95, 80.0, Task.STANDING, "height"),
        (0.05, 80.0, Task.STANDING, "height"),
        (math.nan, 80.0, Task.STANDING, "height"),
        (0.55, 30.0, Task.STANDING, "mass"),
        (0.55, math.inf, Task.STANDING, "mass"),
        (0.10, 40.0, Task.STANDING, "no power"),
    ],
)
def test_outside_its_domain_there_is_a_reason(height_m, mass_kg, task, word) -> None:
    found = power(F.HARMAN_MEAN, Measured(height_m, 0.01), Measured(mass_kg, 0.5), task)
    assert found.watts is None
    assert found.per_kg is None
    assert found.reason is not None
    assert word in found.reason
