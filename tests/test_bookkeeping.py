"""Recordings go into the store once, with what the coach noted; newer pipelines add figures."""

from __future__ import annotations

import os
import shutil
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from imujump.bookkeeping import Told, add_recording
from imujump.errors import ConsentError, RecordingError, StoreError
from imujump.forgetting import forget
from imujump.model import Analysis
from imujump.pipeline.engine import analyse
from imujump.pipeline_version import pipeline_version
from imujump.recording.content_hash import content_hash
from imujump.recording.export_motion_bids import export_motion_bids
from imujump.recording.export_tables import export_csv
from imujump.recording.reader import RecordingReader
from imujump.sessions.records import NoteKind, Standing, Task
from imujump.sessions.session_log import EntryKind, SessionLog
from imujump.sessions.store import open_store
from tests.analyses import known

DEMO = Path(__file__).resolve().parent.parent / "recordings_demo"


@pytest.fixture(scope="module")
def measured() -> Analysis:
    """The demo recording, analysed once for all tests."""
    with RecordingReader(DEMO / "one_foot.imujump") as source:
        return analyse(source)


@pytest.fixture
def calls() -> Counter[str]:
    return Counter()


@pytest.fixture
def run(measured, calls):
    """A pipeline that knows its answer."""

    def answer(source) -> Analysis:
        calls["runs"] += 1
        return measured

    return answer


@pytest.fixture
def recording(tmp_path) -> Path:
    path = tmp_path / "tuesday.imujump"
    shutil.copy(DEMO / "one_foot.imujump", path)
    return path


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path / "club.sqlite") as opened:
        yield opened


@pytest.fixture
def ada(store) -> int:
    return store.add_athlete("Ada Bell").athlete_id


def test_a_recording_is_kept_with_the_pipelines_figures(store, ada, recording, measured):
    kept = add_recording(store, recording, ada, Told(words={"shoe": "Spikes"}))
    (attempt,) = store.attempts(kept.recording.session_id)
    (found,) = measured.attempts
    assert attempt.metrics == dict(found.metrics)
    assert attempt.pipeline_version == pipeline_version()
    assert attempt.task is Task.ONE_FOOT
    assert kept.recording.remarks == ("1 jump was found.",)
    assert store.session(kept.recording.session_id).shoe == "Spikes"


def test_the_same_content_is_added_once_whatever_its_name(store, ada, recording, run, calls):
    first = add_recording(store, recording, ada, run=run)
    moved = recording.rename(recording.with_name("moved.imujump"))
    again = add_recording(store, moved, ada, run=run)
    assert not again.is_new
    assert not again.analysed_again
    assert again.attempt_ids == first.attempt_ids
    assert calls["runs"] == 1
    # The file was moved; the store follows it.
    assert store.recording(first.recording.recording_id).path == str(moved)


def test_a_newer_pipeline_adds_figures_and_an_older_one_does_not(
    store, ada, recording, run, measured, calls
):
    first = add_recording(store, recording, ada, run=run, by_version="0.9.0")
    (attempt,) = measured.attempts
    height = attempt.metrics["height_flight_m"]
    higher = known(height.value + 0.2, height.sigma)
    newer = replace(attempt, metrics={**attempt.metrics, "height_flight_m": higher})
    kept = add_recording(
        store,
        recording,
        ada,
        run=lambda _: replace(measured, attempts=(newer,)),
        by_version="0.10.0",
    )
    assert kept.analysed_again
    (change,) = kept.moved[first.attempt_ids[0]]
    assert (change.metric, change.beyond) == ("height_flight_m", True)
    assert len(store.results(first.attempt_ids[0])) == 2
    assert not add_recording(store, recording, ada, run=run, by_version="0.9.5").analysed_again
    assert calls["runs"] == 1


def test_a_recording_of_another_athlete_is_refused_until_it_is_moved(store, ada, recording, run):
    kept = add_recording(store, recording, ada, run=run)
    note = store.add_note(kept.recording.session_id, NoteKind.CUE, "low", kept.attempt_ids[0])
    bea = store.add_athlete("Bea").athlete_id
    with pytest.raises(StoreError, match=r"kept for Ada Bell already; add --move"):
        add_recording(store, recording, bea, run=run)
    add_recording(store, recording, bea, run=run, move=True)
    assert store.sessions(ada) == []
    (overview,) = store.sessions(bea)
    assert overview.attempts == 1
    assert [n.note_id for n in store.notes(overview.session.session_id)] == [note.note_id]
    assert store.attempt(kept.attempt_ids[0]).athlete_id == bea


def test_the_courtside_log_goes_in_with_the_recording(store, ada, recording, run, measured):
    log = SessionLog(recording.with_suffix(".log.jsonl"))
    begin = {"athlete": "Bea", "task": "two_foot", "surface": "Grass", "shoe": "Spikes"}
    log.add(EntryKind.BEGIN, data=begin)
    log.add(EntryKind.CUE, 1, "=hips low")
    log.add(EntryKind.INVALID, 1, "slipped")
    kept = add_recording(store, recording, ada, Told(words={"surface": "Track"}), run=run)
    session = store.session(kept.recording.session_id)
    assert (session.surface, session.shoe) == ("Track", "Spikes")
    (note,) = store.notes(session.session_id)
    assert (note.text, note.attempt_id) == ("=hips low", kept.attempt_ids[0])
    attempt = store.attempt(kept.attempt_ids[0])
    assert (attempt.task, attempt.invalid_mark) == (Task.TWO_FOOT, "slipped")
    assert kept.recording.remarks[1:] == (
        "1 jump was from one foot, where a two-foot jump was asked.",
        "The courtside log names Bea.",
    )
    # Added again it is not doubled.
    add_recording(store, recording, ada, run=run)
    assert len(store.notes(session.session_id)) == 1


def test_what_an_athlete_sent_waits(store, ada, run):
    kept = add_recording(store, DEMO / "two_foot.imujump", ada, Told(from_athlete=True), run=run)
    assert kept.recording.standing is Standing.WAITING
    assert store.waiting() == [kept.recording]


def test_a_minors_recording_is_refused_before_it_is_measured(store, ada, recording, run, calls):
    store.change_athlete(ada, birth_year=2010)
    with pytest.raises(ConsentError):
        add_recording(store, recording, ada, run=run)
    assert calls["runs"] == 0
    assert store.counts()["sessions"] == 0


def test_a_file_that_cannot_be_read_leaves_nothing(store, ada, tmp_path):
    bad = tmp_path / "bad.imujump"
    bad.write_bytes(b"nothing")
    with pytest.raises(RecordingError):
        add_recording(store, bad, ada)
    with pytest.raises(RecordingError):
        add_recording(store, tmp_path / "nowhere.imujump", ada)
    assert store.counts()["recordings"] == 0


def test_a_table_without_a_start_takes_the_files_time(store, ada, tmp_path, measured):
    path = tmp_path / "phone.csv"
    with RecordingReader(DEMO / "one_foot.imujump") as source:
        export_csv(source, path)
    os.utime(path, (1_770_000_000, 1_770_000_000))
    kept = add_recording(store, path, ada, run=lambda _: replace(measured, started_utc=None))
    began = datetime.fromtimestamp(1_770_000_000, UTC)
    assert store.session(kept.recording.session_id).started_utc == began
    assert "does not say when it began" in kept.recording.remarks[-1]


def test_the_content_of_several_files_counts(tmp_path):
    with RecordingReader(DEMO / "one_foot.imujump") as source:
        motion = export_motion_bids(source, tmp_path / "bids")
    before = content_hash(motion)
    sidecar = motion.with_name(motion.name.replace("_motion.tsv", "_channels.tsv"))
    sidecar.write_text(sidecar.read_text().replace("left shank", "right shank"))
    assert content_hash(motion) != before
    assert content_hash(motion)[:32] == before[:32]


def test_a_single_files_hash_is_its_sha256(recording):
    import hashlib

    assert content_hash(recording) == hashlib.sha256(recording.read_bytes()).hexdigest()


def test_forgetting_erases_files_too_but_not_another_ones(store, ada, recording, run, tmp_path):
    log = SessionLog(recording.with_suffix(".log.jsonl"))
    log.add(EntryKind.CUE, 1, "low")
    add_recording(store, recording, ada, run=run)
    changed = tmp_path / "changed.imujump"
    shutil.copy(DEMO / "two_foot.imujump", changed)
    add_recording(store, changed, ada, run=run)
    changed.write_bytes(b"somebody else's")
    stray = SessionLog(tmp_path / "replay.log.jsonl")
    stray.add(EntryKind.BEGIN, data={"athlete": "Ada Bell"})
    gone = forget(store, store.athlete(ada))
    assert set(gone.files) == {recording, log.path}
    assert not recording.exists()
    assert not log.path.exists()
    assert changed.read_bytes() == b"somebody else's"
    assert "left alone" in gone.left[0]
    assert gone.left[1].startswith(str(stray.path))
    assert store.athletes() == []
    assert gone.erased.attempts == 2
