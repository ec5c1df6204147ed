"""Programs that write at once lose nothing; a full disk loses nothing that was stored."""

from __future__ import annotations

import contextlib
import multiprocessing
import sqlite3
from collections import Counter
from dataclasses import replace
from datetime import timedelta
from multiprocessing.queues import Queue
from multiprocessing.synchronize import Barrier
from pathlib import Path

import pytest

from imujump.errors import StoreFullError
from imujump.sessions.keeping import Gathered
from imujump.sessions.records import NoteKind
from imujump.sessions.store import open_store
from tests.sessions.invented import STARTED, a_session, content, keep, three_jumps

EACH = 10
"""Recordings, notes and marks that each of two writers adds."""

BOTH = "both add this one"


def write(place: str, who: int, start: Barrier, told: Queue[tuple[int, str]]) -> None:
    """Open the store and write, at the same time as another process does the same."""
    try:
        start.wait(60)
        with open_store(place) as store:
            with contextlib.suppress(ValueError):  # the other one was quicker
                store.add_athlete("Ada Bell")
            ada = store.find_athlete("Ada Bell")
            assert ada is not None
            for number in range(EACH):
                name = f"{who}-{number}" if number else BOTH
                gathered = Gathered(content(name), Path(name), three_jumps(), "1.0")
                kept = store.keep_recording(ada.athlete_id, gathered)
                session_id = kept.recording.session_id
                store.add_note(session_id, NoteKind.CUE, name, kept.attempt_ids[0])
                store.mark_invalid(kept.attempt_ids[1], name)
        told.put((who, "done"))
    except BaseException as error:
        told.put((who, repr(error)))
        raise


def test_two_processes_make_a_store_and_write_at_once_without_loss(new_place):
    can_fork = "forkserver" in multiprocessing.get_all_start_methods()
    context = multiprocessing.get_context("forkserver" if can_fork else "spawn")
    if can_fork:  # loads the package once for all processes
        context.set_forkserver_preload([__name__])
    start, told = context.Barrier(2), context.Queue()
    writers = [context.Process(target=write, args=(new_place, who, start, told)) for who in (1, 2)]
    for writer in writers:
        writer.start()
    answers = [told.get(timeout=120) for _ in writers]
    for writer in writers:
        writer.join(60)
    assert sorted(answers) == [(1, "done"), (2, "done")]
    with open_store(new_place) as store:
        counts = store.counts()
        recordings = 2 * EACH - 1
        assert counts["athletes"] == 1
        assert counts["recordings"] == recordings
        assert counts["attempts"] == counts["results"] == 3 * recordings
        assert counts["metrics"] == 90 * recordings
        # All were made at the same time: one session, though two processes looked for it at once.
        (overview,) = store.sessions()
        assert overview.attempts == 3 * recordings
        texts = Counter(note.text for note in store.notes(overview.session.session_id))
        assert texts.pop(BOTH) == 2
        assert texts == {f"{who}-{n}": 1 for who in (1, 2) for n in range(1, EACH)}
        marked = [a for a in store.attempts(overview.session.session_id) if a.invalid_mark]
        assert len(marked) == recordings


def test_a_full_disk_loses_nothing_that_was_stored(file_store):
    session = a_session(file_store)
    first = keep(file_store, session, "a")
    note = file_store.add_note(session.session_id, NoteKind.CUE, "hips low")

    def limit(raw: sqlite3.Connection, pages: int) -> None:
        raw.execute(f"PRAGMA max_page_count = {pages}")

    with file_store._engine.connect() as connection:
        raw = connection.connection.driver_connection
        pages = raw.execute("PRAGMA page_count").fetchone()[0]
        limit(raw, pages + 2)
    before = file_store.attempts(session.session_id)
    with pytest.raises(StoreFullError, match="safe"):  # noqa: PT012 - one of them is the last
        for number in range(50):
            keep(file_store, session, f"b{number}")
    with pytest.raises(StoreFullError, match="make room"):
        file_store.add_note(session.session_id, NoteKind.SEEN, "x" * 100_000)
    assert file_store.attempts_of_recording(first.recording.recording_id) == before
    assert file_store.notes(session.session_id) == [note]
    recordings = file_store.counts()["recordings"]
    # Whole or not at all: no recording stands without its attempts and figures.
    assert file_store.counts()["attempts"] == 3 * recordings
    assert file_store.counts()["metrics"] == 90 * recordings
    with file_store._engine.connect() as connection:
        limit(connection.connection.driver_connection, 1 << 30)
    later = keep(file_store, session, "later")
    assert later.is_new
    assert file_store.attempt(first.attempt_ids[0]) == before[0]
    with open_store(file_store.place) as again:
        assert again.attempts_of_recording(first.recording.recording_id) == before
        with again._engine.connect() as connection:
            told = connection.exec_driver_sql("PRAGMA integrity_check").scalar()
        assert told == "ok"


def test_recordings_of_one_training_make_one_session(file_store):
    ada = file_store.add_athlete("Ada")

    def add(name: str, after: timedelta, **words: str) -> int:
        analysis = replace(three_jumps(), started_utc=STARTED + after)
        gathered = Gathered(content(name), Path(name), analysis, "1.0", words=words)
        return file_store.keep_recording(ada.athlete_id, gathered).recording.session_id

    first = add("a", timedelta(0), shoe="Spikes")
    assert add("b", timedelta(hours=2), surface="Track", note="windy") == first
    assert add("c", timedelta(hours=4, minutes=30), note="rain") == first
    assert add("d", timedelta(hours=1), shoe="Flats") != first
    assert add("e", timedelta(hours=9)) != first
    assert add("f", timedelta(minutes=-10)) == first
    session = file_store.session(first)
    assert (session.surface, session.shoe, session.note) == ("Track", "Spikes", "windy\nrain")
    assert session.started_utc == STARTED - timedelta(minutes=10)
