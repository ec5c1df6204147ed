"""Stores of every released form open with all that is in them; newer and foreign ones do not."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, create_engine, event, text

from imujump.errors import ForeignStoreError, NewerStoreError
from imujump.model import Estimate, EventKind, GaitEvent, Side, TakeOffStyle
from imujump.sessions.migrating import migrate, settings
from imujump.sessions.opening import address
from imujump.sessions.records import Athlete, BodyMeasure, NoteKind, Standing, Task
from imujump.sessions.schema import HEAD, VERSION_TABLE, metadata
from imujump.sessions.store import open_store
from tests.sessions.invented import STARTED
from tests.sessions.server import fresh_schema

DATA_OF_STEP_1 = """
INSERT INTO athletes VALUES (7, 'Ada Bell', 'ada bell', 2001, 1.8, 0.93, 'left', '2020-05-06');
INSERT INTO body_measures VALUES (7, '2026-01-01', 69.0, 1.81);
INSERT INTO sessions VALUES (3, 7, '2026-03-03 17:00:00', 'Track', 'Spikes', 'hall', 'windy');
INSERT INTO recordings VALUES
  (5, 3, '{sha}', '/r/a.imujump', 'counted', '["2 jumps were found."]', '2026-03-03 17:00:00',
   120.0, '0.1.0', '2026-03-03 19:00:00');
INSERT INTO attempts VALUES
  (11, 5, 1, 'one_foot', '2026-03-03 17:00:20.500000', 21, NULL),
  (12, 5, 2, 'two_foot', '2026-03-03 17:00:50', 22, 'slipped');
INSERT INTO results VALUES
  (21, 11, '0.1.0', {no}, '2026-03-03 19:00:00', 15.0, 24.0, 20.5, 21.0, 'one_foot', 'left',
   {yes}, '[]'),
  (22, 12, '0.1.0', {no}, '2026-03-03 19:00:00', 45.0, 54.0, 50.0, 50.5, NULL, NULL, {no},
   '["no shank sensor"]');
INSERT INTO contacts VALUES
  (21, '[["foot_strike", "left", 20.25, 0.004]]',
   '[[-1, "left", 20.25, [1.75, 0.04, null, "path"], [0.4, 0.01, null, "events"],
     [null, null, "gap", "events"], [4.1, 0.05, null, "path"]]]'),
  (22, '[]', '[]');
INSERT INTO metrics VALUES
  ('flight_s', 21, 0.5624, 0.0103, NULL, 'events'),
  ('flight_s', 22, NULL, NULL, 'no shank sensor', 'events');
INSERT INTO notes VALUES (31, 3, 11, '2026-03-03 17:00:30', 'cue', 'hips low');
"""
"""Frozen: rows as the first step's tables took them. A newer step gets a text of its own."""

DATA_OF_STEP_2 = """
INSERT INTO athletes VALUES (7, 'Ada Bell', 'ada bell', 2001, 1.8, 0.93, 'left', '2020-05-06');
INSERT INTO body_measures VALUES (7, '2026-01-01', 69.0, 1.81);
INSERT INTO sessions VALUES
  (3, 7, '2026-03-03 17:00:00', 'Track', 'Spikes', 'hall', 'windy', '');
INSERT INTO recordings VALUES
  (5, 3, '{sha}', '/r/a.imujump', 'counted', '["2 jumps were found."]', '2026-03-03 17:00:00',
   120.0, '0.1.0', '2026-03-03 19:00:00');
INSERT INTO attempts VALUES
  (11, 5, 1, 'one_foot', '2026-03-03 17:00:20.500000', 21),
  (12, 5, 2, 'two_foot', '2026-03-03 17:00:50', 22);
INSERT INTO results VALUES
  (21, 11, '0.1.0', {no}, '2026-03-03 19:00:00', 15.0, 24.0, 20.5, 21.0, 'one_foot', 'left',
   {yes}, '[]'),
  (22, 12, '0.1.0', {no}, '2026-03-03 19:00:00', 45.0, 54.0, 50.0, 50.5, NULL, NULL, {no},
   '["no shank sensor"]');
INSERT INTO contacts VALUES
  (21, '[["foot_strike", "left", 20.25, 0.004]]',
   '[[-1, "left", 20.25, [1.75, 0.04, null, "path"], [0.4, 0.01, null, "events"],
     [null, null, "gap", "events"], [4.1, 0.05, null, "path"]]]'),
  (22, '[]', '[]');
INSERT INTO metrics VALUES
  ('flight_s', 21, 0.5624, 0.0103, NULL, 'events'),
  ('flight_s', 22, NULL, NULL, 'no shank sensor', 'events');
INSERT INTO invalid_marks VALUES
  (41, 12, 'out', '2026-03-03 17:00:52', '2026-03-03 17:00:53'),
  (42, 12, 'slipped', '2026-03-03 17:00:54', NULL);
INSERT INTO notes VALUES
  (31, 3, 11, '2026-03-03 17:00:30', 'cue', 'hips low', NULL),
  (32, 3, 11, '2026-03-03 17:00:31', 'cue', 'taken back', '2026-03-03 17:00:33');
"""
"""Frozen: rows as the second step's tables took them."""

STEPS = {"0001": DATA_OF_STEP_1, "0002": DATA_OF_STEP_2}
"""What was in a store of each released step; every step but the newest must stand here."""


@contextmanager
def plain(place: str) -> Iterator[Connection]:
    """A connection that knows nothing of the store."""
    engine = create_engine(address(place))
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", lambda raw, _: setattr(raw, "isolation_level", None))
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN"))
    with engine.begin() as connection:
        yield connection
    engine.dispose()


def old_store(place: str, step: str) -> None:
    """Make a store of a step with its rows."""
    with plain(place) as connection:
        migrate(connection, step)
        words = ("1", "0")
        if connection.dialect.name == "postgresql":
            words = ("true", "false")
            connection.execute(text("SET TIME ZONE 'UTC'"))
        rows = STEPS[step].format(sha="a" * 64, yes=words[0], no=words[1])
        for statement in rows.split(";\n"):
            if statement.strip():
                # Texts hold colons, which are no parameters.
                connection.exec_driver_sql(statement)


def revisions() -> list[str]:
    return [r.revision for r in ScriptDirectory.from_config(settings()).walk_revisions()][::-1]


def test_the_newest_step_is_the_last_and_every_other_is_tested():
    assert revisions()[-1] == HEAD
    assert set(revisions()) - {HEAD} == set(STEPS)


def test_migrations_lead_to_the_tables_that_the_program_uses(new_place):
    open_store(new_place).close()
    with plain(new_place) as connection:
        context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE})
        assert compare_metadata(context, metadata) == []


@pytest.mark.parametrize("step", sorted(STEPS))
def test_a_store_of_an_older_step_opens_with_all_that_is_in_it(new_place, step):
    old_store(new_place, step)
    with open_store(new_place) as store:
        assert store.athletes() == [
            Athlete(7, "Ada Bell", 2001, 1.8, 0.93, Side.LEFT, date(2020, 5, 6))
        ]
        assert store.body_measures(7) == [BodyMeasure(date(2026, 1, 1), 69.0, 1.81)]
        (overview,) = store.sessions()
        assert (overview.attempts, overview.counted, overview.waiting) == (2, 1, 0)
        session = overview.session
        assert session.started_utc == STARTED
        assert (session.surface, session.shoe, session.place) == ("Track", "Spikes", "hall")
        assert (session.note, session.mounting) == ("windy", "")
        (recording,) = store.recordings(3)
        assert (recording.sha256, recording.path) == ("a" * 64, "/r/a.imujump")
        assert recording.standing is Standing.COUNTED
        assert recording.remarks == ("2 jumps were found.",)
        assert recording.column_map is None
        one, two = store.attempts(3)
        assert (one.attempt_id, one.task, one.style) == (11, Task.ONE_FOOT, TakeOffStyle.ONE_FOOT)
        assert one.taken_utc == STARTED + timedelta(seconds=20.5)
        assert one.metrics == {"flight_s": Estimate(0.5624, 0.0103, None, "events")}
        assert one.events == (GaitEvent(EventKind.FOOT_STRIKE, Side.LEFT, 20.25, 0.004),)
        assert one.steps[0].contact_s == Estimate(None, None, "gap", "events")
        assert (two.invalid_mark, two.valid, two.reasons) == (
            "slipped",
            False,
            ("no shank sensor",),
        )
        assert two.metrics["flight_s"].reason == "no shank sensor"
        (note,) = store.notes(3)
        assert (note.attempt_id, note.kind, note.text) == (11, NoteKind.CUE, "hips low")
        # It goes on like any other.
        assert store.withdraw_mark(12).invalid_mark is None
        assert (one.first_task, store.set_task(11, Task.STANDING).first_task) == (
            None,
            Task.ONE_FOOT,
        )
        assert store.set_column_map(5, "x").column_map == "x"
        assert store.add_athlete("Bea").athlete_id != 7


def test_a_step_back_keeps_what_the_older_form_can_keep(tmp_path):
    place = str(tmp_path / "a.sqlite")
    old_store(place, "0001")
    with open_store(place) as store:
        store.set_task(12, Task.STANDING)
    from alembic import command

    with plain(place) as connection:
        command.downgrade(settings(connection), "0001")
    with sqlite3.connect(place) as database:
        marks = database.execute("SELECT attempt_id, invalid_mark FROM attempts").fetchall()
        assert marks == [(11, None), (12, "slipped")]
    database.close()
    with open_store(place) as store:
        assert store.attempt(12).invalid_mark == "slipped"
        assert store.attempt(12).task is Task.STANDING


def test_an_upgrade_that_fails_leaves_the_old_store_as_it_was(tmp_path):
    place = str(tmp_path / "a.sqlite")
    old_store(place, "0001")
    with sqlite3.connect(place) as database:
        database.execute("CREATE TABLE invalid_marks (x)")  # in the upgrade's way
    database.close()
    with pytest.raises(Exception, match="invalid_marks"):
        open_store(place)
    with sqlite3.connect(place) as database:
        database.execute("DROP TABLE invalid_marks")
    database.close()
    with open_store(place) as store:
        assert len(store.attempts(3)) == 2


def test_a_newer_store_is_refused_with_a_sentence_and_left_alone(new_place):
    place = new_place
    open_store(place).close()
    with plain(place) as connection:
        connection.execute(text(f"UPDATE {VERSION_TABLE} SET version_num = '0042'"))
    with pytest.raises(NewerStoreError, match=r"newer version.*install the newest imujump\.$"):
        open_store(place)
    with plain(place) as connection:
        told = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar()
        assert told == "0042"


def test_a_server_database_with_other_tables_is_left_alone(server):
    place = fresh_schema(server)
    with plain(place) as connection:
        connection.execute(text("CREATE TABLE athletes (x integer)"))
    with pytest.raises(ForeignStoreError, match="something else"):
        open_store(place)
