"""The demo club never comes near the user's own store, or anything else of the user's."""

from __future__ import annotations

from pathlib import Path

import pytest

from imujump.demo import place as places
from imujump.demo.place import STORE_NAME, TRUTH_NAME, clear, default_folder, prepared, strangers
from imujump.errors import StoreError
from imujump.sessions.opening import STORE_VARIABLE, default_place
from imujump.sessions.store import open_store

TRUTH = '{"ends_on": "2026-03-01", "complete": true, "athletes": [{"name": "Mira Tolland"}]}'


def test_the_usual_folder_is_not_that_of_the_users_store(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(STORE_VARIABLE, raising=False)
    own, demo = Path(default_place()), default_folder()
    assert not own.is_relative_to(demo)
    assert own != demo / STORE_NAME


@pytest.mark.parametrize("named", ["sessions.sqlite", STORE_NAME, "deeper/sessions.sqlite"])
def test_a_folder_with_the_users_store_is_refused(tmp_path, monkeypatch, named) -> None:
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / named))
    with pytest.raises(StoreError, match="your own sessions are kept in it"):
        prepared(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_also_if_a_demo_club_is_in_it(tmp_path, monkeypatch) -> None:
    (tmp_path / TRUTH_NAME).write_text(TRUTH)
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "sessions.sqlite"))
    with pytest.raises(StoreError, match="your own sessions"):
        prepared(tmp_path)
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / STORE_NAME))
    assert prepared(tmp_path) == tmp_path.resolve()


def test_a_folder_with_anything_else_is_refused(tmp_path, monkeypatch) -> None:
    monkeypatch.delenv(STORE_VARIABLE, raising=False)
    (tmp_path / "holiday.txt").write_text("mine")
    with pytest.raises(StoreError, match="something else than a demo club; name an empty folder"):
        prepared(tmp_path)
    with pytest.raises(StoreError, match="this is no folder"):
        prepared(tmp_path / "holiday.txt")
    assert prepared(tmp_path / "new" / "club").is_dir()


def test_only_the_club_itself_is_thrown_away(tmp_path) -> None:
    (tmp_path / TRUTH_NAME).write_text(TRUTH)
    (tmp_path / places.RECORDINGS / "Mira_Tolland").mkdir(parents=True)
    (tmp_path / STORE_NAME).write_bytes(b"")
    (tmp_path / "notes.txt").write_text("kept")
    clear(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_people_who_are_not_of_the_club_are_seen(tmp_path) -> None:
    assert strangers(tmp_path) == []
    (tmp_path / TRUTH_NAME).write_text(TRUTH)
    with open_store(tmp_path / STORE_NAME) as store:
        store.add_athlete("Mira Tolland")
        store.add_athlete("Ada Bell")
    assert strangers(tmp_path) == ["Ada Bell"]


def test_a_truth_that_is_none_is_told(tmp_path) -> None:
    (tmp_path / TRUTH_NAME).write_text("[1, 2]")
    with pytest.raises(StoreError, match="not the truth of a demo club"):
        places.told_truth(tmp_path)
