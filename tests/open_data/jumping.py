"""Jump recordings: one sensor, or force alone."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from imujump.model import Placement

from .array_source import ArraySource, evenly_sampled
from .truth import ForceRecording, JumpTruth


def cmj_pelvis_imu(data: Path) -> tuple[ArraySource, JumpTruth]:
    """Read 98 s of one belt sensor with handling at both ends and one jump, 128 Hz.

    The instants are by eye, about 30 ms either way.
    """
    table = pd.read_csv(data / "cmj_pelvis_imu" / "pelvis_imu_128hz.csv")
    sensor = evenly_sampled(
        Placement.PELVIS,
        128.0,
        table[["ax_mps2", "ay_mps2", "az_mps2"]].to_numpy(),
        table[["gx_radps", "gy_radps", "gz_radps"]].to_numpy(),
    )
    return ArraySource("cmj_pelvis_imu", (sensor,)), JumpTruth(82.09, 82.63, 0.030)


def cmj_phone_forceplate(data: Path) -> tuple[ArraySource, JumpTruth]:
    """Read 4.7 s of a phone held to the chest, stand-in for the pelvis, 128 Hz.

    Truth is the force plate's, on the same time base.
    """
    folder = data / "cmj_phone_forceplate"
    table = pd.read_csv(folder / "phone_imu.csv")
    sensor = evenly_sampled(
        Placement.PELVIS,
        128.0,
        table[["ax", "ay", "az"]].to_numpy(),
        table[["gx", "gy", "gz"]].to_numpy(),
    )
    row = pd.read_csv(folder / "truth.csv").iloc[0]
    truth = JumpTruth(
        float(row["takeoff_s"]),
        float(row["landing_s"]),
        1 / 128.0,
        float(row["height_flight_m"]),
        float(row["height_impulse_m"]),
    )
    return ArraySource("cmj_phone_forceplate", (sensor,)), truth


def jump_force_plate(data: Path, name: str) -> ForceRecording:
    """Read one jump of ``jump1_450hz`` or ``jump3_600hz`` on a force plate: truth only."""
    folder = data / "jump_force_plate"
    table = pd.read_csv(folder / f"{name}.csv").rename(columns={"vgrf_n": "force_n"})
    rows = pd.read_csv(folder / "truth.csv").set_index("file")
    row = rows.loc[f"{name}.csv"]
    return ForceRecording(
        table,
        float(row["body_weight_n"]),
        float(row["takeoff_speed_mps"]),
        JumpTruth(
            float(row["takeoff_s"]),
            float(row["landing_s"]),
            # Contact threshold 20 N; two samples of the slower plate.
            0.005,
            float(row["height_flight_m"]),
            float(row["height_impulse_m"]),
        ),
        # The 600 Hz file has 0.18 s of quiet standing and 6.5 N left in flight.
        impulse_trusted=name == "jump1_450hz",
    )
