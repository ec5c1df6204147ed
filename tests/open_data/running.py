"""Running recordings: sensors, contacts by force, speeds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Placement, Side

from .array_source import ArraySource, evenly_sampled, unmeasured
from .marker_imu import cluster_imu
from .truth import Contact, RunTruth

FORCE_EDGE_SIGMA_S = 0.010
"""Contact edges smeared by the low-pass filters of both force sets (their READMEs)."""


def outdoor_run_hip_ankle(data: Path) -> tuple[ArraySource, RunTruth]:
    """Read 16.7 minutes outdoors: left hip as pelvis, left ankle as shank, 100 Hz.

    There is no gyroscope: the angular rate is NaN throughout. No contact is known; the
    speed while running is the README's estimate of 2.7 to 2.9 m/s, stops excluded.
    """
    with np.load(data / "outdoor_run_hip_ankle" / "run_100hz.npz") as table:
        rate_hz = float(table["fs"])
        sensors = tuple(
            evenly_sampled(
                placement,
                rate_hz,
                table[key].astype(np.float64) * STANDARD_GRAVITY_MPS2,
                unmeasured(len(table[key])),
            )
            for placement, key in (
                (Placement.PELVIS, "left_hip"),
                (Placement.LEFT_SHANK, "left_ankle"),
            )
        )
    return ArraySource("outdoor_run_hip_ankle", sensors), RunTruth((), 2.8)


def treadmill_run_sacrum_grf(data: Path, trial: int) -> tuple[ArraySource, RunTruth]:
    """Read 5 s on a force-measuring treadmill: sacrum as pelvis, 500 Hz.

    Two accelerometer axes only: trunk axis (rectified at the source: never below zero)
    and fore-aft. The sideways axis and the whole angular rate are NaN. Contacts do not
    tell left from right and leave out those cut off by the trial's ends.
    """
    folder = data / "treadmill_run_sacrum_grf"
    table = pd.read_csv(folder / f"trial_{trial:02d}.csv")
    accel_mps2 = np.column_stack([table["acc_v_g"], np.full(len(table), np.nan), table["acc_ap_g"]])
    sensor = evenly_sampled(
        Placement.PELVIS, 500.0, accel_mps2 * STANDARD_GRAVITY_MPS2, unmeasured(len(table))
    )
    condition = pd.read_csv(folder / "conditions.csv").set_index("trial").loc[trial]
    rows = pd.read_csv(folder / "contacts_from_grf.csv").query("trial == @trial")
    contacts = tuple(
        Contact(None, float(row.contact_on_s), float(row.contact_off_s), FORCE_EDGE_SIGMA_S)
        for row in rows.itertuples()
    )
    return ArraySource(f"treadmill_run_sacrum_grf {trial}", (sensor,)), RunTruth(
        contacts, float(condition["Speed"]), float(np.radians(condition["Slope"]))
    )


CLUSTERS = {
    Placement.PELVIS: ("RASI", "LASI", "RPSI", "LPSI"),
    Placement.LEFT_SHANK: ("LTB1", "LTB2", "LTB3"),
    Placement.RIGHT_SHANK: ("RTB1", "RTB2", "RTB3"),
}
MARKER_UP = np.array([0.0, 1.0, 0.0])


def overground_markers_m(data: Path, placement: Placement) -> np.ndarray:
    """Return a cluster's marker paths (n, k, 3), metres; x forward, y up, z right."""
    table = pd.read_csv(data / "overground_run_markers_grf" / "markers_150hz.csv")
    names = CLUSTERS[placement]
    return np.stack(
        [table[[f"{name}_{axis}_mm" for axis in "xyz"]].to_numpy() / 1000.0 for name in names],
        axis=1,
    )


def overground_run_markers_grf(data: Path) -> tuple[ArraySource, RunTruth]:
    """Read one pass of 0.82 s as ideal sensors on marker clusters, 150 Hz.

    The marker table's times are rounded to 1 ms; frames are taken as 1/150 s apart. The
    speed is the pelvis cluster's mean.
    """
    rate_hz = 150.0
    sensors = []
    for placement in CLUSTERS:
        imu = cluster_imu(overground_markers_m(data, placement), MARKER_UP, rate_hz)
        sensors.append(evenly_sampled(placement, rate_hz, imu.accel_mps2, imu.gyro_radps))
    centre_m = overground_markers_m(data, Placement.PELVIS).mean(axis=1)
    shift_m = (centre_m[-1] - centre_m[0])[[0, 2]]
    speed_mps = float(np.linalg.norm(shift_m)) * rate_hz / (len(centre_m) - 1)
    rows = pd.read_csv(data / "overground_run_markers_grf" / "contacts.csv")
    contacts = tuple(
        Contact(
            Side.LEFT if row.foot == "L" else Side.RIGHT,
            float(row.contact_on_s),
            float(row.contact_off_s),
            FORCE_EDGE_SIGMA_S,
        )
        for row in rows.itertuples()
    )
    return ArraySource("overground_run_markers_grf", tuple(sensors)), RunTruth(contacts, speed_mps)


def sacrum_contact_time_table(data: Path) -> pd.DataFrame:
    """Return contact times of runners by belt speed, SI.

    Columns ``runner``, ``mass_kg``, ``speed_mps``, ``contact_force_s`` (instrumented
    treadmill) and ``contact_sacrum_s`` (a simple sacrum method).
    """
    table = pd.read_csv(data / "sacrum_contact_time_table" / "contact_time_by_speed.csv")
    names = {
        "Sub": "runner",
        "Mass": "mass_kg",
        "Speed": "speed_mps",
        "GRFtc": "contact_force_s",
        "IMUtc": "contact_sacrum_s",
    }
    return table.rename(columns=names)[list(names.values())]
