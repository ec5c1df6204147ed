"""The whole command on real files: demo recordings, good and damaged, in a process of its own."""

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import pytest

from imujump.model import METRIC_NAMES

DEMO = Path(__file__).resolve().parent.parent / "recordings_demo"
COMMAND = [sys.executable, "-c", "from imujump.cli import main; main()", "analyse"]


def imujump(*arguments):
    return subprocess.run([*COMMAND, *map(str, arguments)], capture_output=True, timeout=300)


@pytest.fixture(scope="module")
def demo():
    return DEMO / "one_foot.imujump"


def test_the_demo_folder_gives_a_document_for_each_recording():
    told = imujump("--json", DEMO)
    assert told.returncode == 0, told.stderr
    documents = [json.loads(line) for line in told.stdout.splitlines()]
    names = {Path(document["recording"]["path"]).name for document in documents}
    assert names == {path.name for path in DEMO.glob("*.imujump")}
    for document in documents:
        assert document["attempts"], document["recording"]["path"]
        for attempt in document["attempts"]:
            assert tuple(attempt["metrics"]) == METRIC_NAMES


def test_table_and_spreadsheet_of_a_recording(demo):
    table = imujump("--all", demo)
    assert table.returncode == 0, table.stderr
    lines = table.stdout.decode("utf-8").splitlines()
    number, *cells = lines[lines.index(str(demo)) + 1].split()
    assert number == "1"
    # A narrow terminal's table has no start column.
    assert "left" in cells[:2]
    rows = imujump("--csv", demo)
    assert rows.returncode == 0, rows.stderr
    (row,) = csv.DictReader(io.StringIO(rows.stdout.decode("utf-8"), newline=""))
    assert row["take_off_style"] == "one_foot"
    assert row["take_off_side"] == "left"


def test_a_damaged_copy_fails_in_one_sentence_and_the_good_one_is_still_analysed(demo, tmp_path):
    damaged = tmp_path / "damaged.imujump"
    damaged.write_bytes(b"no recording at all" + demo.read_bytes()[19:])
    told = imujump("--json", damaged, demo, tmp_path / "nowhere.tsv")
    assert told.returncode == 1
    (document,) = [json.loads(line) for line in told.stdout.splitlines()]
    assert document["recording"]["path"] == str(demo)
    errors = told.stderr.decode("utf-8").splitlines()
    assert len(errors) == 2
    assert any(str(damaged) in line for line in errors)
    assert any("nowhere.tsv" in line for line in errors)


@pytest.mark.requires_shared("virtual_recordings")
def test_an_open_recording_gives_its_jump(shared_data):
    folder = shared_data / "virtual_recordings" / "kinematic" / "sub-k01"
    told = imujump("--json", folder)
    assert told.returncode == 0, told.stderr
    for line in told.stdout.splitlines():
        assert len(json.loads(line)["attempts"]) == 1
