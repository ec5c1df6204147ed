"""Are the walking recordings read in the units, axes and on the clock that they claim?

Each set is checked against something else in the set: the gyroscope against the sensor's
own orientation, foot events against angular rate and impacts, strides against the pelvis.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import EventKind, Placement, SampleBatch, Side

from . import walking
from .array_source import ArraySource
from .rest import LOW_BACK_RECORDINGS, every_sensor, feet_lowback_trials, stillest

TRIALS_FEET_LOWBACK = 74


@pytest.mark.requires_shared("walk_feet_lowback_events")
def test_feet_and_lowback_rest_within_their_stated_scale_error(shared_data: Path) -> None:
    for trial in feet_lowback_trials(shared_data):
        source, _ = walking.walk_feet_lowback_events(shared_data, trial)
        for name, sensor in every_sensor(source):
            force_mps2, rate_radps = stillest(sensor)
            # The README gives 9.77 to 10.6 m/s²; means of the stillest half second.
            assert 9.7 < force_mps2 < 10.65, name
            assert rate_radps < 0.1, name


@pytest.mark.requires_shared("walk_pelvis_shanks_vicon")
@pytest.mark.parametrize("segment", ["Pelvis", "L_LowLeg", "R_LowLeg", "L_LowLeg2", "R_LowLeg2"])
def test_signals_agree_with_the_sensors_own_orientation(shared_data: Path, segment: str) -> None:
    folder = shared_data / "walk_pelvis_shanks_vicon"
    table = pd.read_csv(folder / f"{segment}_imu_100hz.csv")
    columns = [f"ori_{i}" for i in (1, 2, 3, 4)]
    to_world = Rotation.from_quat(table[columns].to_numpy(), scalar_first=True)
    shank = "LowLeg2" if segment.endswith("2") else "LowLeg"
    source, _ = walking.walk_pelvis_shanks_vicon(shared_data, shank)
    placement = {
        "P": Placement.PELVIS,
        "L": Placement.LEFT_SHANK,
        "R": Placement.RIGHT_SHANK,
    }[segment[0]]
    sensor = source.sensor(placement)

    # Over a walk that ends at the height and speed it began, the mean is gravity, upwards.
    # 2 %: scale as delivered, and the change of velocity over 9.55 s.
    mean_mps2 = to_world.apply(sensor.accel_mps2).mean(axis=0)
    assert mean_mps2 == pytest.approx([0.0, 0.0, STANDARD_GRAVITY_MPS2], abs=0.2)

    turned_radps = (to_world[:-1].inv() * to_world[1:]).as_rotvec() * sensor.rate_hz
    measured_radps = (sensor.gyro_radps[:-1] + sensor.gyro_radps[1:]) / 2
    slope = float(np.sum(turned_radps * measured_radps) / np.sum(measured_radps**2))
    assert slope == pytest.approx(1.0, abs=0.01)


@pytest.mark.requires_shared("walk_pelvis_shanks_vicon")
def test_optical_steps_alternate_and_meet_the_impacts(shared_data: Path) -> None:
    source, truth = walking.walk_pelvis_shanks_vicon(shared_data)
    sure = [e for e in truth.events if e.sigma_s < 0.05]
    assert len(truth.events) == 26
    # Walking: the feet take turns, and one is always on the ground.
    kinds = [(e.kind, e.side) for e in truth.events]
    cycle = [
        (EventKind.TOE_OFF, Side.LEFT),
        (EventKind.FOOT_STRIKE, Side.LEFT),
        (EventKind.TOE_OFF, Side.RIGHT),
        (EventKind.FOOT_STRIKE, Side.RIGHT),
    ]
    assert kinds == (cycle * 7)[:26]

    # The shank accelerometer saw each impact: its peak within 150 ms of the optical strike.
    lags_s = []
    for event in sure:
        if event.kind is EventKind.FOOT_STRIKE:
            time_s = source.time_s(event.side.shank)
            near = np.flatnonzero(np.abs(time_s - event.time_s) < 0.15)
            norm = np.linalg.norm(source.sensor(event.side.shank).accel_mps2, axis=1)
            lags_s.append(time_s[near[np.argmax(norm[near])]] - event.time_s)
    assert len(lags_s) == 11
    # Median within one sigma of the truth; the worst is the last, slowing step.
    assert abs(float(np.median(lags_s))) <= 0.02
    assert max(np.abs(lags_s)) <= 0.09


@pytest.mark.requires_shared("walk_pelvis_shanks_vicon")
def test_strides_add_up_to_the_feet_paths(shared_data: Path) -> None:
    _, truth = walking.walk_pelvis_shanks_vicon(shared_data)
    straight = [s.length_m for s in truth.strides if s.length_m > 1.3]
    # Adults walk at 1.2 to 1.6 m a stride at comfortable speed (common knowledge, no source).
    assert len(straight) == 7
    assert max(straight) < 1.6
    optical = pd.read_csv(shared_data / "walk_pelvis_shanks_vicon" / "vicon_100hz.csv")
    pelvis = optical[["PELV_1", "PELV_2"]].to_numpy()
    for stride in truth.strides:
        lo, hi = round(stride.start_s * 100), round(stride.end_s * 100)
        # Foot and pelvis cover the same ground, but for where the pelvis stands over the foot.
        assert stride.length_m == pytest.approx(
            float(np.linalg.norm(pelvis[hi] - pelvis[lo])), abs=0.35
        )


@pytest.mark.requires_shared("walk_foot_mocap")
def test_foot_strides_span_what_the_set_states(shared_data: Path) -> None:
    source, truth = walking.walk_foot_mocap(shared_data)
    assert len(truth.strides) == 57
    left = [s.length_m for s in truth.strides if s.side is Side.LEFT and s.length_m > 1.2]
    # README: 1.26 to 1.45 m on the left, turns and ends aside.
    assert 1.25 < min(left) < max(left) < 1.46
    assert source.time_s(Placement.LEFT_SHANK)[-1] == pytest.approx(38.7, abs=0.05)
    _foot_swings_between(source, truth.events)


@pytest.mark.requires_shared("walk_feet_lowback_events")
def test_marked_swings_stand_out_on_the_packet_clock(shared_data: Path) -> None:
    trials = feet_lowback_trials(shared_data)
    assert len(trials) == TRIALS_FEET_LOWBACK
    lossy = 0
    for trial in trials:
        source, truth = walking.walk_feet_lowback_events(shared_data, trial)
        lossy += any(np.diff(s.ticks).max() > 1 for s in source.sensors)
        _foot_swings_between(source, truth.events)
    assert lossy > TRIALS_FEET_LOWBACK / 2


def _foot_swings_between(source: ArraySource, events: tuple) -> None:
    """Check that a foot turns much faster between its toe-off and strike than otherwise."""
    for side in Side:
        own = [e for e in events if e.side is side]
        time_s = source.time_s(side.shank)
        rate_radps = np.linalg.norm(source.sensor(side.shank).gyro_radps, axis=1)
        swing = np.zeros(len(time_s), dtype=bool)
        for off, on in pairwise(own):
            if off.kind is EventKind.TOE_OFF and on.kind is EventKind.FOOT_STRIKE:
                swing |= (time_s >= off.time_s) & (time_s <= on.time_s)
        walk = (time_s > own[0].time_s) & (time_s < own[-1].time_s)
        in_swing = np.median(rate_radps[swing])
        in_stance = np.median(rate_radps[walk & ~swing])
        assert in_swing > 2.5 * in_stance, (source.name, side)


@pytest.mark.requires_shared("walk_lowback_reference")
@pytest.mark.parametrize("reference", ["Stereophoto", "INDIP"])
def test_reference_bouts_lie_in_the_recording(shared_data: Path, reference: str) -> None:
    for name in LOW_BACK_RECORDINGS:
        source, truth = walking.walk_lowback_reference(shared_data, name, reference)
        end_s = source.time_s(Placement.PELVIS)[-1]
        assert len(truth.events) >= 16, name
        assert all(0 < e.time_s < end_s for e in truth.events), name
        # Seconds against samples: a stride lasts 0.6 to 3 s only in the right unit.
        assert all(0.6 < s.end_s - s.start_s < 3.0 for s in truth.strides), name
        assert all(0.1 < s.length_m < 1.8 for s in truth.strides), name
        assert len(truth.strides) >= 5, name


@pytest.mark.requires_shared("walk_feet_lowback_events", "walk_pelvis_shanks_vicon")
def test_batches_hold_every_sample_once_in_order(shared_data: Path) -> None:
    for source in (
        walking.walk_feet_lowback_events(shared_data, "11-1")[0],
        walking.walk_pelvis_shanks_vicon(shared_data, "LowLeg2")[0],
    ):
        batches: list[SampleBatch] = list(source.batches())
        arrivals = [b.arrival_s for b in batches]
        assert arrivals == sorted(arrivals)
        for sensor in source.sensors:
            own = [b for b in batches if b.placement is sensor.placement]
            assert np.array_equal(np.concatenate([b.ticks for b in own]), sensor.ticks)
            assert np.array_equal(np.concatenate([b.accel_mps2 for b in own]), sensor.accel_mps2)


@pytest.mark.requires_shared("walk_foot_mocap")
def test_dead_reckoning_from_the_axes_as_read_meets_the_optical_strides(
    shared_data: Path,
) -> None:
    # Plain strapdown integration from one still mid-stance to the next. Mirrored axes, a
    # wrong sign or unit of the rate leave metres a second at the end of the stride.
    source, truth = walking.walk_foot_mocap(shared_data)
    error_m, left_over_mps = [], []
    for stride in truth.strides:
        sensor = source.sensor(stride.side.shank)
        span = slice(
            *np.rint(np.array([stride.start_s, stride.end_s]) * sensor.rate_hz).astype(int)
        )
        length_m, rest_mps = _dead_reckoned(
            sensor.accel_mps2[span], sensor.gyro_radps[span], sensor.rate_hz
        )
        error_m.append(length_m - stride.length_m)
        left_over_mps.append(rest_mps)
    # Own measurement: mean -1.3 cm, SD 6.9 cm, 0.42 m/s left; with the rate negated 0.5 m
    # short and 6.9 m/s left.
    assert abs(float(np.mean(error_m))) < 0.05
    assert float(np.std(error_m)) < 0.12
    assert float(np.median(left_over_mps)) < 1.0


def _dead_reckoned(
    accel_mps2: np.ndarray, gyro_radps: np.ndarray, rate_hz: float
) -> tuple[float, float]:
    """Horizontal path of a stride from rest to rest, and the speed left before mending."""
    rest = accel_mps2[:8].mean(axis=0)
    gravity_mps2 = float(np.linalg.norm(rest))
    attitude = Rotation.align_vectors([[0.0, 0.0, 1.0]], [rest / gravity_mps2])[0]
    world_mps2 = []
    for force, rate in zip(accel_mps2, gyro_radps, strict=True):
        attitude = attitude * Rotation.from_rotvec(rate / rate_hz)
        world_mps2.append(attitude.apply(force) - [0.0, 0.0, gravity_mps2])
    velocity_mps = np.cumsum(world_mps2, axis=0) / rate_hz
    left_over = velocity_mps[-1]
    mended = velocity_mps - np.linspace(0.0, 1.0, len(velocity_mps))[:, None] * left_over
    path_m = mended.sum(axis=0) / rate_hz
    return float(np.linalg.norm(path_m[:2])), float(np.linalg.norm(left_over))
