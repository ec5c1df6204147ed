"""The commands on kept sessions, with a real recording and a real store."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import pandas as pd
import pytest
from bidsschematools import validator
from click.testing import CliRunner, Result

from imujump.attempt_again import measure_by_hand
from imujump.cli import main
from imujump.model import METRIC_NAMES
from imujump.pipeline_version import pipeline_version
from imujump.sessions.records import NoteKind, Standing
from imujump.sessions.session_log import EntryKind, SessionLog
from imujump.sessions.store import open_store

DEMO = Path(__file__).resolve().parent.parent / "recordings_demo"
HOSTILE = "=cmd|' /C calc'!A0"


@pytest.fixture(scope="module")
def filled(tmp_path_factory) -> Path:
    """A folder with a store in which two recordings were put by the command."""
    folder = tmp_path_factory.mktemp("filled")
    for name in ("one_foot.imujump", "two_foot.imujump"):
        shutil.copy(DEMO / name, folder)
    log = SessionLog(folder / "one_foot.log.jsonl")
    log.add(EntryKind.CUE, 1, HOSTILE)
    log.add(EntryKind.SEEN, 1, "-1 on a scale")
    told = invoke(
        folder,
        *("add", folder, "--athlete", "Ada Bell", "--surface", "+Track", "--shoe", "Spikes"),
        *("--mass", "63.5"),
    )
    assert told.exit_code == 0, told.output
    assert "Ada Bell is new here" in told.output
    assert told.output.count("1 jump kept in session 1") == 2
    return folder


@pytest.fixture
def folder(filled, tmp_path) -> Path:
    """A copy that a test may change."""
    for path in filled.iterdir():
        shutil.copy(path, tmp_path)
    with open_store(tmp_path / "club.sqlite") as store:
        for recording in store.recordings(1):
            name = Path(recording.path).name
            store.set_path(recording.recording_id, tmp_path / name)
    return tmp_path


def invoke(folder: Path, *arguments: object, **options) -> Result:
    store = {"IMUJUMP_STORE": str(folder / "club.sqlite"), "COLUMNS": "200"}
    return CliRunner(env=store).invoke(main, [str(a) for a in arguments], **options)


def test_adding_again_says_so_and_changes_nothing(folder):
    told = invoke(folder, "add", folder / "one_foot.imujump", "--athlete", "ada bell")
    assert told.exit_code == 0
    assert "kept already" in told.output
    with open_store(folder / "club.sqlite") as store:
        assert store.counts()["recordings"] == 2


def test_a_newer_revision_of_the_figures_says_what_moved(folder):
    program, _, revision = pipeline_version().partition("/")
    older = f"{program}/{int(revision) - 1}"
    with open_store(folder / "club.sqlite") as store, store._write() as connection:
        connection.exec_driver_sql(f"UPDATE recordings SET pipeline_version = '{older}'")
        connection.exec_driver_sql(f"UPDATE results SET pipeline_version = '{older}'")
        connection.exec_driver_sql("UPDATE metrics SET value = 0.1 WHERE name = 'flight_s'")
        (attempt_id,) = connection.exec_driver_sql(
            "SELECT attempt_id FROM attempts JOIN recordings USING (recording_id)"
            " WHERE path LIKE '%one_foot.imujump'"
        ).scalars()
    with open_store(folder / "club.sqlite") as store:
        measure_by_hand(store, attempt_id, store.attempt(attempt_id).events)
    told = invoke(folder, "add", folder / "one_foot.imujump", "--athlete", "Ada Bell")
    assert f"attempt {attempt_id}: events set by hand are set in the new figures too" in told.output
    assert f"measured again with version {pipeline_version()}" in told.output
    assert "1 figure moved beyond the uncertainty, 0 within it" in told.output
    assert "flight time: 100" in told.output


def test_a_failing_file_is_one_sentence_and_the_others_go_on(folder):
    bad = folder / "bad.imujump"
    bad.write_bytes(b"nothing")
    told = invoke(folder, "add", bad, folder / "two_foot.imujump", "--athlete", "Ada Bell")
    assert told.exit_code == 1
    assert told.stderr.startswith(str(bad))
    assert len(told.stderr.splitlines()) == 1
    assert "kept already" in told.stdout


def test_a_new_name_is_not_kept_when_no_recording_is(folder):
    told = invoke(folder, "add", folder / "one_foot.imujump", "--athlete", "Zed")
    assert told.exit_code == 1
    assert "kept for Ada Bell already" in told.stderr
    with open_store(folder / "club.sqlite") as store:
        assert [athlete.name for athlete in store.athletes()] == ["Ada Bell"]


def test_a_misspelled_name_is_asked_about(folder):
    told = invoke(folder, "add", folder / "one_foot.imujump", "--athlete", "Ada Bel")
    assert told.exit_code == 2
    assert 'but "Ada Bell"' in told.stderr
    told = invoke(folder, "sessions", "--athlete", "Ada Bel")
    assert 'do you mean "Ada Bell"?' in told.stderr


def test_athletes_are_added_changed_and_listed(folder):
    told = invoke(
        folder,
        *("athletes", "--add", "Bea", "--born", 2009, "--stature", 172.5, "--side", "left"),
        *("--leg", 90, "--mass", 61.5, "--on", "2026-03-01"),
    )
    assert told.exit_code == 0, told.output
    assert invoke(folder, "athletes", "--add", "Bea").exit_code == 2
    assert "--add NAME or --edit NAME" in invoke(folder, "athletes", "--born", 2000).stderr
    told = invoke(folder, "athletes", "--edit", "bea", "--stature", 1.8)
    assert "stature is 0.018 m" in told.stderr
    told = invoke(folder, "athletes", "--edit", "bea", "--consent", "2026-01-15")
    assert told.exit_code == 0
    listed = invoke(folder, "athletes").output
    assert "63.5 (2025-03-04)" in listed
    row = next(line for line in listed.splitlines() if "Bea" in line)
    assert " ".join(row.split()) == "Bea 2009 172 61.5 (2026-03-01) 90 left 2026-01-15 0"


def test_sessions_are_listed(folder):
    row = next(line for line in invoke(folder, "sessions").output.splitlines() if "Ada" in line)
    assert row.split()[-6:] == ["Ada", "Bell", "2", "2", "+Track,", "Spikes"]
    assert "No session yet" in invoke(folder / "nowhere", "sessions").output


def test_what_an_athlete_sent_is_confirmed_or_refused(folder):
    with open_store(folder / "club.sqlite") as store:
        store.set_standing(1, Standing.WAITING)
    listed = invoke(folder, "confirm").output
    assert "Ada Bell, 2025-03-04" in listed
    assert "  1 jump was found." in listed
    assert "counts now" in invoke(folder, "confirm", 1).output
    assert "No recording waits" in invoke(folder, "confirm").output
    assert "is left out" in invoke(folder, "refuse", 1).output
    told = invoke(folder, "refuse", 99)
    assert told.exit_code == 1
    assert "no such recording" in told.stderr


def test_a_minor_without_consent_is_refused_with_the_remedy(folder, tmp_path):
    other = tmp_path / "legs_swapped.imujump"
    shutil.copy(DEMO / other.name, other)
    invoke(folder, "athletes", "--add", "Cleo", "--born", 2012)
    told = invoke(folder, "add", other, "--athlete", "Cleo")
    assert told.exit_code == 1
    assert '--edit "Cleo" --consent YYYY-MM-DD' in told.stderr


def test_csv_cells_run_nowhere_and_numbers_stay_numbers(folder):
    with open_store(folder / "club.sqlite") as store:
        store.add_note(1, NoteKind.SEEN, "\t=1+1", 2)
        store.change_athlete(1, name="@Ada")
        store.change_session(1, note="＝1+1")
    path = folder / "all.csv"
    told = invoke(folder, "export", "--csv", path)
    assert "2 attempts" in told.output, told.stderr
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    texts = [cell for row in rows for cell in row.values()]
    for cell in texts:
        assert not cell.lstrip(" ").startswith(("=", "+", "@", "\t", "\r", "＝")), cell
        if cell.startswith("-"):
            float(cell)
    assert rows[0]["athlete"] == "'@Ada"
    assert rows[0]["cues"] == f"'{HOSTILE}"
    assert rows[0]["seen"] == "'-1 on a scale"
    assert rows[0]["surface"] == "'+Track"
    assert rows[0]["session_note"] == "'＝1+1"
    frame = pd.read_csv(path)
    numbers = [name for name in METRIC_NAMES if frame[name].notna().any()]
    assert all(frame[name].dtype == "float64" for name in numbers)
    assert (frame["pelvis_tilt_rad"] < 0).any() or (frame["turn_rad"] < 0).any()
    told = invoke(folder, "export", "--csv", path)
    assert told.exit_code == 1
    assert "exists already" in told.stderr


def test_parquet_holds_the_same_with_types(folder):
    csv_file, parquet = folder / "all.csv", folder / "all.parquet"
    told = invoke(
        folder, "export", "--csv", csv_file, "--parquet", parquet, "--athlete", "Ada Bell"
    )
    assert told.exit_code == 0, told.stderr
    typed, plain = pd.read_parquet(parquet), pd.read_csv(csv_file)
    assert list(typed.columns) == list(plain.columns)
    for name in METRIC_NAMES:
        pd.testing.assert_series_equal(typed[name], plain[name], check_dtype=False)
    assert typed["cues"][0] == HOSTILE  # a text is a text here
    assert typed["counts"].dtype == bool
    assert str(typed["taken_utc"].dtype) == "datetime64[us, UTC]"


def test_motion_bids_has_participants_without_names(folder):
    with open_store(folder / "club.sqlite") as store:
        store.change_athlete(1, birth_year=2000, stature_m=1.8)
    root = folder / "bids"
    told = invoke(folder, "export", "--bids", root)
    assert "2 recordings" in told.output, told.stderr
    assert validator.validate_bids(str(root))["path_tracking"] == []
    people = pd.read_csv(root / "participants.tsv", sep="\t", keep_default_na=False)
    assert people.to_dict("records") == [
        {
            "participant_id": "sub-01",
            "age": 25,
            "height": 1.8,
            "weight": 63.5,
            "leg_length": "n/a",
            "take_off_side": "n/a",
        }
    ]
    files = [path for path in root.rglob("*") if path.is_file()]
    assert len([path for path in files if path.name.endswith("_motion.tsv")]) == 2
    assert not [path for path in files if b"Ada" in path.read_bytes()]
    (folder / "one_foot.imujump").unlink()
    told = invoke(folder, "export", "--bids", folder / "again")
    assert told.exit_code == 1
    assert "no longer there" in told.stderr
    assert "1 recording." in told.stdout


def test_forgetting_asks_first_and_says_what_went(folder):
    told = invoke(folder, "forget", "Ada Bell", input="n\n")
    assert told.exit_code == 1
    assert "Nothing was erased" in told.output
    assert (folder / "one_foot.imujump").exists()
    told = invoke(folder, "forget", "Ada Bell", input="y\n")
    assert told.exit_code == 0, told.output
    assert "1 session, 2 attempts, 2 notes, 1 body measure, 3 files" in told.output
    assert "Copies" in told.output
    assert not list(folder.glob("*.imujump"))
    assert not list(folder.glob("*.jsonl"))
    content = b"".join(path.read_bytes() for path in folder.iterdir() if path.is_file())
    assert b"Ada Bell" not in content
    assert "No athlete yet" in invoke(folder, "athletes").output


def test_a_foreign_store_is_one_sentence(folder):
    told = invoke(folder, "sessions", "--store", folder / "one_foot.imujump")
    assert told.exit_code == 1
    assert len(told.stderr.splitlines()) == 1
    assert "name another one" in told.stderr


def test_hostile_names_do_not_steer_the_terminal(folder):
    name = "[red]x[/red] \u202e <b>"
    assert invoke(folder, "athletes", "--add", name).exit_code == 0
    listed = invoke(folder, "athletes").output
    assert "[red]x[/red] \\u202e <b>" in listed
    assert "\u202e" not in listed
