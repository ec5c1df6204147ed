"""Are the running recordings what they claim, by force and by step rate?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement, Side

from . import running
from .marker_imu import cluster_imu
from .rest import every_sensor, stillest


@pytest.mark.requires_shared("outdoor_run_hip_ankle")
def test_outdoor_run_steps_at_its_stated_rate(shared_data: Path) -> None:
    source, _ = running.outdoor_run_hip_ankle(shared_data)
    for name, sensor in every_sensor(source):
        assert np.isnan(sensor.gyro_radps).all(), name
        # Standing in a stop: 9.8 m/s² within 4 %, an uncalibrated field sensor.
        assert stillest(sensor)[0] == pytest.approx(STANDARD_GRAVITY_MPS2, rel=0.04), name
        assert sensor.rate_hz * len(sensor.ticks) == pytest.approx(100 * 100_000)
    norm = np.linalg.norm(source.sensor(Placement.PELVIS).accel_mps2, axis=1)
    power = np.abs(np.fft.rfft(norm - norm.mean())) ** 2
    frequency_hz = np.fft.rfftfreq(len(norm), 0.01)
    band = (frequency_hz > 2.0) & (frequency_hz < 3.2)
    # README: 2.54 to 2.64 steps a second.
    assert 2.5 < frequency_hz[band][np.argmax(power[band])] < 2.7


@pytest.mark.requires_shared("treadmill_run_sacrum_grf")
def test_treadmill_trunk_axis_follows_the_force(shared_data: Path) -> None:
    folder = shared_data / "treadmill_run_sacrum_grf"
    for path in sorted(folder.glob("trial_*.csv")):
        trial = int(path.stem[-2:])
        source, truth = running.treadmill_run_sacrum_grf(shared_data, trial)
        sensor = source.sensor(Placement.PELVIS)
        assert np.isnan(sensor.gyro_radps).all()
        assert np.isnan(sensor.accel_mps2[:, 1]).all()
        force_bw = pd.read_csv(path)["vgrf_bw"].to_numpy()
        # Newton: the trunk rises and falls with the force, up positive.
        assert np.corrcoef(sensor.accel_mps2[:, 0], force_bw)[0, 1] > 0.75, trial
        assert 2.0 < truth.speed_mps < 4.5
        assert len(truth.contacts) >= 10
        for contact in truth.contacts:
            time_s = source.time_s(Placement.PELVIS)
            inside = (time_s > contact.on_s) & (time_s < contact.off_s)
            assert force_bw[inside].min() > 0.05, trial


@pytest.mark.requires_shared("overground_run_markers_grf")
def test_marker_sensors_obey_newton(shared_data: Path) -> None:
    source, truth = running.overground_run_markers_grf(shared_data)
    # README: about 2.75 m/s.
    assert truth.speed_mps == pytest.approx(2.75, abs=0.05)
    markers_m = running.overground_markers_m(shared_data, Placement.PELVIS)
    imu = cluster_imu(markers_m, running.MARKER_UP, 150.0)
    upward_mps2 = imu.rot_world_from_sensor.apply(imu.accel_mps2)[:, 1]
    time_s = source.time_s(Placement.PELVIS)
    force = pd.read_csv(shared_data / "overground_run_markers_grf" / "forces_300hz.csv")
    force_n = force["R_ground_force_vy"] + force["L_ground_force_vy"]
    both_n = np.interp(time_s, force["time"], force_n)
    assert np.corrcoef(upward_mps2, both_n)[0, 1] > 0.85
    right, left = truth.contacts
    assert (right.side, left.side) == (Side.RIGHT, Side.LEFT)
    # Between the contacts the body falls freely; the pelvis nearly so.
    air = (time_s > right.off_s + 0.02) & (time_s < left.on_s - 0.02)
    assert abs(upward_mps2[air].mean()) < 3.0
    # Skin moves over bone; a cluster stays within 3 mm of its mean shape.
    for placement in running.CLUSTERS:
        markers_m = running.overground_markers_m(shared_data, placement)
        imu = cluster_imu(markers_m, running.MARKER_UP, 150.0)
        assert imu.fit_rms_m < 0.003
        # The shank swings at 5 to 15 rad/s in running, the pelvis below 5.
        fastest = np.linalg.norm(imu.gyro_radps, axis=1).max()
        assert (fastest < 5.0) == (placement is Placement.PELVIS)


def test_virtual_sensor_on_a_turntable() -> None:
    # Uniform circular motion: rate w about the vertical, centripetal w²·r, gravity up.
    rate_hz, turn_radps, radius_m = 150.0, 3.0, 0.4
    angle = turn_radps * np.arange(300) / rate_hz
    corners = np.array([[0.0, 0.0, 0.0], [0.1, 0.0, 0.0], [0.0, 0.1, 0.05]])
    corners = corners - corners.mean(axis=0) + [radius_m, 0.0, 0.0]
    about_z = Rotation.from_rotvec(np.outer(angle, [0.0, 0.0, 1.0]))
    markers_m = np.stack([about_z.apply(c) for c in corners], axis=1)
    imu = cluster_imu(markers_m, np.array([0.0, 0.0, 1.0]), rate_hz)
    middle = slice(100, 200)
    assert imu.gyro_radps[middle] == pytest.approx(
        np.broadcast_to([0.0, 0.0, turn_radps], (100, 3)), abs=0.005
    )
    assert imu.accel_mps2[middle] == pytest.approx(
        np.broadcast_to([-(turn_radps**2) * radius_m, 0.0, STANDARD_GRAVITY_MPS2], (100, 3)),
        abs=0.02,
    )
    assert imu.fit_rms_m < 1e-4


@pytest.mark.requires_shared("sacrum_contact_time_table")
def test_simple_sacrum_method_errs_as_stated(shared_data: Path) -> None:
    table = running.sacrum_contact_time_table(shared_data)
    error_s = table["contact_sacrum_s"] - table["contact_force_s"]
    # README, whole source table of 87 rows: mean +0.016, SD 0.022, -0.016 to +0.069 s.
    assert len(table) == 61
    assert error_s.mean() == pytest.approx(0.016, abs=0.005)
    assert error_s.std() == pytest.approx(0.022, abs=0.003)
    assert error_s.between(-0.0165, 0.0695).all()
