"""What may be opened, and the sentences on what may not."""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import sys
from pathlib import Path

import pytest

from imujump.errors import ForeignStoreError, StoreBusyError, StoreError, StoreUnreachableError
from imujump.sessions import opening
from imujump.sessions.opening import address, default_place, place_of
from imujump.sessions.store import open_store

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo" / "one_foot.imujump"


def refused(kind: type[StoreError], place: str | Path) -> StoreError:
    with pytest.raises(kind) as error:
        open_store(place)
    text = str(error.value)
    assert text.endswith(".")
    assert "\n" not in text
    assert error.value.remedy in text
    return error.value


def test_the_folder_is_made_and_the_file_is_nobody_elses(tmp_path):
    path = tmp_path / "new" / "folder" / "club.sqlite"
    open_store(path).close()
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with open_store(f"sqlite:///{path}") as store:
        assert store.athletes() == []


def test_the_default_place_is_the_users_own_unless_the_environment_says_otherwise(monkeypatch):
    monkeypatch.delenv("IMUJUMP_STORE", raising=False)
    assert Path(default_place()).parent.name == "imujump"
    monkeypatch.setenv("IMUJUMP_STORE", "/somewhere/else.sqlite")
    assert default_place() == "/somewhere/else.sqlite"


@pytest.mark.parametrize("content", [b"no database", b"x" * 5000])
def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path, content):
    path = tmp_path / "notes.txt"
    path.write_bytes(content)
    refused(ForeignStoreError, path)
    assert path.read_bytes() == content


def test_a_recording_is_no_store(tmp_path):
    path = tmp_path / "one.imujump"
    shutil.copy(DEMO, path)
    before = path.read_bytes()
    assert "something else" in str(refused(ForeignStoreError, path))
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [path.name]


def test_a_damaged_store_is_told(tmp_path, empty_file):
    path = tmp_path / "club.sqlite"
    content = bytearray(empty_file.read_bytes())
    content[100:2000] = b"\xff" * 1900
    path.write_bytes(content)
    refused(ForeignStoreError, path)


def test_a_store_with_parts_missing_is_told(tmp_path, empty_file):
    path = tmp_path / "club.sqlite"
    shutil.copy(empty_file, path)
    with sqlite3.connect(path) as database:
        database.execute("DROP TABLE metrics")
    database.close()
    assert "missing" in str(refused(ForeignStoreError, path))


def test_places_that_cannot_be_are_told(tmp_path):
    (tmp_path / "file").write_text("")
    refused(StoreUnreachableError, tmp_path)
    refused(StoreUnreachableError, tmp_path / "file" / "club.sqlite")
    refused(StoreUnreachableError, "mysql://host/database")
    refused(StoreUnreachableError, "http://[broken")
    refused(StoreUnreachableError, "sqlite://")


def test_no_server_is_told_without_the_password(tmp_path):
    error = refused(
        StoreUnreachableError, f"postgresql://coach:secret7@/club?host={tmp_path}&password=secret7"
    )
    assert "secret7" not in str(error)
    assert "check that it runs" in error.remedy


def test_a_database_that_the_server_lacks_is_told(server):
    error = refused(StoreUnreachableError, server.replace("/postgres?", "/no_such_club?"))
    assert error.problem


def test_the_part_for_servers_may_be_missing(monkeypatch):
    monkeypatch.setitem(sys.modules, "psycopg", None)
    error = refused(StoreUnreachableError, "postgresql://coach@/club")
    assert "imujump[postgresql]" in error.remedy


def test_addresses_of_servers_in_all_their_spellings():
    for told in ("postgresql://a@b/c", "postgres://a@b/c", "postgresql+psycopg://a@b/c"):
        assert address(told).drivername == "postgresql+psycopg"
        assert place_of(address(told)) == "postgresql://a@b/c"
    assert place_of(address("postgresql://a:geheim@b/c")) == "postgresql://a:***@b/c"


def test_a_writer_that_never_ends_is_told(tmp_path, empty_file, monkeypatch):
    monkeypatch.setattr(opening, "WAIT_S", 0.05)
    path = tmp_path / "club.sqlite"
    shutil.copy(empty_file, path)
    other = sqlite3.connect(path, isolation_level=None)
    with open_store(path) as store:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreBusyError, match="another program"):
            store.add_athlete("Ada")
        assert store.athletes() == []  # reading goes on
        other.execute("ROLLBACK")
        store.add_athlete("Ada")
    other.close()
