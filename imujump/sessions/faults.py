"""What a database complains of, as errors that say what to do."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator

from sqlalchemy import exc

from imujump.errors import (
    ForeignStoreError,
    StoreBusyError,
    StoreError,
    StoreFullError,
    StoreUnreachableError,
)

_SQLITE: dict[int, tuple[type[StoreError], str, str]] = {
    sqlite3.SQLITE_FULL: (
        StoreFullError,
        "there is no room left to write",
        "make room on the disk and try again, what was stored before is safe",
    ),
    sqlite3.SQLITE_IOERR: (
        StoreFullError,
        "the disk does not take or give the data",
        "check that it is there and has room, what was stored before is safe",
    ),
    sqlite3.SQLITE_NOTADB: (
        ForeignStoreError,
        "this is no database",
        "name another file, or none for your own store",
    ),
    sqlite3.SQLITE_CORRUPT: (
        ForeignStoreError,
        "the database is damaged",
        "put back a copy of it, or name another file",
    ),
    sqlite3.SQLITE_BUSY: (
        StoreBusyError,
        "another program has been writing to it for too long",
        "wait until it has ended and try again",
    ),
    sqlite3.SQLITE_READONLY: (
        StoreUnreachableError,
        "it may be read but not written",
        "change who may write the file and its folder",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        StoreUnreachableError,
        "the file cannot be opened",
        "check the folder and who may write there",
    ),
}

_SERVER: tuple[tuple[str, type[StoreError], str, str], ...] = (
    (
        "53100",
        StoreFullError,
        "the server's disk is full",
        "make room there and try again, what was stored before is safe",
    ),
    (
        "53",
        StoreBusyError,
        "the server has no connection or memory to spare",
        "try again later",
    ),
    ("55P03", StoreBusyError, "another program holds it", "wait and try again"),
    ("57014", StoreBusyError, "the server took too long", "try again later"),
    (
        "57",
        StoreUnreachableError,
        "the server is shutting down",
        "try again when it runs",
    ),
    (
        "3D",
        StoreUnreachableError,
        "the server has no database of that name",
        "make an empty one there, or correct the address",
    ),
    ("42501", StoreUnreachableError, "the user may not do this there", "ask who runs the server"),
    (
        "25006",
        StoreUnreachableError,
        "the server only lets read",
        "ask who runs the server for an address that may be written",
    ),
)

_GONE = ("it refers to something that is no longer there", "look at the list again")
_ALREADY = ("another program stored the same at this moment", "try again")
_UNREACHABLE = (
    "no server lets us in there",
    "check that it runs, and the address, user and password",
)


@contextlib.contextmanager
def told_for(place: str) -> Iterator[None]:
    """Turn a database's errors into :class:`imujump.errors.StoreError`, others pass."""
    try:
        yield
    except exc.DBAPIError as error:
        raise told(place, error.orig, error) from error
    except sqlite3.Error as error:
        raise told(place, error, error) from error


def told(place: str, cause: BaseException | None, error: Exception) -> Exception:
    """Return the error to raise; the one given if it is a fault of the program."""
    if isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", None)
        if code in (sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY,):
            return StoreError(place, *_GONE)
        if code in (sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY):
            return StoreError(place, *_ALREADY)
        known = _SQLITE.get((code or 0) & 0xFF)
        if known is None:
            return error
        kind, problem, remedy = known
        return kind(place, problem, remedy)
    state = getattr(cause, "sqlstate", None)
    if state == "23503":
        return StoreError(place, *_GONE)
    if state == "23505":
        return StoreError(place, *_ALREADY)
    for begin, kind, problem, remedy in _SERVER:
        if state is not None and state.startswith(begin):
            return kind(place, problem, remedy)
    if isinstance(error, exc.OperationalError):
        return StoreUnreachableError(place, *_UNREACHABLE)
    return error
