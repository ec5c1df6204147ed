"""The commands `imujump capture`, `watch` and `sensors`, without Bluetooth."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from rich.console import Console

from imujump import cli
from imujump.capture.check_words import CheckItem, Finding, SensorJudgement, Verdict
from imujump.capture_screen import screen
from imujump.cli_sensors import judgement_lines
from imujump.keyboard import ESCAPE, NoteLine, Typed
from imujump.model import Placement
from imujump.pipeline.engine import analyse
from imujump.recording.files import open_recording

from .jumps import write_session

POSIX = pytest.mark.skipif(sys.platform == "win32", reason="sends POSIX signals")


@pytest.fixture(scope="module")
def source_file(tmp_path_factory) -> Path:
    return write_session(tmp_path_factory.mktemp("command") / "source.imujump")


def start(folder: Path, *arguments: object) -> subprocess.Popen[str]:
    """Run the command in a process of its own, with its locks in a folder of its own."""
    environment = {**os.environ, "TMPDIR": str(folder), "TEMP": str(folder), "COLUMNS": "200"}
    return subprocess.Popen(
        [sys.executable, "-c", "from imujump.cli import main; main()", *map(str, arguments)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env=environment,
    )


def test_a_replay_shows_steps_and_jumps_and_is_looked_at_from_another_process(
    source_file, tmp_path, monkeypatch
):
    made = tmp_path / "made.imujump"
    capture = start(tmp_path, "capture", made, "--replay", source_file, "--speed", 2)
    try:
        assert capture.stdout is not None
        first = capture.stdout.readline()
        monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
        seen = CliRunner().invoke(cli.main, ["watch"]).stdout
        told, problems = capture.communicate(timeout=120)
    finally:
        capture.kill()
    assert capture.returncode == 0, problems
    assert "linked" in first
    lines = told.splitlines()
    assert sum(" down" in line for line in lines) > 10
    assert sum(" off" in line for line in lines) > 10
    assert [line.split()[0:2] for line in lines if line.startswith("jump")] == [
        ["jump", "1"],
        ["jump", "2"],
    ]
    assert lines[-1].startswith("Recorded: ")
    assert str(made) in lines[-1]
    assert "2 jumps" in lines[-1]
    assert len(analyse(open_recording(made)).attempts) == 2
    # The viewer came later: it sees what is and what happens from then on.
    assert "left shank linked" in seen
    assert sum(" down" in line for line in seen.splitlines()) > 5
    assert [line for line in seen.splitlines() if line.startswith("jump")] == [
        line for line in lines if line.startswith("jump")
    ]


@POSIX
def test_ctrl_c_ends_in_good_order(source_file, tmp_path):
    made = tmp_path / "made.imujump"
    capture = start(tmp_path, "capture", made, "--replay", source_file)
    try:
        assert capture.stdout is not None
        first = capture.stdout.readline()
        time.sleep(1.0)
        capture.send_signal(signal.SIGINT)
        told, problems = capture.communicate(timeout=60)
    finally:
        capture.kill()
    assert "linked" in first
    assert capture.returncode == 0, problems
    assert problems == ""
    assert told.splitlines()[-1].startswith("Recorded: 0:0")
    reader = open_recording(made)
    assert sum(len(batch.ticks) for batch in reader.batches()) > 100


def test_a_second_capture_of_the_kind_is_refused(source_file, tmp_path):
    first = start(tmp_path, "capture", "--replay", source_file)
    try:
        assert first.stdout is not None
        first.stdout.readline()
        second = start(tmp_path, "capture", "--replay", source_file)
        _, problems = second.communicate(timeout=60)
    finally:
        first.kill()
        first.communicate()
    assert second.returncode == 1
    assert len(problems.splitlines()) == 1


def test_watching_nothing_is_told(tmp_path):
    viewer = start(tmp_path, "watch")
    _, problems = viewer.communicate(timeout=60)
    assert viewer.returncode == 1
    assert len(problems.splitlines()) == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ["capture", "--replay", "nowhere.imujump"],
        ["capture", "--speed", "0"],
        ["capture", "--sensor", "1A2F", "elbow"],
        ["sensors", "--place", "1A2F", "elbow"],
    ],
)
def test_a_command_that_is_not_understood_ends_with_2(arguments):
    assert CliRunner().invoke(cli.main, arguments).exit_code == 2


def test_a_rate_that_is_not_offered_is_told(tmp_path):
    capture = start(tmp_path, "capture", tmp_path / "x.imujump", "--emulate", "--rate", 300)
    told, problems = capture.communicate(timeout=60)
    assert (capture.returncode, told) == (1, "")
    assert "choose one of 100, 200, 400" in problems
    assert len(problems.splitlines()) == 1


def test_a_file_that_exists_is_not_overwritten(source_file, tmp_path):
    capture = start(tmp_path, "capture", source_file, "--replay", source_file)
    told, problems = capture.communicate(timeout=60)
    assert capture.returncode == 1
    assert told == ""
    assert "exists already" in problems
    assert len(problems.splitlines()) == 1


def test_findings_are_told_with_reason_and_remedy():
    judgement = SensorJudgement(
        Placement.PELVIS,
        "S1",
        (
            Finding(CheckItem.RATE, Verdict.GOOD, "200 samples a second"),
            Finding(CheckItem.STRAP, Verdict.LOOK, "the sensor rings", "pull the strap tight"),
        ),
    )
    assert list(judgement_lines(judgement)) == [
        "pelvis (S1): look at it",
        "  strap, look at it: The sensor rings. Pull the strap tight.",
    ]


def test_a_note_is_stamped_with_its_first_key_and_can_be_mended():
    line = NoteLine()
    for at_s, key in enumerate("gook", 10):
        assert line.press(key, at_s) is None
    line.press("\x7f", 14.0)
    line.press("d", 15.0)
    assert line.press("\r", 20.0) == Typed("good", 10.0)
    line.press("x", 21.0)
    line.press(ESCAPE, 22.0)
    assert line.press(" ", 23.0) == Typed("", 23.0)


def shown(state, width: int) -> str:
    console = Console(width=width, file=io.StringIO())
    console.print(screen(state, below="note: go", width=width))
    return console.file.getvalue()


@pytest.mark.parametrize("width", [80, 160])
def test_the_screen_shows_what_is_the_matter(width):
    sensor = {
        "placement": "pelvis",
        "serial": "EMU-1003",
        "linked": False,
        "rate_hz": None,
        "battery_percent": 12,
        "rssi_dbm": -80,
        "packets": 10,
        "lost": 3,
        "recovered": 4,
        "sentence": "the link is lost",
    }
    metric = {"value": 0.25, "sigma": 0.01, "reason": None}
    state = {
        "time_s": 65.0,
        "recording": {"path": "a.imujump", "sentence": "the disk is full"},
        "sensors": [sensor],
        "events": [
            {"kind": "foot_strike", "side": "left", "time_s": 64.0, "standing": "early"},
        ],
        "attempts": [
            {
                "attempt": 1,
                "start_s": 60.0,
                "take_off_style": "two_foot",
                "take_off_side": "left",
                "metrics": dict.fromkeys(cli_metrics(), metric),
            }
        ],
        "marks": 2,
        "warnings": ["a battery ran low"],
    }
    text = shown(state, width)
    assert "…" not in text
    assert "EMU-1003" in text
    assert "No jump yet" in shown({**state, "attempts": [], "events": []}, width)
    for part in ("1:05.0", "a.imujump", "2 marks", "away", "12 %", "-80 dBm", "left down"):
        assert part in text
    for part in ("both", "the link is lost", "the disk is full", "a battery ran low", "note: go"):
        assert part in text


def cli_metrics():
    from imujump.model import METRIC_NAMES

    return METRIC_NAMES
