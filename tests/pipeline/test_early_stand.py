"""What passes for a stand while the athlete still runs, and how it is averaged."""

from __future__ import annotations

import math

import pytest

from imujump.pipeline.early_path import ShankPath
from imujump.pipeline.early_stand import SURE_LOOKS, StandJudge

G = 9.80665
BIAS_RADPS = (0.01, -0.02, 0.005)


def look(size_mps2=G, rate_radps=BIAS_RADPS, tilt_rad=0.0, spread_mps2=0.1):
    force = (size_mps2 * math.sin(tilt_rad), 0.0, size_mps2 * math.cos(tilt_rad))
    square = sum(each * each for each in rate_radps)
    return (*force, *rate_radps, size_mps2**2 + spread_mps2**2, square)


def stood(looks: int = 12) -> StandJudge:
    judge = StandJudge()
    assert all(judge.stands(look()) for _ in range(looks))
    return judge


@pytest.mark.parametrize(
    "glide",
    [
        look(size_mps2=1.2 * G),
        look(rate_radps=(0.15, 0.0, 0.0)),
        look(spread_mps2=0.6),
    ],
)
def test_a_glide_as_quiet_as_a_stand_is_none(glide):
    judge = stood()
    bias, up = judge.bias_radps, judge.up
    assert not any(judge.stands(glide) for _ in range(SURE_LOOKS - 1))
    assert (judge.bias_radps, judge.up) == (bias, up)
    assert judge.stands(look())


def test_a_first_look_far_from_gravity_is_no_stand():
    assert not StandJudge().stands(look(size_mps2=1.1 * G))
    # Offset and scale of a poor sensor are.
    assert StandJudge().stands(look(size_mps2=1.04 * G))


def test_whoever_reads_otherwise_for_a_second_stands_anew():
    judge = stood()
    moved = look(size_mps2=1.03 * G, rate_radps=(0.07, 0.0, 0.0), tilt_rad=1.0)
    found = [judge.stands(moved) for _ in range(SURE_LOOKS)]
    assert found == [False] * (SURE_LOOKS - 1) + [True]
    assert judge.size_mps2 == pytest.approx(1.03 * G)
    assert judge.bias_radps == pytest.approx((0.07, 0.0, 0.0))
    assert judge.up == pytest.approx((math.sin(1.0), 0.0, math.cos(1.0)))


def test_a_lean_at_the_end_of_a_stand_hardly_counts():
    judge = stood(20)
    assert judge.stands(look(tilt_rad=0.1, rate_radps=(0.04, -0.02, 0.005)))
    # One look of ten: a tenth of the lean and of the turn.
    assert math.atan2(judge.up[0], judge.up[2]) == pytest.approx(0.01, abs=0.001)
    assert judge.bias_radps[0] == pytest.approx(0.013, abs=0.001)


def test_who_never_stood_is_levelled_by_where_gravity_points_on_average():
    """A shank that swings by 40° about one axis, seen by a sensor that is never still."""
    path, rate_hz, found = ShankPath(200.0), 200.0, []
    for k in range(600):
        time_s = k / rate_hz
        # At the end of the first second the shank leans as far as it goes.
        angle = 0.7 * math.sin(2.5 * math.pi * time_s)
        turning = 0.7 * 2.5 * math.pi * math.cos(2.5 * math.pi * time_s)
        force = (-G * math.sin(angle), 0.0, G * math.cos(angle))
        found += path.take(time_s, (*force, 0.0, turning, 0.0)) or []
    assert len(found) > 300
    up = [instant.up for instant in found]
    leans = [math.degrees(math.atan2(each[0], each[2])) for each in up]
    # The mean of one and a quarter swings is off by 5° as the shank's own direction.
    assert max(leans) == pytest.approx(math.degrees(0.7), abs=6.0)
    assert min(leans) == pytest.approx(-math.degrees(0.7), abs=6.0)
