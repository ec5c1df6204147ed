"""Emulated sensors over the Bluetooth rig, from setup to result; then things are killed."""

from __future__ import annotations

import contextlib
import os
import signal
import time
from collections.abc import Iterator
from typing import Any

import pytest

from dashboard import wording
from imujump.sessions.store import open_store
from tests.dashboard.serving import Server, Tab

LATEST_S = 5.0
"""Latest time from landing to the number."""


@pytest.fixture(scope="module")
def tab(browser: Any, rig: Server) -> Iterator[Tab]:
    opened = Tab(browser, "laptop")
    yield opened
    opened.close()


def test_sensors_are_connected_and_checked(tab: Tab, rig: Server) -> None:
    tab.page.goto(f"{rig.url}/setup")
    tab.wait_text("#setup-viewers", "controls")
    # Tests of other pages may have looked at this server before.
    tab.page.click("#setup-devices [data-act=take_control]")
    tab.wait_text("#setup-viewers", "This one controls")
    tab.page.click("summary:has-text('Add an athlete')")
    tab.page.fill("#setup-name", "Safi Onwell")
    tab.page.click("#setup-add")
    tab.wait("() => imujump.page.setup.athlete === 'Safi Onwell'")
    tab.page.select_option("#setup-source", "emulated")
    tab.wait("() => imujump.page.setup.source === 'emulated'")
    tab.page.click("#setup-connect")
    tab.wait_text("#setup-phase", "Connected", 40.0)
    tab.page.click("#setup-check-begin")
    tab.wait_text("#setup-check", "Checking")
    tab.wait("() => imujump.live.nowS > 2.5")
    tab.page.click("#setup-check-end")
    tab.wait("() => document.querySelectorAll('.judged').length === 3")
    assert "Left shank" in tab.text("#setup-check")
    tab.page.click("#setup-start")
    tab.page.wait_for_url(f"{rig.url}/")


def test_the_result_comes_before_the_walk_back(tab: Tab) -> None:
    # The first attempt of a session may have to wait until the sensors' clocks are known.
    tab.wait("() => imujump.page && imujump.page.court.attempt_count >= 1", 30.0)
    seen = tab.page.evaluate("imujump.page.court.attempt_count")
    assert seen < 3, "too slow a computer: the attempts are over"
    tab.page.wait_for_function(
        "n => imujump.page.court.attempt_count > n", arg=seen, timeout=20_000, polling=50
    )
    # First what is not final, then, when the athlete has stood, what is.
    assert not tab.page.evaluate("imujump.page.court.final")
    assert "not final" in tab.text("#court-large-label")
    first = tab.page.evaluate("imujump.page.court.numbers.large")
    tab.wait("() => imujump.page.court.final")
    late_s = tab.page.evaluate("imujump.live.nowS - imujump.page.court.latest.landing_s")
    assert 0.0 < late_s < LATEST_S
    last = tab.page.evaluate("imujump.page.court.numbers.large")
    assert abs(last["value"] - first["value"]) < 3.0 * last["sigma"]


def test_the_server_is_killed_and_the_capture_goes_on(tab: Tab, rig: Server) -> None:
    tab.wait("() => imujump.up")
    capture = rig.capture_process()
    rig.kill()
    tab.wait_text("#shell-messages", "Connection lost")
    os.kill(capture, 0)
    rig.start()
    tab.wait("() => imujump.up", 20.0)
    tab.wait_text("#shell-link", "Live", 20.0)
    tab.wait_text("#shell-athlete", "Safi Onwell")
    assert rig.capture_process() == capture
    # What was jumped meanwhile is not missed.
    tab.wait_text("#shell-attempt", "Attempt 3", 40.0)


def test_a_capture_that_died_is_told_and_can_be_started_again(tab: Tab, rig: Server) -> None:
    capture = rig.capture_process()
    os.kill(capture, signal.SIGKILL)
    tab.wait_text("#shell-messages", "The capture has stopped")
    assert tab.page.is_visible("#shell-messages [data-act=restart]")
    # What had been recorded is there and opens.
    recordings = sorted(rig.folder.glob("*.imujump"))
    assert len(recordings) == 1
    tab.wait_text("#shell-messages", "Kept for Safi Onwell: ", 30.0)
    with open_store(rig.store) as store:
        athlete = store.find_athlete("Safi Onwell")
        assert athlete is not None
        (overview,) = store.sessions(athlete.athlete_id)
    assert overview.session.surface == wording.SURFACES[0]
    assert overview.attempts >= 2
    tab.page.click("#shell-messages [data-act=restart]")
    tab.wait_text("#shell-link", "Live", 40.0)
    assert len(list(rig.folder.glob("*.imujump"))) == 2
    assert rig.capture_process() != capture


def test_stopping_the_server_ends_the_capture_in_good_order(tab: Tab, rig: Server) -> None:
    capture = rig.capture_process()
    rig.stop()
    until_s = time.monotonic() + 5.0
    with contextlib.suppress(ProcessLookupError):
        while time.monotonic() < until_s:
            os.kill(capture, 0)
            time.sleep(0.1)
        raise AssertionError("the capture still runs")
    newest = max(rig.folder.glob("*.imujump"), key=lambda path: path.stat().st_mtime)
    assert not newest.with_name(newest.name + "-wal").exists(), "closed to a single file"
    assert "Traceback" not in rig.said.read_text()
