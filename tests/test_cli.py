"""The command line, with recordings and pipeline replaced by hand-made analyses."""

import csv
import errno
import io
import json
import os
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from analyses import analysis, one_foot_attempt, run_through, two_foot_attempt
from click.testing import CliRunner
from rich.console import Console

import imujump.pipeline
from imujump import cli
from imujump.errors import AlignmentError, RecordingError
from imujump.progress import PatientBar
from imujump.recording.table_source import TableSource

ANALYSES = {
    "good.tsv": analysis(one_foot_attempt(), two_foot_attempt(), warnings=("a battery ran low",)),
    "other.tsv": analysis(run_through()),
    "empty.tsv": analysis(),
}


def analyse_by_name(path, column_map):
    if path.name == "bad.tsv":
        raise RecordingError(path, "row 17 has 3 columns instead of 18", "copy the file again")
    if path.name == "crooked.tsv":
        raise AlignmentError("the pelvis sensor never stood still; stand still for 3 s")
    if path.name == "locked.tsv":
        raise PermissionError(errno.EACCES, "Permission denied", str(path))
    if path.name == "fault.tsv":
        raise ZeroDivisionError("division\nby zero")
    return ANALYSES[path.name]


@pytest.fixture
def run(monkeypatch):
    monkeypatch.setattr(cli, "analyse_recording", analyse_by_name)
    monkeypatch.setattr(cli, "find_recordings", lambda path: [Path(path)])
    monkeypatch.setenv("COLUMNS", "100")

    def invoke(*arguments, **options):
        return CliRunner(**options).invoke(cli.main, ["analyse", *arguments])

    return invoke


def test_table_is_the_default(run):
    result = run("good.tsv", "empty.tsv")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert any("4.12±0.05" in line for line in lines)
    assert lines[lines.index("empty.tsv") + 1].strip() == "no jump found"
    assert lines[-1] == "good.tsv: A battery ran low."
    assert result.stderr == ""


def test_table_follows_the_width_of_the_screen(run, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    assert max(map(len, run("good.tsv").stdout.splitlines())) <= 80


def test_all_adds_a_sheet_of_every_metric(run):
    result = run("--all", "good.tsv")
    assert result.exit_code == 0
    assert "pelvis rise" in result.stdout
    assert "Steps" in result.stdout


def test_json_gives_one_line_a_recording_even_without_attempts(run):
    result = run("--json", "good.tsv", "empty.tsv")
    assert result.exit_code == 0
    told = [json.loads(line) for line in result.stdout_bytes.decode("ascii").splitlines()]
    assert [doc["recording"]["path"] for doc in told] == ["good.tsv", "empty.tsv"]
    assert [len(doc["attempts"]) for doc in told] == [2, 0]
    assert b"\r" not in result.stdout_bytes


def test_csv_gives_one_row_an_attempt_and_tells_warnings_apart(run):
    result = run("--csv", "good.tsv", "other.tsv", "empty.tsv")
    assert result.exit_code == 0
    rows = list(csv.DictReader(io.StringIO(result.stdout_bytes.decode("utf-8"), newline="")))
    assert [row["recording"] for row in rows] == ["good.tsv", "good.tsv", "other.tsv"]
    assert [row["valid"] for row in rows] == ["yes", "yes", "no"]
    assert result.stderr.splitlines() == [
        "good.tsv: A battery ran low.",
        "empty.tsv: No jump found.",
    ]


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("bad.tsv", "bad.tsv: row 17 has 3 columns instead of 18; copy the file again."),
        ("crooked.tsv", "crooked.tsv: the pelvis sensor never stood still; stand still for 3 s"),
        ("locked.tsv", "locked.tsv: permission denied; check the file and who may read it."),
    ],
)
@pytest.mark.parametrize("output", [[], ["--json"], ["--csv"]])
def test_a_failed_file_is_told_in_one_sentence_and_the_others_still_come(run, name, told, output):
    result = run(*output, "good.tsv", name, "other.tsv")
    assert result.exit_code == 1
    assert told in result.stderr.splitlines()
    assert "good.tsv" in result.stdout
    assert "other.tsv" in result.stdout
    assert name not in result.stdout


def test_a_fault_of_the_program_is_one_sentence_with_its_place(run):
    result = run("fault.tsv")
    assert result.exit_code == 1
    (line,) = result.stderr.splitlines()
    assert line.startswith("fault.tsv: the program failed at test_cli.py line ")
    assert "ZeroDivisionError: division by zero" in line
    assert "please report" in line


def test_a_path_that_holds_no_recording_fails_alone(run, monkeypatch):
    def find(path):
        if path == "nowhere":
            raise RecordingError(path, "there is no such file or folder", "check the name")
        return [Path(path)]

    monkeypatch.setattr(cli, "find_recordings", find)
    result = run("--json", "nowhere", "good.tsv")
    assert result.exit_code == 1
    assert result.stderr.startswith("nowhere: there is no such file")
    assert len(result.stdout.splitlines()) == 1


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["--no-such-option", "good.tsv"],
        ["--json", "--csv", "good.tsv"],
        ["--all", "--json", "good.tsv"],
        ["--all", "--csv", "good.tsv"],
        ["--columns", "no-such-map.toml", "good.tsv"],
    ],
)
def test_a_command_that_is_not_understood_ends_with_2(run, arguments):
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Error:" in result.stderr


def test_columns_file_reaches_the_reader(run, monkeypatch, tmp_path):
    given = []
    monkeypatch.setattr(cli, "analyse_recording", lambda path, columns: given.append(columns))
    column_map = tmp_path / "map.toml"
    column_map.write_text("")
    run("--json", "--columns", str(column_map), "good.tsv")
    assert given == [column_map]


def test_a_console_without_the_signs_gets_stand_ins(run):
    result = run("--all", "good.tsv", charset="ascii")
    assert result.exit_code == 0
    assert result.stdout_bytes.isascii()
    assert b"4.12+/-0.05" in result.stdout_bytes


def test_a_name_the_console_lacks_is_spelled_out(run, monkeypatch):
    monkeypatch.setitem(ANALYSES, "跳.tsv", ANALYSES["good.tsv"])
    result = run("跳.tsv", charset="cp1252")
    assert result.exit_code == 0
    assert b"\\u8df3.tsv" in result.stdout_bytes
    assert "4.12±0.05".encode("cp1252") in result.stdout_bytes


def test_help_explains_with_examples_and_exit_status():
    result = CliRunner().invoke(cli.main, ["analyse", "--help"])
    assert result.exit_code == 0
    for word in ("Examples:", "imujump analyse season/\n", "Exit status:", "uncertainty"):
        assert word in result.stdout.replace("   ", "\n")


def test_version_comes_from_the_package():
    told = subprocess.run(
        [sys.executable, "-c", "from imujump.cli import main; main()", "--version"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout.split()[-1] == CliRunner().invoke(cli.main, ["--version"]).stdout.split()[-1]


SCRIPT = """
import sys
sys.path.insert(0, {tests!r})
from pathlib import Path
from test_cli import analyse_by_name
from imujump import cli
cli.analyse_recording = analyse_by_name
cli.find_recordings = lambda path: [Path(path)] * {times}
cli.main()
"""


def start(*arguments, times=1, **options):
    """Run the command in a process of its own, with hand-made analyses."""
    code = SCRIPT.format(tests=str(Path(__file__).parent), times=times)
    return subprocess.Popen(
        [sys.executable, "-c", code, "analyse", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        **options,
    )


def test_as_a_process_with_an_ascii_console():
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    out, err = start("good.tsv", "bad.tsv", env=environment).communicate(timeout=60)
    assert out.isascii()
    assert b"4.12+/-0.05" in out
    assert err.decode("ascii").splitlines() == [
        "bad.tsv: row 17 has 3 columns instead of 18; copy the file again."
    ]


@pytest.mark.parametrize("output", ["--json", "--csv"])
def test_a_reader_that_leaves_early_is_no_crash(output):
    process = start(output, "good.tsv", times=200)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.readline()
    process.stdout.close()
    told = process.stderr.read().decode()
    process.stderr.close()
    process.wait(timeout=60)
    assert "Traceback" not in told
    assert "Exception" not in told


class Screen(io.StringIO):
    def isatty(self):
        return True


def drawn(patience_s, work_s, terminal=True):
    screen = Screen() if terminal else io.StringIO()
    console = Console(file=screen, width=80, force_terminal=terminal)
    with PatientBar(2, console, patience_s) as bar:
        for name in ("first.tsv", "second.tsv"):
            bar.begin(name)
            time.sleep(work_s)
            bar.hide()
    return screen.getvalue()


def test_the_bar_appears_on_a_terminal_only_after_its_patience():
    assert "first.tsv" in drawn(patience_s=0.02, work_s=0.3)
    assert drawn(patience_s=30.0, work_s=0.01) == ""
    assert drawn(patience_s=0.02, work_s=0.3, terminal=False) == ""


def test_a_table_file_reaches_the_pipeline_and_is_closed(monkeypatch, tmp_path):
    seen = {}

    def analyse_source(source):
        seen["samples"] = sum(len(batch.ticks) for batch in source.batches())
        return ANALYSES["empty.tsv"]

    monkeypatch.setattr(TableSource, "close", lambda self: seen.update(closed=True))
    engine = SimpleNamespace(analyse=analyse_source)
    monkeypatch.setitem(sys.modules, "imujump.pipeline.engine", engine)
    monkeypatch.setattr(imujump.pipeline, "engine", engine, raising=False)
    table = tmp_path / "phone.csv"
    table.write_text("t;x;y;z\n" + "".join(f"{n}0;0,0;0,0;1,0\n" for n in range(50)))
    column_map = tmp_path / "map.toml"
    column_map.write_text(
        'delimiter = ";"\ndecimal = ","\n[time]\ncolumn = "t"\nunit = "ms"\n'
        '[pelvis]\naccel = ["x", "y", "z"]\naccel_unit = "g"\n'
    )
    result = CliRunner().invoke(
        cli.main, ["analyse", "--json", "--columns", str(column_map), str(table)]
    )
    assert result.exit_code == 0, result.stderr
    assert json.loads(result.stdout)["recording"]["path"] == str(table)
    assert seen == {"samples": 50, "closed": True}
