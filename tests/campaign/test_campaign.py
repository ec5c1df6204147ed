"""The campaign's generators do what they say, and a slice of idle time holds no attempt."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import EventKind, FloatArray, Placement, Side
from imujump.pipeline.engine import analyse
from imujump.simulate.body import Body
from imujump.simulate.gait import IMPACT_S
from imujump.simulate.movements import Stand
from imujump.simulate.session import compose
from imujump.simulate.truth import jump_truth
from tests.pipeline.recordings import Packets
from tests.truth.motion import IdealSignals

from .conditions import Condition, conditions
from .handling import LONGEST_DROP_S, LONGEST_THROW_S, handled, in_bag, in_hand, transported
from .idle import KINDS, IdleSession
from .scores import Score, bias_rmse
from .skipping import Skip
from .subjects import (
    FIGURE_GRID_HZ,
    SOFT_IMPACT_S,
    Movement,
    Subject,
    figure,
    figure_motion,
)
from .wearing import Loss, Phase, Role, Wearing, moved_up, record

G = STANDARD_GRAVITY_MPS2
GRID_HZ = 800.0


@pytest.fixture(scope="module")
def subject() -> Subject:
    return figure("one 4.4")


def samples(recording: Packets, placement: Placement) -> tuple[FloatArray, FloatArray]:
    own = [b for b in recording.batches() if b.placement is placement]
    ticks = np.concatenate([b.ticks for b in own])
    values = np.vstack([np.hstack([b.accel_mps2, b.gyro_radps]) for b in own])
    return ticks * 1e-6, values


@pytest.mark.parametrize("phase", list(Phase))
@pytest.mark.parametrize("length_s", [0.020, 0.300])
def test_a_gap_lies_where_it_should(subject: Subject, phase: Phase, length_s: float) -> None:
    loss = Loss((Role.PLANT,), phase, length_s)
    recording = record(subject, Wearing(losses=(loss,)), 1)
    time_s, _ = samples(recording, Placement.RIGHT_SHANK)
    gaps = np.flatnonzero(np.diff(time_s) > 0.0075)
    assert len(gaps) == 1
    before, after = time_s[gaps[0]], time_s[gaps[0] + 1]
    # Lost samples are whole ones: the hole is wider by less than two sample periods.
    assert length_s <= after - before < length_s + 0.010
    bounds = {
        Phase.STEP: subject.penultimate_s,
        Phase.PLANT: (subject.plant_s, subject.toe_off_s),
        Phase.FLIGHT: (subject.toe_off_s, subject.landing_s),
    }[phase]
    assert 0.5 * (before + after) == pytest.approx(np.mean(bounds), abs=0.005)
    for other in (Placement.LEFT_SHANK, Placement.PELVIS):
        assert np.diff(samples(recording, other)[0]).max() < 0.0051


def test_phases_are_those_of_the_jump(subject: Subject) -> None:
    strikes = [(e.time_s, e.side) for e in subject.events if e.kind is EventKind.FOOT_STRIKE]
    before = [s for s in strikes if s[0] <= subject.plant_s + 1e-9]
    assert before[-1] == (subject.plant_s, subject.side)
    assert subject.penultimate_s == (before[-3][0], before[-2][0])


def test_a_turned_sensor_measures_the_turned_signal(subject: Subject) -> None:
    turn = Rotation.from_euler("zx", [45.0, 20.0], degrees=True)
    straight = record(subject, Wearing(turned={Role.PLANT: Rotation.identity()}), 1)
    turned = record(subject, Wearing(turned={Role.PLANT: turn}), 1)
    _, one = samples(straight, Placement.RIGHT_SHANK)
    _, other = samples(turned, Placement.RIGHT_SHANK)
    # Offset, scale and noise stay those of the sensor's axes: 5 mg each way and 1 % at the most.
    for part, offset in ((slice(0, 3), 0.15), (slice(3, 6), 0.04)):
        back = turn.apply(other[:, part])
        size = np.linalg.norm(one[:, part], axis=1)
        assert np.all(np.linalg.norm(back - one[:, part], axis=1) < offset + 0.012 * size)
    assert np.abs(other[:, :3] - one[:, :3]).max() > 10.0


def test_mountings_go_as_far_as_they_say() -> None:
    nominal = {c.name: c.wearing.turned for c in conditions() if c.group == "mounting"}
    long_axis = np.array([0.0, 0.0, 1.0])
    for rotation in nominal["shanks 45° and 20°"].values():
        tilt = math.degrees(math.acos(rotation.apply(long_axis)[2]))
        assert tilt == pytest.approx(20.0)
    for rotation in nominal["shanks 45° about the shank"].values():
        assert math.degrees(rotation.magnitude()) == pytest.approx(45.0)
        assert rotation.apply(long_axis) == pytest.approx(long_axis)


def test_a_sensor_further_up_feels_what_its_place_feels(subject: Subject) -> None:
    """Against the figure itself with the sensor placed elsewhere: exact derivatives."""

    class Higher(Body):
        def sensor_offset_m(self, placement: Placement) -> tuple[float, float, float]:
            x, y, z = super().sensor_offset_m(placement)
            return (x, y, z + 0.05)

    motion = figure_motion(subject.name, body=Higher())
    ideal = subject.signals[Placement.LEFT_SHANK]
    time_s = np.arange(len(ideal.accel_mps2)) / FIGURE_GRID_HZ
    exact = motion.sensor(Placement.LEFT_SHANK, time_s).specific_force_mps2()
    moved = moved_up(ideal, 0.05, FIGURE_GRID_HZ).accel_mps2
    assert np.abs(exact - ideal.accel_mps2).max() > 5.0
    # 5 cm times the error of a central difference of the rate, largest at a strike, where the
    # rate's slope has a corner.
    assert np.abs(moved - exact).max() < 0.5


def test_a_late_link_shifts_ticks_and_arrivals(subject: Subject) -> None:
    plain = record(subject, Wearing(), 1)
    late = record(subject, Wearing(late_s={Role.PELVIS: -0.020}), 1)
    for placement, shift_s in ((Placement.PELVIS, -0.020), (Placement.LEFT_SHANK, 0.0)):
        one, other = (samples(r, placement) for r in (plain, late))
        assert other[0] - one[0] == pytest.approx(shift_s, abs=2e-6)
        np.testing.assert_array_equal(one[1], other[1])


def test_swapped_missing_and_drifting_sensors(subject: Subject) -> None:
    plain = record(subject, Wearing(), 1)
    swapped = record(subject, Wearing(swapped=True), 1)
    np.testing.assert_array_equal(
        samples(plain, Placement.LEFT_SHANK)[1], samples(swapped, Placement.RIGHT_SHANK)[1]
    )
    missing = record(subject, Wearing(without=Role.OTHER), 1)
    assert {s.placement for s in missing.info.sensors} == {
        Placement.RIGHT_SHANK,
        Placement.PELVIS,
    }
    drifting = record(subject, Wearing(gyro_drift_dps_per_min=60.0), 1)
    time_s, values = samples(drifting, Placement.PELVIS)
    change = values[:, 3:] - samples(plain, Placement.PELVIS)[1][:, 3:]
    assert change == pytest.approx(np.radians(time_s)[:, None] * np.ones(3), abs=1e-9)


def test_own_clocks_start_and_run_apart(subject: Subject) -> None:
    recording = record(subject, Wearing(own_clocks=True), 1)
    starts = [samples(recording, p)[0][0] for p in Placement]
    assert np.ptp(starts) > 1.0
    for sensor in Placement:
        own = [b for b in recording.batches() if b.placement is sensor]
        assert all(a.arrival_s <= b.arrival_s for a, b in pairwise(own))


@pytest.mark.parametrize("ring_hz", [8.0, 25.0])
def test_a_loose_strap_rings_at_its_own_frequency(subject: Subject, ring_hz: float) -> None:
    """A step in the load sets it swinging; its spectrum peaks at the damped resonance."""
    step = np.zeros((8000, 3))
    step[:, 2] = G
    step[4000:, 2] += 30.0
    still = IdealSignals(step, np.zeros_like(step))
    bumped = replace(subject, grid_hz=1600.0, signals=dict.fromkeys(Placement, still))
    turned = {Role.PLANT: Rotation.identity()}
    worn = Wearing(ring_hz={Role.PLANT: ring_hz}, ring_damping_ratio=0.15, turned=turned)
    _, values = samples(record(bumped, worn, 1), Placement.RIGHT_SHANK)
    after = values[505:605, 2] - values[700:, 2].mean()
    spectrum = np.abs(np.fft.rfft(after, 4096))
    peak_hz = np.fft.rfftfreq(4096, 1.0 / 200.0)[spectrum.argmax()]
    # Damped by 0.15 the frequency falls by 1 %, and a short decaying ring is a wide peak.
    assert peak_hz == pytest.approx(ring_hz, rel=0.12)


@pytest.mark.parametrize("name", ["one 5.6", "two 3.6"])
def test_soft_floor_and_forefoot_change_the_strikes_only(name: str) -> None:
    usual = figure_motion(name)
    (mark,) = usual.jumps
    for movement in (Movement.SOFT_FLOOR, Movement.FOREFOOT):
        motion = figure_motion(name, movement)
        assert motion.jumps == usual.jumps
        t = np.arange(mark.start_s, mark.end_s, 0.002)
        for side, foot in motion.feet.items():
            struck = [s for s in foot.stances if s.strike_s is not None]
            if movement is Movement.SOFT_FLOOR:
                assert all(s.impact_s == SOFT_IMPACT_S > IMPACT_S for s in struck)
            else:
                assert all(s.strike_pitch_rad > 0.0 for s in struck)
            # The figure's own legs give by up to 6 cm where they are out of reach.
            assert motion.leg_stretch_m(side, t).max() < 0.065
        truth, other = jump_truth(usual, mark), jump_truth(motion, mark)
        assert [e.time_s for e in truth.events] == [e.time_s for e in other.events]


def test_skips_are_hops_on_one_foot_after_the_other() -> None:
    motion = compose([Stand(1.0), Skip(4, 1.9, 0.20), Stand(1.0)], np.random.default_rng(1))
    t = np.arange(0.0, motion.duration_s, 0.005)
    for side in Side:
        assert motion.leg_stretch_m(side, t).max() < 0.06
    strikes = sorted(
        (s.strike_s, str(side))
        for side, foot in motion.feet.items()
        for s in foot.stances
        if s.strike_s is not None
    )
    sides = [side for _, side in strikes[1:9]]
    assert all(a == b for a, b in zip(sides[::2], sides[1::2], strict=True))
    assert all(a != b for a, b in zip(sides[1::2], sides[2::2], strict=False))
    down = np.any([foot.in_contact(t) for foot in motion.feet.values()], axis=0)
    runs = np.diff(np.flatnonzero(np.diff(np.concatenate([[1], down.astype(int), [1]]))))[::2]
    assert 0.19 < 0.005 * runs.max() < 0.25


def weightless_s(force: FloatArray) -> float:
    """Longest time with less than 2 m/s² of specific force."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (force < 2.0).astype(int), [0]])))
    return float(np.diff(edges)[::2].max(initial=0)) / GRID_HZ


@pytest.mark.parametrize("seed", range(3))
def test_sensors_fall_when_and_as_long_as_they_say(seed: int) -> None:
    for make, longest_s in (
        (in_hand, LONGEST_DROP_S),
        (in_bag, max(LONGEST_DROP_S, LONGEST_THROW_S)),
    ):
        course = make(np.random.default_rng(seed), 60.0)
        assert course.time_s == pytest.approx(60.0)
        time_s = np.arange(0.0, 60.0, 1.0 / GRID_HZ)
        motion = course.motion(time_s)
        force = np.linalg.norm(motion.specific_force_mps2(), axis=1)
        lengths = [end - start for start, end in course.falls_s]
        assert all(0.0 < length <= longest_s for length in lengths)
        # A knock passes through zero for a few samples, hands do not reach free fall.
        assert weightless_s(force) <= longest_s + 0.01
        for start_s, end_s in course.falls_s:
            inner = (time_s > start_s + 0.005) & (time_s < end_s - 0.005)
            # Turning starts from rest with the fall: the path itself stays where it was.
            assert force[inner].max() < 0.5


@pytest.mark.parametrize("seed", range(1))
def test_falls_throws_and_knocks_leave_no_speed_behind(seed: int) -> None:
    """A path that rests at its end: its acceleration sums to nothing over the whole."""
    for make in (in_hand, in_bag):
        course = make(np.random.default_rng(seed), 60.0)
        fine_hz = 5000.0
        time_s = np.arange(0.0, 60.0, 1.0 / fine_hz)
        gained_mps = course.motion(time_s).position.second.sum(axis=0) / fine_hz
        # Edges of falls lie between samples: up to g / 5 kHz each.
        assert np.abs(gained_mps).max() < 0.05


@pytest.mark.parametrize("make", [handled, transported])
def test_handling_begins_and_ends_as_worn_in_standing(make) -> None:  # type: ignore[no-untyped-def]
    found = make(np.random.default_rng(2), 60.0, GRID_HZ)
    assert set(found) == set(Placement)
    for ideal in found.values():
        for rows in (slice(0, 400), slice(-400, None)):
            assert ideal.accel_mps2[rows] == pytest.approx(
                np.tile([0.0, 0.0, G], (400, 1)), abs=1e-6
            )
            assert np.abs(ideal.gyro_radps[rows]).max() < 1e-6
        assert np.abs(ideal.gyro_radps).max() > 2.0


def test_in_a_bag_all_sensors_are_weightless_together() -> None:
    found = transported(np.random.default_rng(3), 60.0, GRID_HZ)
    light = [np.linalg.norm(s.accel_mps2, axis=1) < 1.0 for s in found.values()]
    np.testing.assert_array_equal(light[0], light[1])
    np.testing.assert_array_equal(light[0], light[2])
    assert light[0].sum() > 0.2 * GRID_HZ


def test_an_idle_session_repeats_and_joins() -> None:
    def read() -> tuple[FloatArray, IdleSession]:
        session = IdleSession(5, 30.0, ("walking", "handling"), 15.0)
        own = [b for b in session.batches() if b.placement is Placement.PELVIS]
        ticks = np.concatenate([b.ticks for b in own])
        np.testing.assert_array_equal(ticks, np.arange(len(ticks)))
        return np.vstack([np.hstack([b.accel_mps2, b.gyro_radps]) for b in own]), session

    (values, session), (again, _) = read(), read()
    np.testing.assert_array_equal(values, again)
    assert {kind for _, kind in session.segments} == {"walking", "handling"}
    for start_s, _ in session.segments[1:]:
        row = round(200 * start_s)
        near = values[row - 40 : row + 40]
        # Both sides of the seam are one standing person and one sensor.
        assert np.ptp(near, axis=0).max() < 0.5


def test_scores_count_hits_misses_and_inventions(subject: Subject) -> None:
    analysis = analyse(record(subject, Wearing(), 1))
    right = Score(Condition("g", "n"))
    right.add(subject, analysis)
    assert (right.jumps, right.found, right.invented) == (1, 1, 0)
    assert right.true > 25
    assert right.given_share > 0.9
    late = replace(subject, toe_off_s=subject.toe_off_s + 1.0)
    wrong = Score(Condition("g", "n", warning="swapped"))
    wrong.add(late, analysis)
    assert (wrong.found, wrong.invented, wrong.warned) == (0, 1, 0)
    (line,) = wrong.failures
    assert "not found" in line
    assert "false attempt" in line
    assert "no warning" in line
    assert bias_rmse([1.0, -1.0, 3.0]) == pytest.approx((1.0, math.sqrt(11.0 / 3.0)))


@pytest.mark.parametrize("kind", KINDS)
def test_two_minutes_without_a_jump_hold_no_attempt(kind: str) -> None:
    session = IdleSession(77, 120.0, (kind,), 120.0)
    assert analyse(session).attempts == ()
