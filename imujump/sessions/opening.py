"""Finds, makes and checks the database: a file of one's own, or a club's server."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from pathlib import Path

from platformdirs import user_data_path
from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.exc import ArgumentError

from imujump.errors import ForeignStoreError, NewerStoreError, StoreUnreachableError
from imujump.sessions.faults import told_for
from imujump.sessions.schema import APPLICATION_ID, HEAD, VERSION_TABLE, metadata

STORE_NAME = "sessions.sqlite"
STORE_VARIABLE = "IMUJUMP_STORE"
"""Environment variable that names a store; a server's password need not be typed."""

WAIT_S = 20.0
"""How long a writer waits for another one (own choice: longer than any of our writes)."""

CONNECT_S = 10
"""How long to wait for a server (own choice)."""

_WRITER_LOCK = 0x494D4A53
"""Key of the lock under which one program after the other writes to a server."""

_NOT_OURS = "it holds something else than sessions of this program"


def default_place() -> str:
    """Return the store to use when none is named."""
    return os.environ.get(STORE_VARIABLE) or str(user_data_path("imujump") / STORE_NAME)


def address(place: str | Path) -> URL:
    """Return the database's address for a path or URL as typed.

    Raises
    ------
    StoreUnreachableError
        If it is neither a file nor a PostgreSQL server.
    """
    told = str(place)
    if "://" not in told:
        return URL.create("sqlite", database=str(Path(told).expanduser()))
    try:
        url = make_url(told)
    except ArgumentError as error:
        raise _unknown("this address") from error
    kind = url.drivername.split("+")[0]
    if kind in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    if kind == "sqlite" and url.database not in (None, "", ":memory:"):
        return url.set(drivername="sqlite")
    raise _unknown(url.render_as_string(hide_password=True))


def _unknown(shown: str) -> StoreUnreachableError:
    return StoreUnreachableError(
        shown,
        "this names no store",
        "name a file, or a server like postgresql://user@host/database",
    )


def place_of(url: URL) -> str:
    """Return the address as it may be shown: without a password."""
    if url.get_backend_name() == "sqlite":
        return url.database or ""
    shown = url.set(drivername="postgresql").render_as_string(hide_password=True)
    return shown.split("?")[0]  # a password may also stand among the options


def open_engine(url: URL) -> Engine:
    """Connect, make what is missing, bring an older database up to date.

    Raises
    ------
    StoreError
        If it is broken, foreign, newer than this program or out of reach.
    """
    place = place_of(url)
    if url.get_backend_name() == "sqlite":
        _make_room(Path(place), place)
        engine = create_engine(url, connect_args={"timeout": WAIT_S})
        event.listen(engine, "connect", _prepare_file)
    else:
        try:
            engine = create_engine(
                url, connect_args={"connect_timeout": CONNECT_S}, pool_pre_ping=True
            )
        except ModuleNotFoundError as error:
            raise StoreUnreachableError(
                place,
                "the part that talks to PostgreSQL is not installed",
                'install it with pip install "imujump[postgresql]"',
            ) from error
    event.listen(engine, "begin", _begin)
    try:
        with told_for(place):
            _ready(engine, place)
    except BaseException:
        engine.dispose()
        raise
    return engine


def writing(engine: Engine) -> Engine:
    """Return the same engine, whose transactions take the place of the only writer at once."""
    return engine.execution_options(imujump_writes=True)


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("imujump_writes", False)
    if connection.dialect.name == "sqlite":
        # A reader that turned into a writer would be refused, not made to wait.
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
    elif writes:
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITER_LOCK})")


def _prepare_file(raw: DBAPIConnection, _record: object) -> None:
    assert isinstance(raw, sqlite3.Connection)
    raw.isolation_level = None  # transactions begin where we say so, also before CREATE TABLE
    for pragma in ("foreign_keys = ON", "secure_delete = ON", "synchronous = FULL"):
        raw.execute(f"PRAGMA {pragma}")


def _make_room(path: Path, place: str) -> None:
    """Make the folder and an empty file that nobody else may read."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with contextlib.suppress(FileExistsError):
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    except OSError as error:
        problem = (error.strerror or str(error)).lower()
        raise StoreUnreachableError(
            place, problem, "check the folder and who may write there"
        ) from error
    if path.is_dir():
        raise StoreUnreachableError(place, "this is a folder", "name a file in it")


def _ready(engine: Engine, place: str) -> None:
    with engine.connect() as connection:
        if _version(connection, place) == HEAD:
            return
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert isinstance(raw, sqlite3.Connection)
            connection.rollback()
            raw.execute("PRAGMA journal_mode = WAL")
    with writing(engine).begin() as connection:
        version = _version(connection, place)  # another program may have been quicker
        if version == HEAD:
            return
        from imujump.sessions.migrating import migrate  # loading Alembic takes time

        migrate(connection, HEAD)
        if version is None and engine.dialect.name == "sqlite":
            connection.execute(text(f"PRAGMA application_id = {APPLICATION_ID}"))


def _version(connection: Connection, place: str) -> str | None:
    """Return the database's migration, ``None`` for an empty one; refuse what is not ours."""
    names = set(inspect(connection).get_table_names())
    if VERSION_TABLE not in names:
        foreign = names if connection.dialect.name == "sqlite" else names & set(metadata.tables)
        if foreign:
            raise ForeignStoreError(place, _NOT_OURS, "name another one, or none for your own")
        return None
    rows = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalars().all()
    version = rows[0] if len(rows) == 1 else ""
    if version.isdigit() and version > HEAD:
        raise NewerStoreError(
            place,
            f"a newer version of this program wrote it (step {version}, known here: {HEAD})",
            "install the newest imujump",
        )
    if not version.isdigit() or not set(metadata.tables) - {"invalid_marks"} <= names:
        raise ForeignStoreError(
            place, "parts of it are missing", "put back a copy of it, or name another one"
        )
    return version
