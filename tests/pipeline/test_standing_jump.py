"""Jumps from standing: a simulated one keeps to anatomy, and the pipeline measures it."""

from __future__ import annotations

import numpy as np
import pytest

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Analysis, Side, TakeOffStyle
from imujump.pipeline.engine import analyse
from imujump.simulate.body import Body
from imujump.simulate.imu import record
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose
from imujump.simulate.standing_jump import StandingJump

G = STANDARD_GRAVITY_MPS2
JUMPS = (StandingJump(1.9), StandingJump(2.4, landing_lag_s=-0.008), StandingJump(2.9))


@pytest.fixture(scope="module")
def motion() -> Motion:
    blocks = [block for jump in JUMPS for block in (Stand(2.5), jump)]
    return compose([*blocks, Stand(2.0)], np.random.default_rng(3), body=Body(1.75))


@pytest.fixture(scope="module")
def analysis(motion: Motion) -> Analysis:
    return analyse(record(motion, np.random.default_rng(4)))


def test_legs_hold_and_the_centre_of_mass_falls_freely(motion: Motion) -> None:
    t = np.arange(0.0, motion.duration_s, 0.002)
    for side in Side:
        assert motion.leg_stretch_m(side, t).max() < 0.06
    left, right = motion.feet.values()
    for toe_off_s, strike_s, jump in zip(
        np.fmax(left.toe_off_s, right.toe_off_s)[:3],
        np.fmin(left.strike_s, right.strike_s)[1:],
        JUMPS,
        strict=True,
    ):
        assert strike_s - toe_off_s == pytest.approx(jump.flight_s)
        within = motion.centre_of_mass(np.linspace(toe_off_s, strike_s, 50)[1:-1])
        assert within.second[:, 2] == pytest.approx(-G)


def test_it_goes_as_deep_as_asked(motion: Motion) -> None:
    height_m = motion.centre_of_mass(np.arange(0.0, 2.5 + 0.05 + 1.0, 0.002)).value[:, 2]
    assert height_m[0] - height_m.min() == pytest.approx(JUMPS[0].depth_m, abs=0.005)


def test_each_is_an_attempt_off_two_feet_without_a_run_up(analysis: Analysis) -> None:
    assert [a.take_off_style for a in analysis.attempts] == [TakeOffStyle.TWO_FOOT] * 3
    for attempt in analysis.attempts:
        assert attempt.valid
        assert attempt.steps == ()
        for name in ("approach_speed_mps", "take_off_contact_s", "last_step_ratio"):
            estimate = attempt.metrics[name]
            assert estimate.value is None
            assert estimate.reason


def test_flight_height_is_within_its_uncertainty(analysis: Analysis) -> None:
    for attempt, jump in zip(analysis.attempts, JUMPS, strict=True):
        height = attempt.metrics["height_flight_m"]
        assert height.value == pytest.approx(G * jump.flight_s**2 / 8.0, abs=1.96 * height.sigma)


@pytest.mark.parametrize("wrong", [{"take_off_vertical_mps": 5.0}, {"depth_m": 0.6}])
def test_a_jump_that_nobody_can_do_is_refused(wrong) -> None:
    with pytest.raises(ValueError, match="must lie within"):
        StandingJump(**wrong)
