"""Properties that any motion of ours must have, whatever the technique."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import event, given, reject, settings
from hypothesis import strategies as st

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement, Side, TakeOffStyle
from imujump.simulate.athlete import ApproachJump, ReachError
from imujump.simulate.motion import Motion
from imujump.simulate.movements import Bounce, Fidget, RunThrough, Stand, TurnAround, Walk
from imujump.simulate.session import compose

from .jumps import motion_of, one_foot, two_foot

STRETCH_BOUND_M = 0.06
"""How far the modelled hip may give: less than 7 % of the leg at worst."""


@pytest.fixture(scope="module")
def session() -> Motion:
    blocks = [
        Stand(2.0),
        Bounce(3),
        TurnAround(),
        Walk(5.0),
        Fidget(3.0),
        TurnAround(-2.0),
        RunThrough(4.5, 5),
        Stand(1.0),
    ]
    return compose(blocks, np.random.default_rng(5))


def motions(session: Motion) -> list[Motion]:
    return [one_foot(), two_foot(), session]


def times(motion: Motion, step_s: float = 0.002) -> np.ndarray:
    return np.arange(0.0, motion.duration_s, step_s)


def test_feet_do_not_slide_or_sink_in_contact(session: Motion) -> None:
    for motion in motions(session):
        for foot in motion.feet.values():
            for begin, end in zip(foot.strike_s, foot.toe_off_s, strict=True):
                t = np.linspace(max(begin, 0.0), min(end, motion.duration_s), 60)
                pitch = foot.foot_pitch_rad(t)
                point = foot.carrying_point(t)
                for rolling in (pitch >= 0.0, pitch < 0.0):
                    if rolling.sum() > 1:
                        assert np.ptp(point[rolling], axis=0).max() < 1e-3
                assert np.abs(point[:, 2]).max() < 1e-3
            air = ~foot.in_contact(times(motion))
            assert foot.ankle(times(motion)).value[air, 2].min() > 0.6 * motion.body.ankle_height_m


def test_without_support_the_centre_of_mass_falls_freely(session: Motion) -> None:
    for motion in motions(session):
        t = times(motion)
        carried = motion.feet[Side.LEFT].in_contact(t) | motion.feet[Side.RIGHT].in_contact(t)
        fall = motion.centre_of_mass(t[~carried]).second
        assert len(fall) > 100
        assert np.abs(fall + np.array([0.0, 0.0, STANDARD_GRAVITY_MPS2])).max() < 1e-9


def test_the_ground_only_pushes(session: Motion) -> None:
    for motion in motions(session):
        force = motion.centre_of_mass(times(motion)).second[:, 2] + STANDARD_GRAVITY_MPS2
        assert force.min() > -0.5  # m/s²; a twentieth of body weight from rounding off humps


def test_legs_keep_their_length(session: Motion) -> None:
    for motion in motions(session):
        for side in Side:
            stretch = motion.leg_stretch_m(side, times(motion))
            assert stretch.min() > -0.001
            assert stretch.max() < STRETCH_BOUND_M


@pytest.mark.parametrize("placement", list(Placement))
def test_acceleration_is_continuous(session: Motion, placement: Placement) -> None:
    """Halving the step halves the largest jump between samples: no steps in the signal."""
    for motion in motions(session):
        largest = []
        for step in (2e-4, 1e-4, 5e-5):
            t = np.arange(1.8, 3.6, step)
            force = motion.sensor(placement, t).specific_force_mps2()
            largest.append(np.abs(np.diff(force, axis=0)).max())
        assert largest[1] < 0.62 * largest[0]
        assert largest[2] < 0.62 * largest[1]


def test_foot_strike_is_felt_within_25_ms_and_not_before() -> None:
    motion = one_foot()
    for side in Side:
        strikes = motion.feet[side].strike_s[1:4]
        for strike in strikes:
            before = np.arange(strike - 0.004, strike, 2e-4)
            after = np.arange(strike, strike + 0.025, 2e-4)
            upward = [motion.sensor(side.shank, t).position.second[:, 2] for t in (before, after)]
            assert upward[1].max() > upward[0].max() + 15.0


def test_standing_is_still_and_level() -> None:
    motion = one_foot()
    t = np.array([0.2, motion.duration_s - 0.05])
    for placement in Placement:
        place = motion.sensor(placement, t)
        np.testing.assert_allclose(
            np.linalg.norm(place.specific_force_mps2(), axis=1), STANDARD_GRAVITY_MPS2, rtol=1e-9
        )
        assert np.abs(place.angular_rate_radps()).max() < 1e-9
    heights = motion.sensor(Placement.PELVIS, t).position.value[:, 2]
    assert abs(heights[1] - heights[0]) < 1e-9


def test_a_session_keeps_place_and_heading() -> None:
    """A square walked with left turns ends where it began, turned once around."""
    side = [Walk(4.0), TurnAround(math.pi / 2.0)]
    motion = compose(side * 4, np.random.default_rng(0))
    ends = np.array([0.0, motion.duration_s])
    pelvis = motion.pelvis(ends).position.value
    np.testing.assert_allclose(pelvis[1], pelvis[0], atol=1e-9)
    yaw = motion.pelvis_angles(ends).value[:, 0]
    assert yaw[1] - yaw[0] == pytest.approx(2.0 * math.pi)


@settings(max_examples=8, deadline=None, derandomize=True)
@given(
    two=st.booleans(),
    side=st.sampled_from(list(Side)),
    steps=st.integers(4, 9),
    speed=st.floats(2.8, 4.6),
    ratio=st.floats(0.9, 1.1),
    lowering=st.floats(0.12, 0.22),
    upward=st.floats(2.2, 3.0),
    turn=st.floats(-1.0, 1.0),
    landing=st.sampled_from(["left", "right", "both"]),
    stature=st.floats(1.5, 2.05),
    pitch=st.floats(-0.3, 0.3),
)
def test_any_technique_within_reach_gives_a_sound_motion(
    two: bool,
    side: Side,
    steps: int,
    speed: float,
    ratio: float,
    lowering: float,
    upward: float,
    turn: float,
    landing: str,
    stature: float,
    pitch: float,
) -> None:
    jump = ApproachJump(
        style=TakeOffStyle.TWO_FOOT if two else TakeOffStyle.ONE_FOOT,
        side=side,
        steps=steps,
        approach_speed_mps=speed,
        last_step_ratio=ratio + (0.12 if two else 0.0),
        lowering_m=lowering,
        take_off_vertical_mps=upward,
        turn_rad=turn,
        landing=landing,
        strike_pitch_rad=pitch,
        irregularity_ratio=0.04,
        stand_before_s=0.4,
        stand_after_s=0.4,
    )
    try:
        motion = motion_of(jump, stature)
    except ValueError as error:
        refusal = str(error)
        event(refusal.split(" is ")[0] + " refused")
        reject()
    t = times(motion)
    centre = motion.centre_of_mass(t).second[:, 2] + STANDARD_GRAVITY_MPS2
    assert centre.min() > -0.6
    for leg in Side:
        assert motion.leg_stretch_m(leg, t).max() < STRETCH_BOUND_M
    for placement in Placement:
        place = motion.sensor(placement, t)
        # No more than people show at the shank: about 70 g at a foot (Bailey & Harle 2014),
        # 2000 deg/s in sprinting (common practice, no source).
        assert np.linalg.norm(place.specific_force_mps2(), axis=1).max() < 700.0
        assert np.abs(place.angular_rate_radps()).max() < 35.0


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"steps": 2}, "steps"),
        ({"approach_speed_mps": 9.0}, "approach_speed_mps"),
        ({"landing": "hands"}, "landing"),
    ],
)
def test_a_parameter_out_of_range_is_named(change: dict[str, object], word: str) -> None:
    make: Callable[..., ApproachJump] = ApproachJump
    with pytest.raises(ValueError, match=word):
        make(**change)


def test_a_technique_out_of_reach_says_what_to_change() -> None:
    jump = ApproachJump(lowering_m=0.05, take_off_vertical_mps=3.6, take_off_contact_s=0.24)
    with pytest.raises(ReachError, match="shorten the contact"):
        motion_of(jump)
