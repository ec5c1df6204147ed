"""The command from end to end with a tiny club, its pages served by a program of their own."""

from __future__ import annotations

import contextlib
import json
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from imujump import cli
from imujump.demo import club, filling, pages
from imujump.demo.place import STORE_NAME, TRUTH_NAME
from imujump.errors import StoreError
from imujump.sessions.opening import STORE_VARIABLE
from imujump.sessions.store import open_store
from tests.demo.tiny import SEED, tiny_plan


@pytest.fixture
def tiny(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Path]:
    """The user's own store, which must stay as it is; the club is tiny and made in this process."""
    own = tmp_path / "own" / "sessions.sqlite"
    with open_store(own) as store:
        store.add_athlete("Ada Bell")
    monkeypatch.setenv(STORE_VARIABLE, str(own))
    monkeypatch.setattr(club, "CLUB_PLAN", (tiny_plan(attempts=1),))
    monkeypatch.setattr(club, "SEED", SEED)
    monkeypatch.setattr(filling, "_cores", lambda: 1)
    before = own.read_bytes()
    yield own
    assert own.read_bytes() == before
    with open_store(own) as store:
        assert [athlete.name for athlete in store.athletes()] == ["Ada Bell"]


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Addresses that a browser was told to open; nothing is served."""
    told: list[str] = []

    class Ended:
        def wait(self) -> int:
            return 0

    @contextlib.contextmanager
    def not_served(_folder: Path, store: Path) -> Iterator[tuple[str, Ended]]:
        assert store.is_file()
        yield "http://127.0.0.1:1", Ended()

    monkeypatch.setattr(pages, "serving", not_served)
    monkeypatch.setattr(pages.webbrowser, "open", lambda address: bool(told.append(address)))
    return told


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli.main, ["demo", *arguments])


def test_it_is_made_once_shown_each_time_and_made_anew_when_asked(tiny, opened, tmp_path) -> None:
    folder = tmp_path / "club"
    done = run("--folder", str(folder))
    assert done.exit_code == 0, done.output
    assert "1 athletes, 2 sessions" in done.stdout
    assert str(folder / STORE_NAME) in done.stdout
    assert opened == ["http://127.0.0.1:1"]
    truth = json.loads((folder / TRUTH_NAME).read_text())
    assert truth["complete"] is True
    assert truth["athletes"][0]["trainings"][0]["tries"][0]["height_m"] > 0.2
    written = (folder / STORE_NAME).stat().st_mtime_ns

    again = run("--folder", str(folder), "--no-browser")
    assert again.exit_code == 0
    assert "sessions: this takes" not in again.stdout
    assert "http://127.0.0.1:1" in again.stdout
    assert len(opened) == 1
    assert (folder / STORE_NAME).stat().st_mtime_ns == written

    with open_store(folder / STORE_NAME) as store:
        store.add_athlete("Ada Bell")
    refused = run("--folder", str(folder), "--fresh")
    assert refused.exit_code == 1
    assert "also holds Ada Bell" in refused.stderr
    with open_store(folder / STORE_NAME) as store:
        store.erase_athlete(store.find_athlete("Ada Bell").athlete_id)
    fresh = run("--folder", str(folder), "--fresh", "--no-browser")
    assert fresh.exit_code == 0, fresh.output
    assert "1 athletes, 2 sessions" in fresh.stdout


def test_the_folder_of_the_users_store_is_refused(tiny, opened) -> None:
    done = run("--folder", str(tiny.parent))
    assert done.exit_code == 1
    assert "your own sessions are kept in it" in done.stderr
    assert opened == []
    assert [path.name for path in tiny.parent.iterdir()] == [tiny.name]


def test_pages_are_served_with_that_store_and_end_with_the_context(tmp_path) -> None:
    store = tmp_path / STORE_NAME
    open_store(store).close()
    with pages.serving(tmp_path, store) as (address, server):
        with urllib.request.urlopen(address, timeout=20) as answer:
            assert answer.status == 200
        assert server.poll() is None
    assert server.poll() is not None


def test_a_server_that_does_not_start_is_told(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(pages, "COURTSIDE", "taken")
    (tmp_path / "taken").write_text("this is no folder")
    with (
        pytest.raises(StoreError, match=r"could not be served; pages\.log in this folder"),
        pages.serving(tmp_path, tmp_path / STORE_NAME),
    ):
        pass
    assert b"taken" in (tmp_path / "pages.log").read_bytes()


def test_stopping_is_told_and_keeps_what_was_made(tiny, opened, tmp_path, monkeypatch) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(filling, "fill", stopped)
    done = run("--folder", str(tmp_path / "club"))
    assert done.exit_code == 1
    assert "What was made stays" in done.stderr
    assert json.loads((tmp_path / "club" / TRUTH_NAME).read_text())["complete"] is False
    assert opened == []
