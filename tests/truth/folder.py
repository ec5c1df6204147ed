"""Writes virtual recordings as a Motion-BIDS folder with a truth file beside each.

Motion-BIDS is the motion extension of the open Brain Imaging Data Structure (version 1.10):
motion.tsv without a header row, channels.tsv naming every column with its unit, motion.json
with the sampling frequency. The truth file is not part of the standard and is listed in
``.bidsignore``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement

from .record import VirtualRecording

WORN = {
    Placement.LEFT_SHANK: "left lateral shank, about 10 cm above the ankle",
    Placement.RIGHT_SHANK: "right lateral shank, about 10 cm above the ankle",
    Placement.PELVIS: "sacrum",
}
DESCRIPTION = {
    "approachjump": "Run-up and jump, virtual recording",
    "standingjump": "Jump from standing, virtual recording",
    "run": "Running, virtual recording",
    "walk": "Walking, virtual recording",
}


def start_folder(folder: Path, name: str, licence: str) -> None:
    """Write the data set's description; ``folder`` is created."""
    folder.mkdir(parents=True, exist_ok=True)
    description = {
        "Name": name,
        "BIDSVersion": "1.10.0",
        "DatasetType": "raw",
        "License": licence,
        "Authors": ["project team"],
    }
    _json(folder / "dataset_description.json", description)
    (folder / ".bidsignore").write_text("**/*_truth.json\n*_truth.json\n", encoding="utf-8")
    (folder / "README").write_text(
        f"{name}\nSimulated signals with independent truth in *_truth.json. Times in seconds "
        "from the first row; rows / SamplingFrequency.\n",
        encoding="utf-8",
    )


def finish_folder(folder: Path, subjects: Mapping[str, str]) -> None:
    """Write the participants table; ``subjects`` maps subject label to source movement."""
    lines = ["participant_id\tsource", *(f"sub-{k}\t{v}" for k, v in subjects.items())]
    (folder / "participants.tsv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    _json(
        folder / "participants.json",
        {"source": {"Description": "movement the recording was made from"}},
    )


def write_recording(
    folder: Path, subject: str, recording: VirtualRecording, *, other_units: bool = False
) -> Path:
    """Write one recording; returns the path of its ``motion.tsv``.

    ``other_units`` writes g and deg/s in place of m/s^2 and rad/s.
    """
    place = folder / f"sub-{subject}" / "motion"
    place.mkdir(parents=True, exist_ok=True)
    stem = f"sub-{subject}_task-{recording.task}_tracksys-imu_"
    units = ("g", "deg/s") if other_units else ("m/s^2", "rad/s")
    rows = ["name\tcomponent\ttype\ttracked_point\tunits\tplacement"]
    for placement in recording.samples:
        for kind, unit in zip(("ACCEL", "GYRO"), units, strict=True):
            rows += [
                f"{placement}_{kind.lower()}_{axis}\t{axis}\t{kind}\t{placement}\t{unit}\t"
                f"{WORN[placement]}"
                for axis in "xyz"
            ]
    (place / f"{stem}channels.tsv").write_text("\n".join(rows) + "\n", encoding="utf-8")

    samples = np.hstack([_in_units(v, other_units) for v in recording.samples.values()])
    motion = place / f"{stem}motion.tsv"
    formats = [f"%.{d}f" for d in ([5] * 3 + ([3] if other_units else [5]) * 3)]
    with motion.open("w", encoding="utf-8", newline="\n") as file:
        for row in samples:
            cells = (
                "n/a" if np.isnan(value) else formats[i % 6] % value for i, value in enumerate(row)
            )
            file.write("\t".join(cells) + "\n")
    _json(
        place / f"{stem}motion.json",
        {
            "TaskName": recording.task,
            "TaskDescription": DESCRIPTION[recording.task],
            "SamplingFrequency": recording.rate_hz,
            "TrackingSystemName": "imu",
            "Manufacturer": "virtual sensor model",
            "ManufacturersModelName": "n/a",
            "SoftwareVersions": "n/a",
            "MotionChannelCount": samples.shape[1],
            "ACCELChannelCount": samples.shape[1] // 2,
            "GYROChannelCount": samples.shape[1] // 2,
            "TrackedPointsCount": len(recording.samples),
            "SamplingFrequencyEffective": recording.rate_hz,
            "RecordingDuration": round(len(samples) / recording.rate_hz, 2),
            "RecordingType": "continuous",
            "MissingValues": "n/a",
        },
    )
    _json(place / f"{stem}truth.json", recording.truth)
    return motion


def _in_units(samples: FloatArray, other_units: bool) -> FloatArray:
    if not other_units:
        return samples
    return np.hstack([samples[:, :3] / STANDARD_GRAVITY_MPS2, np.rad2deg(samples[:, 3:])])


def _json(path: Path, content: Mapping[str, Any]) -> None:
    path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
