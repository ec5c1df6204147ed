"""A person who is erased is gone: from every list, and from the file's bytes."""

from __future__ import annotations

from datetime import date

import psycopg
import pytest

from imujump.errors import NotKeptError
from imujump.sessions.records import BodyMeasure, NoteKind
from imujump.sessions.store import open_store
from tests.sessions.invented import a_session, keep

NAME = "Xanthippe Quillfeather"
WORDS = "unmistakable words of a note"


def fill(store):
    session = a_session(store, NAME, place="Quillfeather hall")
    kept = keep(store, session, "quillfeather")
    store.add_note(session.session_id, NoteKind.CUE, WORDS, kept.attempt_ids[0])
    store.mark_invalid(kept.attempt_ids[0], "unmistakable reason")
    store.add_body_measure(session.athlete_id, BodyMeasure(date(2026, 1, 1), 61.0))
    # A name that was corrected leaves its first spelling behind.
    store.change_athlete(session.athlete_id, name=NAME + " II")
    store.change_athlete(session.athlete_id, name=NAME)
    other = a_session(store, "Bea")
    keep(store, other, "b")
    return session, other


def test_all_that_is_kept_of_a_person_goes_and_nobody_elses(store):
    session, other = fill(store)
    others = store.attempts(other.session_id)
    told = store.erase_athlete(session.athlete_id)
    assert (told.name, told.sessions, told.attempts, told.notes) == (NAME, 1, 3, 1)
    assert told.body_measures == 1
    assert [path.endswith("quillfeather.imujump") for path in told.paths] == [True]
    assert [athlete.name for athlete in store.athletes()] == ["Bea"]
    assert store.attempts(other.session_id) == others
    assert store.counts() == {
        "athletes": 1,
        "body_measures": 0,
        "sessions": 1,
        "recordings": 1,
        "attempts": 3,
        "results": 3,
        "contacts": 3,
        "metrics": 90,
        "invalid_marks": 0,
        "notes": 0,
    }
    with pytest.raises(NotKeptError):
        store.erase_athlete(session.athlete_id)
    # A bookmark of the erased must never show somebody else.
    assert store.add_athlete("New").athlete_id > session.athlete_id


def test_nothing_of_the_person_is_left_in_the_files_bytes(file_store, tmp_path):
    session, _ = fill(file_store)

    def found() -> list[str]:
        return [
            path.name
            for path in tmp_path.iterdir()
            if b"uillfeather" in path.read_bytes() or b"unmistakable" in path.read_bytes()
        ]

    assert found()
    told = file_store.erase_athlete(session.athlete_id)
    assert told.left == ()
    assert found() == []
    file_store.close()
    assert found() == []


def test_traces_are_told_while_another_program_reads(file_store, tmp_path):
    session, _ = fill(file_store)
    with open_store(file_store.place) as other, other._read() as connection:
        connection.exec_driver_sql("SELECT count(*) FROM athletes").scalar()
        told = file_store.erase_athlete(session.athlete_id)
        assert "Another program has the store open" in told.left[0]
    assert file_store.find_athlete(NAME) is None


def test_the_servers_tables_are_written_anew(server_place):
    place = server_place
    with open_store(place) as store:
        session, _ = fill(store)
        with psycopg.connect(place) as connection:
            before = connection.execute("SELECT pg_relation_filepath('athletes')").fetchone()
        told = store.erase_athlete(session.athlete_id)
        assert told.left == ("The server's own journal and its copies are not reached from here.",)
        with psycopg.connect(place) as connection:
            after = connection.execute("SELECT pg_relation_filepath('athletes')").fetchone()
        assert before != after
