"""Stores to test on: a file, and a database of a real server."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from imujump.sessions.store import SessionStore, open_store
from tests.sessions.server import fresh_database, programs, running


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The address of a running PostgreSQL server, with NAME where a database's name goes."""
    binaries = programs()
    if binaries is None:
        pytest.skip("no PostgreSQL server is installed (Debian: apt install postgresql)")
    with running(binaries) as url:
        yield url


# Making the tables takes much longer than copying them.


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("empty") / "club.sqlite"
    open_store(path).close()
    return path


@pytest.fixture(scope="session")
def empty_database(server: str) -> str:
    with psycopg.connect(server.replace("NAME", "postgres"), autocommit=True) as connection:
        connection.execute("CREATE DATABASE club_template")
    open_store(server.replace("NAME", "club_template")).close()
    return "club_template"


@pytest.fixture(params=["file", "server"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """A store without anything in it: first a file, then on a server."""
    if request.param == "file":
        path = tmp_path / "club.sqlite"
        shutil.copy(request.getfixturevalue("empty_file"), path)
        return str(path)
    like = request.getfixturevalue("empty_database")
    return fresh_database(request.getfixturevalue("server"), like)


@pytest.fixture(params=["file", "server"])
def new_place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a store may be made: first a file, then on a server."""
    if request.param == "file":
        return str(tmp_path / "club.sqlite")
    return fresh_database(request.getfixturevalue("server"))


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
