"""Stores to test on: a file, and a schema of a real server."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from imujump.sessions.store import SessionStore, open_store
from tests.sessions.server import programs, running

_NUMBERS = itertools.count(1)


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The address of a running PostgreSQL server."""
    binaries = programs()
    if binaries is None:
        pytest.skip("no PostgreSQL server is installed (Debian: apt install postgresql)")
    with running(binaries) as url:
        yield url


def fresh_schema(server: str) -> str:
    """Make an empty schema on the server; returns an address that sees nothing else."""
    name = f"club_{next(_NUMBERS)}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {name}")
    return f"{server}&options=-csearch_path%3D{name}"


@pytest.fixture(params=["file", "server"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where an empty store may be made: first in a file, then on a server."""
    if request.param == "file":
        return str(tmp_path / "club.sqlite")
    return fresh_schema(request.getfixturevalue("server"))


@pytest.fixture
def store(place: str) -> Iterator[SessionStore]:
    with open_store(place) as opened:
        yield opened
