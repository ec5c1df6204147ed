"""Stores to test on: a file, and a schema of a real server."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from imujump.sessions.schema import metadata
from imujump.sessions.store import SessionStore, open_store
from tests.sessions.server import fresh_schema, programs, running


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The address of a running PostgreSQL server."""
    binaries = programs()
    if binaries is None:
        pytest.skip("no PostgreSQL server is installed (Debian: apt install postgresql)")
    with running(binaries) as url:
        yield url


# Making the tables takes much longer than emptying or copying them.


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("empty") / "club.sqlite"
    open_store(path).close()
    return path


@pytest.fixture(scope="session")
def server_store(server: str) -> str:
    """The one store on the server; whoever uses it empties it first."""
    place = fresh_schema(server)
    open_store(place).close()
    return place


@pytest.fixture
def server_place(server_store: str) -> str:
    """A store on the server without anything in it."""
    with psycopg.connect(server_store, autocommit=True) as connection:
        tables = ", ".join(metadata.tables)
        connection.execute(f"TRUNCATE {tables} RESTART IDENTITY CASCADE")
    return server_store


@pytest.fixture(params=["file", "server"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A store without anything in it: first a file, then on a server."""
    if request.param == "file":
        path = tmp_path / "club.sqlite"
        shutil.copy(request.getfixturevalue("empty_file"), path)
        return str(path)
    return str(request.getfixturevalue("server_place"))


@pytest.fixture(params=["file", "server"])
def new_place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a store may be made: first a file, then on a server."""
    if request.param == "file":
        return str(tmp_path / "club.sqlite")
    return fresh_schema(request.getfixturevalue("server"))


@pytest.fixture
def store(place: str) -> Iterator[SessionStore]:
    with open_store(place) as opened:
        yield opened


@pytest.fixture
def file_store(empty_file: Path, tmp_path: Path) -> Iterator[SessionStore]:
    """A store in a file only, where the database makes no difference."""
    path = tmp_path / "club.sqlite"
    shutil.copy(empty_file, path)
    with open_store(path) as opened:
        yield opened
