"""Writes small Motion-BIDS recordings for tests, independent of the project's own writer."""

from __future__ import annotations

import json
from pathlib import Path

PREFIX = "sub-t1_task-jump_tracksys-imu"
POINTS = ("left_shank", "right_shank", "pelvis")
AXES = ("x", "y", "z")
UNITS = {"ACCEL": "m/s^2", "GYRO": "rad/s"}


def channel_rows(points=POINTS, units=UNITS):
    return [
        [f"{point}_{kind.lower()}_{axis}", axis, kind, point, units[kind], "n/a"]
        for point in points
        for kind in ("ACCEL", "GYRO")
        for axis in AXES
    ]


def value(row, column):
    """A number that tells its own place in the table."""
    return row + column / 100.0


def data_lines(rows, columns=18):
    return ["\t".join(f"{value(r, c):.2f}" for c in range(columns)) for r in range(rows)]


def write(folder: Path, lines, channels=None, sidecar=None, end="\n") -> Path:
    """Write the three files; ``sidecar=False`` leaves the JSON out."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{PREFIX}_motion.tsv"
    path.write_bytes(("\n".join(lines) + end).encode())
    header = ["name", "component", "type", "tracked_point", "units", "placement"]
    table = [header, *(channel_rows() if channels is None else channels)]
    (folder / f"{PREFIX}_channels.tsv").write_text(
        "".join("\t".join(row) + "\n" for row in table), encoding="utf-8"
    )
    if sidecar is not False:
        content = {"TaskName": "jump", "SamplingFrequency": 100} if sidecar is None else sidecar
        (folder / f"{PREFIX}_motion.json").write_text(json.dumps(content), encoding="utf-8")
    return path
