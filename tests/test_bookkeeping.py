"""Recordings go into the store once, with what the coach noted; newer pipelines add figures."""

from __future__ import annotations

import os
import shutil
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imujump.attempt_again import HAND_SIGMA_S, drawn_again, measure_by_hand
from imujump.bookkeeping import Told, add_recording
from imujump.errors import ConsentError, RecordingError, StoreError
from imujump.forgetting import forget
from imujump.model import Analysis, EventKind, GaitEvent, Placement
from imujump.pipeline.engine import analyse
from imujump.pipeline_version import pipeline_version
from imujump.recording.content_hash import content_hash
from imujump.recording.export_motion_bids import export_motion_bids
from imujump.recording.export_tables import export_csv
from imujump.recording.reader import RecordingReader
from imujump.session_export import export_bids
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


def shifted(event: GaitEvent, by_s: float) -> GaitEvent:
    return replace(event, time_s=event.time_s + by_s, sigma_s=HAND_SIGMA_S)


def test_events_set_by_hand_are_carried_over_to_newer_figures(store, ada, recording, run, measured):
    (attempt_id,) = add_recording(store, recording, ada, run=run, by_version="0.0.1").attempt_ids
    before = store.attempt(attempt_id)
    own = [e for e in before.events if abs(e.time_s - before.toe_off_s) > 1e-6]
    toe_off = shifted(next(e for e in before.events if e not in own), -0.01)
    by_hand = measure_by_hand(store, attempt_id, [*own, toe_off])
    # The file was moved, and another one lies in its place.
    moved = recording.rename(recording.with_name("moved.imujump"))
    recording.write_bytes(b"something else")
    kept = add_recording(store, moved, ada)
    assert kept.recording.path == str(moved)
    assert (kept.carried, kept.refused) == ((attempt_id,), {})
    after = store.attempt(attempt_id)
    assert after.hand_events
    assert after.toe_off_s == pytest.approx(by_hand.toe_off_s, abs=1e-9)
    assert after.pipeline_version == pipeline_version()
    told = [(r.pipeline_version, r.hand_events) for r in store.results(attempt_id)]
    assert told[0] == ("0.0.1", False)
    assert told[2:] == [(pipeline_version(), False), (pipeline_version(), True)]
    (found,) = measured.attempts
    assert store.show_measured(attempt_id).metrics == dict(found.metrics)
    assert store.show_by_hand(attempt_id) == after


def test_what_was_set_by_hand_and_does_not_fit_newer_figures_is_said(
    store, ada, recording, run, measured
):
    (attempt_id,) = add_recording(store, recording, ada, run=run, by_version="0.0.1").attempt_ids
    (found,) = measured.attempts
    strike = next(e for e in found.events if e.kind is EventKind.FOOT_STRIKE)
    # The older analysis had seen no contact there, so a second strike in it could stand.
    odd = replace(found, events=(*found.events, shifted(strike, 0.1)))
    store.keep_by_hand(attempt_id, odd, "0.0.1")
    kept = add_recording(store, recording, ada)
    (told,) = kept.refused[attempt_id]
    assert told.startswith(f"the {strike.side} strike set by hand at {strike.time_s + 0.1:.3f} s")
    assert kept.carried == ()
    shown = store.attempt(attempt_id)
    assert (shown.hand_events, shown.pipeline_version) == (True, "0.0.1")
    assert store.results(attempt_id)[-1].pipeline_version == pipeline_version()


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


def test_a_foreign_table_opens_again_by_its_column_map(store, ada, tmp_path):
    with RecordingReader(DEMO / "one_foot.imujump") as source:
        export_csv(source, tmp_path / "own.csv")
    own = pd.read_csv(tmp_path / "own.csv")
    # On one clock, as a phone's table is.
    grid_s = np.arange(0.02, own["time_s"].iloc[-1], 0.005)
    table = pd.DataFrame({"time_s": grid_s})
    for name in own.columns[1:]:
        seen = own[["time_s", name]].dropna()
        short = name.removesuffix("_mps2").removesuffix("_radps")
        table[short] = np.interp(grid_s, seen["time_s"], seen[name])
    path, columns = tmp_path / "phone.csv", tmp_path / "map.toml"
    table.to_csv(path, index=False)
    sensors = "".join(
        f"[{place}]\n"
        f'accel = ["{place}_accel_x", "{place}_accel_y", "{place}_accel_z"]\naccel_unit = "m/s^2"\n'
        f'gyro = ["{place}_gyro_x", "{place}_gyro_y", "{place}_gyro_z"]\ngyro_unit = "rad/s"\n'
        for place in Placement
    )
    columns.write_text('[time]\ncolumn = "time_s"\nunit = "s"\n' + sensors)
    said = Told(column_map=columns)
    kept = add_recording(store, path, ada, said)
    assert kept.recording.column_map == columns.read_text()
    # A store of an earlier version did not keep the map: it is noted when it is told again.
    store.set_column_map(kept.recording.recording_id, None)
    assert add_recording(store, path, ada, said).recording.column_map == columns.read_text()
    columns.unlink()
    assert set(drawn_again(store, kept.attempt_ids[0])["signals"]) == {*map(str, Placement)}
    written = list(export_bids(store, store.sessions(), tmp_path / "bids", lambda _: None))
    assert all(isinstance(each, Path) for each in written)


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
