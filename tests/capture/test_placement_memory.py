"""Where sensors are worn is remembered by serial number."""

from __future__ import annotations

import sys

import pytest

from imujump.capture.placement_memory import PlacementMemory
from imujump.errors import RecordingError
from imujump.model import Placement


def test_placements_are_remembered_beside_those_of_other_sensors(tmp_path):
    memory = PlacementMemory(tmp_path / "settings" / "placements.json")
    assert memory.placements() == {}
    memory.remember({"A1": Placement.PELVIS, "B2": Placement.LEFT_SHANK})
    memory.remember({"B2": Placement.RIGHT_SHANK})
    again = PlacementMemory(memory.path)
    assert again.placements() == {"A1": Placement.PELVIS, "B2": Placement.RIGHT_SHANK}
    assert [p.name for p in memory.path.parent.iterdir()] == ["placements.json"]


@pytest.mark.parametrize("text", ["[1, 2]", '{"A1": "left_knee", "B2": 7}', "{}"])
def test_what_means_nothing_is_left_out(tmp_path, text):
    path = tmp_path / "placements.json"
    path.write_text(text)
    assert PlacementMemory(path).placements() == {}


def test_a_damaged_file_is_told_and_replaced_when_something_is_remembered(tmp_path):
    path = tmp_path / "placements.json"
    path.write_bytes(b"{\xff")
    with pytest.raises(RecordingError, match="delete the file; placements will be asked for"):
        PlacementMemory(path).placements()
    PlacementMemory(path).remember({"A1": Placement.PELVIS})
    assert PlacementMemory(path).placements() == {"A1": Placement.PELVIS}


def test_a_place_that_cannot_be_written_to_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordingError, match="cannot be remembered"):
        PlacementMemory(tmp_path / "file" / "placements.json").remember({"A": Placement.PELVIS})


def test_by_default_it_lies_in_the_users_settings():
    path = PlacementMemory().path
    assert path.name == "placements.json"
    assert "imujump" in str(path.parent) or sys.platform == "win32"
