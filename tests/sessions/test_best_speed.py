"""Best approach speed: an optimum only where one was seen, and its interval holds the truth."""

from __future__ import annotations

import math

import numpy as np
import pytest

from imujump.sessions.best_speed import Run, SpeedVerdict, best_approach_speed


def runs(
    rng,
    top_mps: float | None,
    spread: float = 0.5,
    n: int = 36,
    sigma: float = 0.10,
    bend: float = 0.12,
    slope: float = 0.0,
) -> list[Run]:
    """Height falls by ``bend`` m for 1 m/s off the top, in four sessions, speeds in mixed order."""
    found = []
    for k in range(n):
        speed = rng.normal(5.0, spread)
        height = 0.55 + 0.01 * (k % 4) + rng.normal(0, 0.02) + slope * (speed - 5.0)
        if top_mps is not None:
            height -= bend * (speed - top_mps) ** 2
        found.append(Run(k % 4, k // 4, speed + rng.normal(0, sigma), sigma, height))
    return found


def test_a_clear_optimum_is_named_and_its_interval_holds_it() -> None:
    rng = np.random.default_rng(71)
    found = [best_approach_speed(runs(rng, 5.1)) for _ in range(150)]
    named = [f for f in found if f.verdict is SpeedVerdict.OPTIMUM]
    assert len(named) / 150 > 0.8
    held = sum(f.interval is not None and f.interval.holds(5.1) for f in named)
    assert held / len(named) == pytest.approx(0.95, abs=0.05)
    assert all(f.ladder_mps == () for f in named)


@pytest.mark.parametrize(
    "case",
    [
        {"top_mps": None},
        {"top_mps": None, "slope": 0.08},
        {"top_mps": 6.2, "bend": 0.05},
        {"top_mps": 5.0, "bend": -0.1},
    ],
    ids=["flat", "line", "beyond", "valley"],
)
def test_no_optimum_is_named_where_none_was_seen(case) -> None:
    rng = np.random.default_rng(72)
    found = [best_approach_speed(runs(rng, **case)) for _ in range(100)]
    assert sum(f.verdict is SpeedVerdict.OPTIMUM for f in found) <= 3
    if "slope" in case:
        assert sum(f.verdict is SpeedVerdict.FASTER_IS_HIGHER for f in found) >= 95
    assert all(len(f.ladder_mps) == 3 for f in found if f.verdict is not SpeedVerdict.OPTIMUM)


def test_errors_of_speed_do_not_shift_the_top() -> None:
    # A top away from the middle: without the correction it reads too far from it.
    rng = np.random.default_rng(73)
    plain = {"top_mps": 5.25, "n": 120, "sigma": 0.22}
    tops = []
    for _ in range(60):
        drawn = runs(rng, **plain)
        told = best_approach_speed(drawn)
        blind = best_approach_speed(
            [Run(r.session_id, r.order, r.speed_mps, None, r.height_m) for r in drawn]
        )
        if told.best_mps is not None and blind.best_mps is not None:
            tops.append((told.best_mps, blind.best_mps))
    corrected, naive = np.mean(tops, axis=0)
    assert len(tops) >= 50
    assert corrected == pytest.approx(5.25, abs=0.03)
    assert naive - 5.25 > 0.03


def test_too_few_too_narrow_too_unsure() -> None:
    rng = np.random.default_rng(74)
    assert best_approach_speed([]).verdict is SpeedVerdict.TOO_FEW
    assert best_approach_speed(runs(rng, 5.0, n=8)).verdict is SpeedVerdict.TOO_FEW
    odd = [Run(1, 1, math.nan, None, 0.5), Run(1, 2, 5.0, None, math.inf)]
    assert best_approach_speed(odd).n == 0
    assert best_approach_speed(runs(rng, 5.0, spread=0.1)).verdict is SpeedVerdict.TOO_NARROW
    assert best_approach_speed(runs(rng, 5.0, sigma=0.6)).verdict is SpeedVerdict.TOO_UNSURE
    alike = [Run(1, k, 4.0 + 0.1 * k, None, 0.5) for k in range(20)]
    assert best_approach_speed(alike).verdict is SpeedVerdict.OPEN
    two_speeds = [Run(1, k, 4.0 + k % 2, None, rng.normal(0.5, 0.02)) for k in range(20)]
    assert best_approach_speed(two_speeds).verdict is not SpeedVerdict.OPTIMUM


def test_speed_that_follows_the_order_is_told() -> None:
    rng = np.random.default_rng(75)
    rising = [Run(1, k, 4.0 + 0.1 * k, 0.05, rng.normal(0.5, 0.02)) for k in range(15)]
    assert not best_approach_speed(rising).order_told
    assert best_approach_speed(runs(rng, 5.0)).order_told
