"""Pictures of every page at phone, tablet and laptop size, light and dark.

    python -m tests.dashboard.pictures FOLDER

A demo recording is replayed; after its third attempt the pictures are taken.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from imujump.attempt_again import measure_by_hand
from imujump.bookkeeping import Told, add_recording
from imujump.sessions.records import NoteKind
from imujump.sessions.store import open_store
from tests.dashboard.browser import SIZES, opened_browser
from tests.dashboard.serving import REPOSITORY, Server, Tab
from tests.sessions.kept_seasons import keep_season

PACE = "3"

REVIEW = (
    ("sessions", "/sessions", ".list"),
    ("session", "/session/1", ".attempts"),
    ("session_waiting", "/session/2", "#waiting"),
    ("attempt", "/attempt/1", "#attempt-figure[data-ready=true]"),
    ("attempts_compared", "/attempt/3?with=4", "#attempt-figure[data-ready=true]"),
    ("trends", "/trends?athlete={season}", ".graph .points path"),
    ("athlete", "/athlete/{season}", "#athlete-load svg"),
    ("athletes", "/athletes", "#athletes-add"),
)
"""Review pages: name of the picture, address, what is there when the page is."""

README_PICTURES = (
    ("courtside_tablet.png", "tablet", "light"),
    ("courtside_phone.png", "phone", "dark"),
)
README_REVIEW = ("trends_tablet.png", "tablet", "light", "trends")
"""Small ones for README, of courtside and of a review page; they lie in recordings_demo."""

SMALL = 0.6
"""Pixels of such a picture for each of the page's."""


def take(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="imujump-pictures-") as kept:
        own = Path(kept)
        server = Server(
            own / "court", REPOSITORY / "recordings_demo", "--pace", PACE, "--lan",
            "--address", "127.0.0.2",
        )  # fmt: skip
        server.start()
        try:
            with opened_browser(own / "profile") as browser:
                tab = Tab(browser, "tablet")
                tab.page.goto(f"{server.url}/setup")
                tab.wait_text("#setup-viewers", "This one controls")
                for name in ("Jonas Ebbe", "Mira Tolland"):
                    tab.page.evaluate("n => imujump.act({do: 'add_athlete', name: n})", name)
                tab.page.select_option("#setup-source", "recording:speed_ladder")
                tab.wait("() => imujump.page.setup.source.endsWith('speed_ladder')")
                tab.page.click("#setup-start")
                tab.page.wait_for_url(f"{server.url}/")
                drawn = "document.querySelector('#court-now')?.dataset.contacts"
                tab.wait(f"() => Number({drawn}) >= 5", 60)
                _shoot(tab, folder, "running")
                tab.wait_text("#shell-attempt", "Attempt 2", 60)
                tab.page.click("[data-text='Faster in']")
                tab.page.click("[data-text='Arms late']")
                tab.wait_text("#shell-attempt", "Attempt 3", 60)
                tab.wait("() => document.querySelector('#court-now').dataset.follows === 'false'")
                # The capture stands still, so that all pictures show the same.
                tab.page.evaluate("imujump.act({do: 'end'})")
                tab.wait_text("#shell-link", "Session ended")
                _shoot(tab, folder, "court")
                for name, size, scheme in README_PICTURES:
                    small = Tab(browser, size, device_scale_factor=SMALL, color_scheme=scheme)
                    small.page.goto(server.url)
                    small.wait_text("#shell-attempt", "Attempt")
                    small.page.click("#court-take-control")
                    small.page.wait_for_selector("[data-text='Faster in']")
                    small.page.evaluate("scrollTo(0, 0)")
                    time.sleep(0.6)
                    small.page.screenshot(path=folder / name)
                    small.close()
                tab.page.click("#court-take-control")
                tab.page.goto(f"{server.url}/setup")
                tab.wait_text("#setup-viewers", "This one controls")
                _shoot(tab, folder, "setup")
                season = _fill_store(server)
                for name, place, ready in REVIEW:
                    tab.page.goto(server.url + place.format(season=season))
                    tab.page.wait_for_selector(ready)
                    _shoot(tab, folder, name)
                file, size, scheme, name = README_REVIEW
                place, ready = next(each[1:] for each in REVIEW if each[0] == name)
                small = Tab(browser, size, device_scale_factor=SMALL, color_scheme=scheme)
                small.page.goto(server.url + place.format(season=season))
                small.page.wait_for_selector(ready)
                time.sleep(0.6)
                small.page.screenshot(path=folder / file)
                small.close()
                pair = Tab(browser, "phone")
                pair.page.goto(f"{server.url.replace('127.0.0.1', '127.0.0.2')}/pair")
                _shoot(pair, folder, "pair")
        finally:
            server.stop()


def _fill_store(server: Server) -> int:
    """A demo recording, one that waits, events set by hand; a season, whose athlete is returned."""
    demo = REPOSITORY / "recordings_demo"
    with open_store(server.store) as store:
        mira = (store.find_athlete("Mira Tolland") or store.add_athlete("Mira Tolland")).athlete_id
        words = {"surface": "Sports hall floor", "shoe": "Indoor shoes"}
        kept = add_recording(store, demo / "speed_ladder.imujump", mira, Told(words=words))
        store.add_note(kept.recording.session_id, NoteKind.CUE, "Faster in", kept.attempt_ids[0])
        store.mark_invalid(kept.attempt_ids[1], "Off balance")
        add_recording(store, demo / "one_foot.imujump", mira, Told(from_athlete=True))
        first = store.attempt(kept.attempt_ids[0])
        early = replace(first.events[0], time_s=first.events[0].time_s + 0.01)
        measure_by_hand(store, first.attempt_id, (early, *first.events[1:]))
        return keep_season(store, "Ada Bell", sessions=24, step_m=0.06, cue="Faster in")


def _shoot(tab: Tab, folder: Path, name: str) -> None:
    for scheme in ("light", "dark"):
        tab.page.emulate_media(color_scheme=scheme)
        for size, (width, height) in SIZES.items():
            if name == "running" and size != "tablet":
                continue
            tab.page.set_viewport_size({"width": width, "height": height})
            time.sleep(0.6)  # two repaints of the page
            whole = size == "phone" or name.startswith(("session", "attempt"))
            tab.page.screenshot(path=folder / f"{name}_{size}_{scheme}.png", full_page=whole)
    tab.page.emulate_media(color_scheme="light")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    take(Path(sys.argv[1]))
