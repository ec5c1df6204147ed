"""The demo recordings: written again they come out the same, and hold what they promise."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import sqlite3
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from imujump.model import Placement, SampleBatch
from imujump.recording.files import open_recording

FOLDER = Path(__file__).resolve().parents[2] / "recordings_demo"
NAMES = ("one_foot", "two_foot", "speed_ladder", "lost_sensor", "legs_swapped", "long_session")
QUICK = ("one_foot", "two_foot", "legs_swapped", "lost_sensor")


@pytest.fixture(scope="module")
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("regenerate_demo", FOLDER / "regenerate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    # Frozen slotted dataclasses look their module up by name.
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def written(script: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    assert script.main([str(folder), "--only", *QUICK]) == 0
    return folder


def truth_of(name: str) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((FOLDER / f"{name}_truth.json").read_text("utf-8"))
    return loaded


def batches_of(path: Path) -> list[SampleBatch]:
    return list(open_recording(path).batches())


def sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize("name", QUICK)
def test_truth_is_written_again_to_the_letter(written: Path, name: str) -> None:
    again = (written / f"{name}_truth.json").read_text("utf-8")
    assert again == (FOLDER / f"{name}_truth.json").read_text("utf-8")


@pytest.mark.parametrize("name", QUICK)
def test_recording_is_written_again_byte_for_byte(written: Path, name: str) -> None:
    kept, again = FOLDER / f"{name}.imujump", written / f"{name}.imujump"
    # SQLite stamps its version into bytes 96 to 99 of a database (its file format, 1.3), so
    # another library can give other bytes; the samples must be the same all the same.
    stamp = int.from_bytes(kept.read_bytes()[96:100], "big")
    major, minor, patch = sqlite3.sqlite_version_info
    if stamp == 1_000_000 * major + 1_000 * minor + patch:
        assert sha256(again) == sha256(kept)
    pairs = list(zip(batches_of(kept), batches_of(again), strict=True))
    assert pairs
    for a, b in pairs:
        assert a.placement is b.placement
        assert a.arrival_s == b.arrival_s
        np.testing.assert_array_equal(a.ticks, b.ticks)
        np.testing.assert_array_equal(a.accel_mps2, b.accel_mps2)
        np.testing.assert_array_equal(a.gyro_radps, b.gyro_radps)


def test_two_runs_give_the_same_bytes(script: ModuleType, written: Path, tmp_path: Path) -> None:
    assert script.main([str(tmp_path), "--only", "one_foot"]) == 0
    for suffix in (".imujump", "_truth.json"):
        name = f"one_foot{suffix}"
        assert (tmp_path / name).read_bytes() == (written / name).read_bytes()


@pytest.mark.parametrize("name", NAMES)
def test_each_is_below_a_megabyte_and_has_its_truth(name: str) -> None:
    assert (FOLDER / f"{name}.imujump").stat().st_size < 1_000_000
    truth = truth_of(name)
    assert truth["recording"] == f"{name}.imujump"
    assert truth["attempts"]
    assert "invented" in truth["club"]
    readme = (FOLDER / "README.md").read_text("utf-8")
    assert f"`{name}.imujump`" in readme
    assert truth["athlete"] in readme


@pytest.mark.parametrize("name", NAMES)
def test_marks_stand_at_the_attempts(name: str) -> None:
    marks = open_recording(FOLDER / f"{name}.imujump").info.marks
    starts = [a["start_s"] for a in truth_of(name)["attempts"]]
    assert [m.time_s for m in marks] == pytest.approx(starts, abs=1e-3)


def test_ladder_climbs_from_slow_to_fast() -> None:
    speeds = sorted(
        a["metrics"]["approach_speed_mps"] for a in truth_of("speed_ladder")["attempts"]
    )
    assert len(speeds) == 6
    assert speeds[-1] - speeds[0] > 1.5


def test_lost_sensor_and_gaps_are_missing_from_the_file() -> None:
    truth = truth_of("lost_sensor")
    batches = batches_of(FOLDER / "lost_sensor.imujump")
    ends = {p: max(b.arrival_s for b in batches if b.placement is p) for p in Placement}
    lost = next(g for g in truth["gap"] if g["end_s"] is None)
    assert ends[Placement(lost["sensor"])] < lost["start_s"] + 0.2
    assert truth["attempts"][0]["end_s"] < lost["start_s"] < truth["attempts"][1]["start_s"]
    for gap in (g for g in truth["gap"] if g["end_s"] is not None):
        ticks = np.concatenate([b.ticks for b in batches if b.placement == gap["sensor"]])
        assert np.diff(ticks).max() * 1e-6 > gap["end_s"] - gap["start_s"]


def test_legs_swapped_recording_shows_the_plant_on_the_other_shank() -> None:
    """In the plant the take-off shank stays slow, the free shank swings."""
    truth = truth_of("legs_swapped")
    assert truth["legs_swapped"]
    take_off = truth["attempts"][0]["take_off"]
    swing = {}
    for placement in (Placement.LEFT_SHANK, Placement.RIGHT_SHANK):
        batches = [
            b for b in batches_of(FOLDER / "legs_swapped.imujump") if b.placement is placement
        ]
        ticks = np.concatenate([b.ticks for b in batches])
        time_s = (ticks - ticks[0]) * 1e-6
        rate = np.linalg.norm(np.concatenate([b.gyro_radps for b in batches]), axis=1)
        # The middle of the contact before the last step: the right foot carries.
        step = truth["attempts"][0]["steps"][-1]
        middle = step["start_s"] + 0.5 * step["contact_time_s"]
        swing[placement] = rate[np.abs(time_s - middle) < 0.03].mean()
    assert take_off["side"] == "left"
    # The left leg swings then; its motion is on the sensor called right.
    assert swing[Placement.RIGHT_SHANK] > 1.5 * swing[Placement.LEFT_SHANK]


def test_long_session_holds_what_it_promises() -> None:
    truth = truth_of("long_session")
    assert truth["duration_s"] >= 1200.0
    info = open_recording(FOLDER / "long_session.imujump").info
    assert {s.rate_hz for s in info.sensors} == {100.0}
    done = [m["what"] for m in truth["movements"]]
    assert done.count("approach_jump") == len(truth["attempts"]) == 6
    assert {"walk", "turn_around", "bounce", "run_through", "fidget", "stand"} <= set(done)
