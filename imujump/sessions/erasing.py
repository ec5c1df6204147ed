"""Erases a person, and the traces that a database leaves of what was deleted."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

from sqlalchemy import Connection, Engine, MetaData, delete, func, select, text
from sqlalchemy.exc import DBAPIError

from imujump.sessions.records import Erased
from imujump.sessions.schema import (
    athletes,
    attempts,
    body_measures,
    metadata,
    notes,
    recordings,
    sessions,
)

WAIT_MS = 500
"""How long to wait for other programs before traces are told, ms (own choice)."""


def erase(connection: Connection, athlete_id: int) -> Erased | None:
    """Delete all that is kept of a person; ``None`` if nothing is."""
    name = connection.execute(
        select(athletes.c.name).where(athletes.c.athlete_id == athlete_id)
    ).scalar()
    if name is None:
        return None
    mine = sessions.c.athlete_id == athlete_id
    paths = connection.execute(
        select(recordings.c.path).join(sessions).where(mine).order_by(recordings.c.recording_id)
    ).scalars()
    sources = (
        (sessions, mine),
        (sessions.join(recordings).join(attempts), mine),
        (sessions.join(notes), mine),
        (body_measures, body_measures.c.athlete_id == athlete_id),
    )
    counted = [
        connection.execute(select(func.count()).select_from(source).where(whose)).scalar_one()
        for source, whose in sources
    ]
    told = Erased(name, counted[0], counted[1], counted[2], counted[3], tuple(paths))
    connection.execute(delete(athletes).where(athletes.c.athlete_id == athlete_id))
    return told


def overwrite(engine: Engine) -> tuple[str, ...]:
    """Overwrite the room of what was deleted; returns what could not be, in sentences."""
    if engine.dialect.name == "sqlite":
        return _overwrite_file(engine)
    return _overwrite_server(engine)


def _overwrite_file(engine: Engine) -> tuple[str, ...]:
    # Every connection of ours must let go of what it reads.
    engine.dispose()
    busy = (
        "Another program has the store open, so its file may hold traces until you close that "
        "program and erase or add something again.",
    )
    raw = engine.raw_connection()
    try:
        database = raw.driver_connection
        assert isinstance(database, sqlite3.Connection)
        try:
            database.execute(f"PRAGMA busy_timeout = {WAIT_MS}")
            database.execute("VACUUM")
            held = database.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        except sqlite3.Error as error:
            if getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_BUSY:
                return busy
            return (f"The room of what was deleted could not be overwritten: {error}.",)
    finally:
        raw.close()
        engine.dispose()  # others wait longer than this connection does
    return busy if held else ()


def _overwrite_server(engine: Engine) -> tuple[str, ...]:
    tables = ", ".join(metadata.tables)
    try:
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text(f"VACUUM (FULL) {tables}"))
    except DBAPIError as error:
        return (f"The server did not overwrite the room of what was deleted: {error.orig}.",)
    return ("The server's own journal and its copies are not reached from here.",)


def with_left(told: Erased, left: tuple[str, ...]) -> Erased:
    """Add what could not be erased."""
    return replace(told, left=(*told.left, *left))


def row_counts(connection: Connection, tables: MetaData) -> dict[str, int]:
    """Count the rows of every table."""
    return {
        name: connection.execute(select(func.count()).select_from(table)).scalar_one()
        for name, table in tables.tables.items()
    }
