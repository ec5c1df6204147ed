"""Truth against the motion by other routes: numerical differences, sums and free fall."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import METRIC_NAMES, EventKind, Placement, Side, TakeOffStyle
from imujump.simulate.motion import Motion
from imujump.simulate.truth import JumpTruth, events, jump_truths
from imujump.simulate.truth_record import motion_record

from .jumps import ONE_FOOT, TWO_FOOT, motion_of, one_foot, two_foot

BOTH = pytest.mark.parametrize("make", [one_foot, two_foot])
Make = Callable[[], Motion]


def truth_of(motion: Motion) -> JumpTruth:
    (truth,) = jump_truths(motion)
    return truth


def value(truth: JumpTruth, name: str) -> float:
    found = truth.metrics[name]
    assert found is not None
    return found


@BOTH
def test_every_metric_of_the_contract_is_known_or_does_not_apply(make: Make) -> None:
    truth = truth_of(make())
    assert tuple(truth.metrics) == METRIC_NAMES
    missing = {name for name, v in truth.metrics.items() if v is None}
    if truth.mark.style is TakeOffStyle.ONE_FOOT:
        # It lands on the right foot alone.
        assert missing == {"plant_interval_s", "landing_interval_s", "landing_peak_left_mps2"}
    else:
        assert missing == {"free_leg_peak_radps", "free_leg_lead_s"}


@BOTH
def test_speeds_match_central_differences_of_the_pelvis_path(make: Make) -> None:
    motion = make()
    truth, h = truth_of(motion), 1e-5
    mark = truth.mark

    def speed(t: np.ndarray) -> np.ndarray:
        ahead, behind = (motion.pelvis(t + d).position.value[:, :2] for d in (h, -h))
        return np.linalg.norm(ahead - behind, axis=1) / (2.0 * h)

    at = speed(np.array([mark.toe_off_s]))[0]
    assert value(truth, "take_off_speed_mps") == pytest.approx(at, abs=1e-4)
    at = speed(np.array([mark.plant_s]))[0]
    assert value(truth, "plant_speed_mps") == pytest.approx(at, abs=1e-3)
    step = truth.steps[-1]
    mean = speed(np.linspace(step.start_s, step.strike_s, 2001)).mean()
    assert value(truth, "approach_speed_mps") == pytest.approx(mean, abs=2e-3)
    assert value(truth, "peak_speed_mps") >= value(truth, "approach_speed_mps")


@BOTH
def test_step_lengths_sum_to_the_way_between_first_and_last_foot(make: Make) -> None:
    motion = make()
    truth = truth_of(motion)
    first, last = truth.steps[0], truth.steps[-1]
    feet = [
        motion.feet[side].ankle(np.array([t])).value[0, :2]
        for side, t in ((first.side.other, first.start_s), (last.side, last.strike_s))
    ]
    # Feet alternate sides of a straight way: along it the projections add up, but for the
    # sway of the pelvis, a few degrees on 10 to 20 cm of width.
    assert sum(s.length_m for s in truth.steps) == pytest.approx(
        np.linalg.norm(feet[1] - feet[0]), abs=0.02
    )
    assert [s.number for s in truth.steps] == list(range(-len(truth.steps), 0))
    assert len(truth.steps) == (ONE_FOOT if truth.mark.side is Side.LEFT else TWO_FOOT).steps - 1


@BOTH
def test_events_alternate_for_each_foot(make: Make) -> None:
    motion = make()
    found = events(motion)
    assert [e.time_s for e in found] == sorted(e.time_s for e in found)
    for side in Side:
        kinds = [e.kind for e in found if e.side is side]
        assert kinds[0] is EventKind.TOE_OFF
        assert kinds[-1] is EventKind.FOOT_STRIKE
        assert all(a is not b for a, b in pairwise(kinds))


@BOTH
def test_technique_asked_for_is_what_happens(make: Make) -> None:
    motion = make()
    truth = truth_of(motion)
    jump = ONE_FOOT if truth.mark.style is TakeOffStyle.ONE_FOOT else TWO_FOOT
    assert truth.mark.side is jump.side
    assert value(truth, "turn_rad") == pytest.approx(jump.turn_rad, abs=1e-6)
    assert value(truth, "pelvis_tilt_rad") == pytest.approx(jump.plant_tilt_rad, abs=1e-6)
    assert value(truth, "last_step_ratio") == pytest.approx(jump.last_step_ratio, abs=0.04)
    assert value(truth, "lowering_m") == pytest.approx(jump.lowering_m, abs=0.016)
    assert value(truth, "approach_speed_mps") == pytest.approx(jump.approach_speed_mps, rel=0.06)
    if jump.style is TakeOffStyle.TWO_FOOT:
        assert value(truth, "plant_interval_s") == pytest.approx(jump.plant_interval_s)


@BOTH
def test_flight_follows_free_fall(make: Make) -> None:
    """Height change of the centre of mass over the flight: v t - g t² / 2."""
    motion = make()
    mark = truth_of(motion).mark
    path = motion.centre_of_mass(np.array([mark.toe_off_s, mark.landing_s]))
    flight = mark.landing_s - mark.toe_off_s
    fallen = path.rate[0, 2] * flight - 0.5 * STANDARD_GRAVITY_MPS2 * flight**2
    assert path.value[1, 2] - path.value[0, 2] == pytest.approx(fallen, abs=1e-9)


def test_irregular_steps_differ_and_come_again_with_their_seed() -> None:
    def contacts(seed: int, spread: float = 0.04) -> list[float]:
        jump = replace(ONE_FOOT, irregularity_ratio=spread, seed=seed)
        return [s.contact_s for s in truth_of(motion_of(jump)).steps]

    assert contacts(1) == contacts(1)
    assert contacts(1) != contacts(2)
    assert contacts(1, 0.0) == contacts(2, 0.0)
    np.testing.assert_allclose(contacts(1), contacts(1, 0.0), rtol=0.09)


def test_free_fall_figures_of_a_handbook() -> None:
    """0.600 s of flight is 0.4413 m of height (free fall, g = 9.80665 m/s²)."""
    truth = truth_of(one_foot())
    flight = value(truth, "flight_s")
    assert value(truth, "height_flight_m") == pytest.approx(0.4413 * (flight / 0.6) ** 2, rel=2e-4)


def test_one_foot_landing_names_one_foot() -> None:
    assert truth_of(one_foot()).landing_sides == (Side.RIGHT,)
    assert set(truth_of(two_foot()).landing_sides) == set(Side)


@BOTH
def test_heights_are_those_of_the_path(make: Make) -> None:
    motion = make()
    truth = truth_of(motion)
    t = np.linspace(truth.mark.toe_off_s, truth.mark.landing_s, 20001)
    apex = motion.sensor(Placement.PELVIS, t).position.value[:, 2].max()
    assert truth.sensor.apex_m == pytest.approx(apex, abs=1e-5)
    assert value(truth, "pelvis_rise_m") == pytest.approx(apex - truth.sensor.standing_m, abs=1e-5)


def test_record_carries_the_field_names_of_the_open_truth_files() -> None:
    record = motion_record(one_foot())
    entry = record["attempts"][0]
    assert {"style", "side", "plant_touchdown_s", "toe_off_s", "landing_s", "flight_s"} <= set(
        entry["take_off"]
    )
    assert {"pelvis_origin", "sensor_point"} == set(entry["pelvis_height"])
    assert entry["steps"][-1]["end_s"] == pytest.approx(entry["take_off"]["plant_touchdown_s"])


@pytest.mark.requires_shared("virtual_recordings")
def test_record_has_what_an_open_truth_file_has(shared_data: object) -> None:
    """Field names against the open data set's own files (its set ``kinematic``)."""
    import json
    from pathlib import Path

    assert isinstance(shared_data, Path)
    files = sorted((shared_data / "virtual_recordings" / "kinematic").rglob("*_truth.json"))
    theirs = json.loads(files[0].read_text())
    record = motion_record(one_foot())
    ours = record["attempts"][0]
    for name in (
        "take_off",
        "speed_at_plant_touchdown_mps",
        "speed_at_toe_off_mps",
        "approach_speed_last_step_mean_mps",
        "step_lengths_m",
        "last_step_m",
        "last_step_ratio",
        "pelvis_height",
        "pelvis_yaw_change_plant_to_landing_rad",
        "pelvis_pitch_at_plant_rad",
        "plant_shank_angle_rad",
        "events",
        "steps",
    ):
        assert name in theirs
        assert name in ours
    assert set(ours["take_off"]) == set(theirs["take_off"])
    assert set(ours["events"][0]) <= set(theirs["events"][0])
