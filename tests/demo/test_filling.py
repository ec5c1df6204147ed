"""A tiny club goes the whole way: simulated, recorded, measured, added."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from imujump.demo import filling
from imujump.demo.filling import fill, ordered
from imujump.demo.place import STORE_NAME
from imujump.demo.staging import coach_log
from imujump.pipeline.engine import analyse
from imujump.recording.files import open_recording
from imujump.sessions.plain_text import path_of
from imujump.sessions.records import NoteKind, Standing, Task
from imujump.sessions.store import open_store
from tests.campaign import demo_club
from tests.demo.tiny import SEED, tiny_club


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tiny_club")
    fill(folder, tiny_club(), SEED, processes=1)
    return folder


def test_athlete_sessions_and_notes_are_as_planned(filled: Path) -> None:
    ((plan, trainings),) = tiny_club()
    with open_store(filled / STORE_NAME) as store:
        (athlete,) = store.athletes()
        assert athlete.name == plan.name
        assert athlete.guardian_consent_on is not None
        assert athlete.guardian_consent_on < trainings[0].started_utc.date()
        measures = store.body_measures(athlete.athlete_id)
        assert [measure.on for measure in measures] == [t.started_utc.date() for t in trainings]
        assert measures[1].stature_m - measures[0].stature_m == pytest.approx(0.045)
        newest, oldest = store.sessions(athlete.athlete_id)
        assert oldest.session.started_utc == trainings[0].started_utc
        assert oldest.session.surface == plan.surface
        # Three standing jumps and two run-ups in one session; the sent recording waits.
        assert (oldest.attempts, newest.attempts, newest.waiting) == (5, 2, 2)
        kinds = {note.kind for note in store.notes(oldest.session.session_id)}
        assert NoteKind.NEW_SET in kinds


def test_heights_are_those_of_the_truth(filled: Path) -> None:
    ((_, trainings),) = tiny_club()
    with open_store(filled / STORE_NAME) as store:
        sessions = sorted(store.sessions(), key=lambda each: each.session.started_utc)
        for overview, training in zip(sessions, trainings, strict=True):
            for recording in store.recordings(overview.session.session_id):
                attempts = store.attempts_of_recording(recording.recording_id)
                standing = attempts[0].task is Task.STANDING
                truths = (
                    training.standing_m if standing else [one.height_m for one in training.tries]
                )
                for attempt, true_m in zip(attempts, truths, strict=True):
                    height = attempt.metrics["height_flight_m"]
                    assert height.value == pytest.approx(true_m, abs=3.0 * height.sigma)
                    assert (attempt.metrics["approach_speed_mps"].value is None) is standing


def test_the_loose_sensor_is_noticed_and_the_sent_recording_waits(filled: Path) -> None:
    with open_store(filled / STORE_NAME) as store:
        by_time = sorted(store.sessions(), key=lambda each: each.session.started_utc)
        first, second = (store.recordings(each.session.session_id) for each in by_time)
        standing, run_ups = first
        assert not any("loose" in remark for remark in standing.remarks)
        assert any("Left shank" in r and "loose" in r for r in run_ups.remarks)
        assert [recording.standing for recording in second] == [Standing.WAITING]
        assert [recording.recording_id for recording in store.waiting()] == [second[0].recording_id]


def test_what_is_kept_is_what_the_pipeline_finds_in_the_file(filled: Path) -> None:
    with open_store(filled / STORE_NAME) as store:
        (recording,) = store.waiting()
        source = open_recording(path_of(recording.path))
        found = analyse(source)
        source.close()
        kept = store.attempts_of_recording(recording.recording_id)
        for attempt, told in zip(kept, found.attempts, strict=True):
            assert dict(attempt.metrics) == dict(told.metrics)
            assert attempt.events == told.events


def test_a_second_run_makes_nothing_again(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(filling, "make", None)
    with open_store(filled / STORE_NAME) as store:
        before = store.counts()
    fill(filled, tiny_club(), SEED, processes=1)
    with open_store(filled / STORE_NAME) as store:
        assert store.counts() == before


def test_two_processes_make_the_same_as_one(filled: Path, tmp_path: Path) -> None:
    fill(tmp_path, tiny_club(), SEED, processes=2)
    kept = []
    for folder in (filled, tmp_path):
        with open_store(folder / STORE_NAME) as store:
            (athlete,) = store.athletes()
            names = ("height_flight_m", "approach_speed_mps", "take_off_contact_s")
            kept.append(store.series(athlete.athlete_id, names))
    assert len(kept[0]) == 21
    # Processes may share out a sum of products differently: the last bits of a figure.
    pd.testing.assert_frame_equal(kept[0], kept[1], rtol=1e-6)
    for path in filled.rglob("*.imujump"):
        assert (tmp_path / path.relative_to(filled)).read_bytes() == path.read_bytes()


def test_a_run_that_was_stopped_is_finished(filled: Path, tmp_path: Path) -> None:
    ((plan, trainings),) = tiny_club(attempts=1)
    cut_off = ordered(tmp_path, tiny_club(attempts=1), SEED)[-1].folder
    cut_off.mkdir(parents=True)
    (cut_off / f"{trainings[-1].started_utc:%Y-%m-%d}.imujump").write_bytes(b"SQLite form")
    names: list[str] = []
    fill(tmp_path, [(plan, trainings[-1:])], SEED, processes=1, begun=names.append)
    assert names == [f"{plan.name} {trainings[-1].started_utc:%Y-%m-%d}"]
    with open_store(tmp_path / STORE_NAME) as store:
        assert [each.attempts for each in store.sessions()] == [1]


def test_the_log_names_the_cue_beside_its_attempt(tmp_path: Path) -> None:
    ((plan, trainings),) = tiny_club(attempts=3)
    jumps = [type("Jump", (), {"toe_off_s": 5.0 * n, "end_s": 5.0 * n + 2.0}) for n in (1, 2, 3)]
    motion = type("Motion", (), {"jumps": jumps})
    lines = [
        json.loads(line) for line in coach_log(plan, trainings[1], motion, trainings[1].started_utc)
    ]
    assert [(line["attempt"], line["text"]) for line in lines if line["kind"] == "cue"] == [
        (2, "Reach high")
    ]
    assert [line["number"] for line in lines] == list(range(1, len(lines) + 1))


def test_of_two_sessions_the_campaign_finds_nothing_and_says_so(filled: Path) -> None:
    with open_store(filled / STORE_NAME) as store:
        told = list(demo_club.lines(store, tiny_club()))
    assert {line.question for line in told} == {"trend", "standing", "growth"}
    assert not any(line.told for line in told)
    text = demo_club.table(told)
    assert "0 of 0 built-in changes" in text
    assert "too_few" in text
