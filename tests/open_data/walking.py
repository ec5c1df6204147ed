"""Walking recordings: sensors and foot events.

Sensors on the feet stand in for shank sensors in two sets; that is said in each loader.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from imujump.model import EventKind, GaitEvent, Placement, Side

from .array_source import ArraySource, SensorArrays, evenly_sampled
from .optical_steps import foot_truth
from .truth import GaitTruth, Stride

SIDES = ((Side.LEFT, "L"), (Side.RIGHT, "R"))


def walk_pelvis_shanks_vicon(data: Path, shank: str = "LowLeg") -> tuple[ArraySource, GaitTruth]:
    """Read a walk with a turn: pelvis and shanks against optical markers, 100 Hz.

    ``shank`` is ``"LowLeg"`` (just above the ankle) or ``"LowLeg2"`` (mid shank).
    """
    folder = data / "walk_pelvis_shanks_vicon"
    rate_hz = 100.0

    def sensor(placement: Placement, segment: str) -> SensorArrays:
        table = pd.read_csv(folder / f"{segment}_imu_100hz.csv")
        return evenly_sampled(
            placement,
            rate_hz,
            table[["acc_1", "acc_2", "acc_3"]].to_numpy(),
            table[["gyr_1", "gyr_2", "gyr_3"]].to_numpy(),
        )

    source = ArraySource(
        "walk_pelvis_shanks_vicon",
        (
            sensor(Placement.PELVIS, "Pelvis"),
            sensor(Placement.LEFT_SHANK, f"L_{shank}"),
            sensor(Placement.RIGHT_SHANK, f"R_{shank}"),
        ),
    )
    optical = pd.read_csv(folder / "vicon_100hz.csv")
    grounded = pd.read_csv(folder / "foot_on_ground.csv")
    pelvis_m = optical[["PELV_1", "PELV_2", "PELV_3"]].to_numpy()
    events: list[GaitEvent] = []
    strides: list[Stride] = []
    for side, letter in SIDES:
        found = foot_truth(
            side,
            optical[[f"{letter}TIO_{i}" for i in (1, 2, 3)]].to_numpy(),
            optical[[f"{letter}TOE_{i}" for i in (1, 2, 3)]].to_numpy(),
            pelvis_m,
            grounded[f"step{letter}"].to_numpy() == 1,
            rate_hz,
        )
        events.extend(found.events)
        strides.extend(found.strides)
    return source, GaitTruth(_by_time(events), tuple(strides))


def walk_foot_mocap(data: Path) -> tuple[ArraySource, GaitTruth]:
    """Read a walk of 2 x 20 m, feet as stand-in shanks, no pelvis, 204.8 Hz.

    The angular rate is in degrees a second at the source. Events and mid-stances are those
    of the set, found from the optical markers and given in rows of the sensor table; the
    stride length is the heel marker's horizontal path between mid-stances.
    """
    folder = data / "walk_foot_mocap"
    rate_hz, optical_hz = 204.8, 100.0
    table = pd.read_csv(folder / "walk2x20m_imu_204p8hz.csv", header=[0, 1], index_col=0)
    sensors = []
    for side in Side:
        one = table[f"{side}_sensor"]
        sensors.append(
            evenly_sampled(
                side.shank,
                rate_hz,
                one[["acc_x", "acc_y", "acc_z"]].to_numpy(),
                np.radians(one[["gyr_x", "gyr_y", "gyr_z"]].to_numpy()),
            )
        )
    optical = pd.read_csv(folder / "walk2x20m_mocap_100hz.csv", header=[0, 1], index_col=0)
    rows = pd.read_csv(folder / "walk2x20m_stride_events.csv")
    instants: set[tuple[EventKind, Side, float]] = set()
    strides = []
    for row in rows.itertuples():
        side = Side(row.foot)
        for kind, at in (
            (EventKind.FOOT_STRIKE, row.pre_ic),
            (EventKind.TOE_OFF, row.tc),
            (EventKind.FOOT_STRIKE, row.ic),
        ):
            instants.add((kind, side, at / rate_hz))
        heel_m = optical[f"{side.value[0].upper()}_FCC"][["x", "y"]].to_numpy() / 1000.0
        frames = np.rint(np.array([row.start, row.end]) / rate_hz * optical_hz).astype(int)
        path_m = float(np.linalg.norm(np.diff(heel_m[frames], axis=0)))
        strides.append(Stride(side, row.start / rate_hz, row.end / rate_hz, path_m, 0.01))
    # 10 ms: one optical frame.
    events = [GaitEvent(kind, side, at_s, 0.010) for kind, side, at_s in instants]
    # First, last and turning steps are not in the set's list.
    return ArraySource("walk_foot_mocap", tuple(sensors)), GaitTruth(
        _by_time(events), tuple(strides), complete=False
    )


def walk_feet_lowback_events(data: Path, trial: str) -> tuple[ArraySource, GaitTruth]:
    """Read 10 m, turn, 10 m back: low back as pelvis, insteps as stand-in shanks, 100 Hz.

    Radio packets were lost: the packet counter is the device clock (ticks of 10 ms), so
    losses become gaps. Trial 11-1 repeats one counter value in all three streams; the
    second row is dropped. Accelerometer scales are as delivered, up to 8 % wrong.
    """
    folder = data / "walk_feet_lowback_events"
    sensors = []
    with np.load(folder / f"{trial}.npz") as table:
        rate_hz = float(table["fs"])
        for placement, key in (
            (Placement.PELVIS, "lb"),
            (Placement.LEFT_SHANK, "lf"),
            (Placement.RIGHT_SHANK, "rf"),
        ):
            ticks = table[f"{key}_packet"].astype(np.int64)
            fresh = np.r_[True, np.diff(ticks) > 0]
            rows = np.ascontiguousarray(table[key][fresh], dtype=np.float64)
            sensors.append(
                SensorArrays(
                    placement,
                    rate_hz,
                    1.0 / rate_hz,
                    ticks[fresh],
                    np.ascontiguousarray(rows[:, :3]),
                    np.ascontiguousarray(rows[:, 3:]),
                )
            )
    notes = json.loads((folder / f"{trial}.json").read_text(encoding="utf-8"))
    source = ArraySource(f"walk_feet_lowback_events {trial}", tuple(sensors))
    events = []
    for side, key in ((Side.LEFT, "LeftFootEvents"), (Side.RIGHT, "RightFootEvents")):
        for packets in notes[key]:
            for kind, packet in zip(
                (EventKind.TOE_OFF, EventKind.FOOT_STRIKE), packets, strict=True
            ):
                # 20 ms: two samples, for instants set by hand at 100 Hz (own guess).
                at_s = packet / rate_hz - source.start_s
                events.append(GaitEvent(kind, side, at_s, 0.020))
    return source, GaitTruth(_by_time(events))


LOW_BACK_UNIT_MPS2 = 10.0
"""The README of walk_lowback_reference names g, but all six recordings then rest at 9.62
m/s², 2 % low in both sensors; with 10 m/s² as the unit they rest at 9.80 to 9.82."""

REFERENCE_SIGMA_S = {"HA001_Test5": 0.015, "HA001_Test11": 0.06, "MS001_Test5": 0.09}
"""Standard deviation of optical minus insole initial contacts by recording (our
computation over the pairs within 0.3 s); 0.06 for the others."""


def walk_lowback_reference(
    data: Path, name: str, reference: str = "Stereophoto"
) -> tuple[ArraySource, GaitTruth]:
    """Read straight walks (Test5) or daily tasks (Test11), pelvis only, 100 Hz.

    ``reference`` is ``"Stereophoto"`` (optical) or ``"INDIP"`` (insoles), whose stride
    borders are in seconds and in samples respectively. Walking bouts only are listed.
    """
    folder = data / "walk_lowback_reference"
    rate_hz = 100.0
    with np.load(folder / f"{name}.npz") as table:
        sensor = evenly_sampled(
            Placement.PELVIS,
            rate_hz,
            table["acc"].astype(np.float64) * LOW_BACK_UNIT_MPS2,
            np.radians(table["gyr"].astype(np.float64)),
        )
    notes = json.loads((folder / f"{name}_reference.json").read_text(encoding="utf-8"))
    bouts = notes["standards"][reference]["MicroWB"]
    sigma_s = REFERENCE_SIGMA_S.get(name.rsplit("_", 1)[0], 0.06)
    unit_s = 1.0 if reference == "Stereophoto" else 1.0 / rate_hz
    events: list[GaitEvent] = []
    strides: list[Stride] = []
    for bout in bouts if isinstance(bouts, list) else [bouts]:
        if bout:
            events.extend(_bout_events(bout, sigma_s))
            strides.extend(_bout_strides(bout, unit_s))
    truth = GaitTruth(_by_time(events), tuple(strides), complete=False)
    return ArraySource(f"walk_lowback_reference {name}", (sensor,)), truth


def _bout_events(bout: dict[str, Any], sigma_s: float) -> list[GaitEvent]:
    events = []
    for kind, key in ((EventKind.FOOT_STRIKE, "Initial"), (EventKind.TOE_OFF, "Final")):
        for at_s, side in zip(
            bout[f"{key}Contact_Event"], bout[f"{key}Contact_LeftRight"], strict=True
        ):
            if np.isfinite(at_s) and isinstance(side, str):
                events.append(GaitEvent(kind, Side(side.lower()), float(at_s), sigma_s))
    return events


def _bout_strides(bout: dict[str, Any], unit_s: float) -> list[Stride]:
    sides = {
        round(float(at_s), 2): side
        for at_s, side in zip(
            bout["InitialContact_Event"], bout["InitialContact_LeftRight"], strict=True
        )
    }
    strides = []
    for (start, end), length_m in zip(
        bout["Stride_InitialContacts"], bout["Stride_Length"], strict=True
    ):
        side = sides.get(round(start * unit_s, 2))
        if isinstance(side, str) and np.isfinite([start, end, length_m]).all():
            strides.append(
                # 3 cm: the two references differ by a few centimetres a stride.
                Stride(Side(side.lower()), start * unit_s, end * unit_s, float(length_m), 0.03)
            )
    return strides


def _by_time(events: list[GaitEvent]) -> tuple[GaitEvent, ...]:
    return tuple(sorted(events, key=lambda e: (e.time_s, e.side, e.kind)))
