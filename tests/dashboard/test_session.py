"""A session in a real browser: set up, three attempts, log, undo, reload, second viewer."""

from __future__ import annotations

import json
import os
import signal
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest
from axe_playwright_python.base import AXE_FILE_PATH

from dashboard.hub import IN_FLIGHT
from imujump.sessions.store import open_store
from tests.dashboard.browser import SIZES
from tests.dashboard.serving import Server, Tab
from tests.dashboard.three_jumps import HEIGHTS_M

SERIOUS = {"serious", "critical"}


@pytest.fixture(scope="module")
def tab(browser: Any, server: Server) -> Iterator[Tab]:
    opened = Tab(browser, "tablet", locale="de-DE")
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def watcher(browser: Any, server: Server) -> Iterator[Tab]:
    opened = Tab(browser, "phone", locale="fr-FR", color_scheme="dark")
    yield opened
    opened.close()


def assert_accessible(tab: Tab) -> None:
    """Nothing serious by axe-core (rules WCAG 2.x A, AA and best practice)."""
    if not tab.page.evaluate("'axe' in window"):
        # By the protocol and not by a script element, which the page's policy would refuse.
        tab.page.evaluate(AXE_FILE_PATH.read_text(encoding="utf-8") + "; 0")
    found = tab.page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    bad = [
        f"{each['id']}: {[node['html'] for node in each['nodes']][:3]}"
        for each in found["violations"]
        if each["impact"] in SERIOUS
    ]
    assert len(found["passes"]) > 10
    assert not bad, "\n".join(bad)


def log_lines(server: Server) -> list[dict[str, Any]]:
    (path,) = server.folder.glob("*.log.jsonl")
    return [json.loads(line) for line in path.read_text().splitlines()]


def test_set_up_and_start(tab: Tab, server: Server) -> None:
    tab.page.goto(f"{server.url}/setup")
    tab.wait_text("#setup-viewers", "This one controls")
    tab.page.click("#setup-start")
    tab.wait_text("#shell-messages", "Pick or add an athlete first")
    tab.page.click("summary:has-text('Add an athlete')")
    tab.page.fill("#setup-name", "Mira Tolland")
    tab.page.click("#setup-add")
    tab.wait("() => document.querySelector('#setup-athlete').value === 'Mira Tolland'")
    with open_store(server.store) as store:
        assert [athlete.name for athlete in store.athletes()] == ["Mira Tolland"]
    tab.page.select_option("#setup-source", "recording:three_jumps")
    tab.page.select_option("#setup-surface", "Sprung floor")
    tab.wait("() => imujump.page.setup.surface === 'Sprung floor'")
    tab.page.click("[data-act=sound]")
    tab.page.click("#setup-start")
    tab.page.wait_for_url(f"{server.url}/")
    tab.wait_text("#shell-link", "Live")
    tab.page.evaluate(
        """window.struck = []; imujump.onFoot.push(({kind, standing, number}) => {
        if (kind === 'foot_strike' && standing === 'early') struck.push(number); })"""
    )
    assert tab.text("#shell-athlete") == "Mira Tolland"


def test_steps_grow_while_the_athlete_runs(tab: Tab) -> None:
    tab.wait("() => Number(document.querySelector('#court-now')?.dataset.contacts) >= 1")
    counts = [tab.page.evaluate("document.querySelector('#court-now')?.dataset.contacts")]
    tab.wait("() => Number(document.querySelector('#court-now')?.dataset.contacts) >= 3")
    counts.append(tab.page.evaluate("document.querySelector('#court-now')?.dataset.contacts"))
    assert all(int(a) < int(b) for a, b in pairwise(counts))
    assert tab.page.get_attribute("#court-now", "data-follows") == "true"
    tab.wait(
        """() => document.querySelector('#court-now .step-speed.early')?.textContent[0] === '≈'
        && document.querySelector('#court-now-caption').textContent.includes('≈ not final')"""
    )


def test_the_number_stands_there_with_its_uncertainty(tab: Tab) -> None:
    tab.wait_text("#court-large-label", "attempt 1")
    tab.wait("() => imujump.page.court.final")
    assert tab.text("#court-large-value").count(",") == 1, "a German reader's decimal sign"
    assert tab.text("#court-large-sigma").startswith("± ")
    assert tab.page.locator("#court-small li").count() == 3
    # The measured speeds have taken the place of the early ones.
    tab.wait("() => document.querySelector('#court-now').dataset.follows === 'false'")
    assert tab.page.locator("#court-now .step-speed").count() > 0
    assert tab.page.locator("#court-now .step-speed.early").count() == 0


def test_the_rhythm_fills_its_card(tab: Tab) -> None:
    share = tab.page.evaluate(
        """document.querySelector('#court-now').clientWidth
        / document.querySelector('#court-rhythm').clientWidth"""
    )
    assert share > 0.93


def test_a_second_viewer_looks_on_and_does_not_control(
    tab: Tab, watcher: Tab, server: Server
) -> None:
    watcher.page.goto(server.url)
    watcher.wait_text("#shell-link", "looking on")
    watcher.wait("() => document.querySelector('#court-strip')?.width > 0")
    assert not watcher.page.is_visible("[data-text='Faster in']")
    refused = watcher.page.evaluate("imujump.act({do: 'cue', text: 'not mine'})")
    assert "Another device controls" in refused
    assert not any(line["text"] == "not mine" for line in log_lines(server))


def test_a_cue_and_what_was_seen_are_one_tap(tab: Tab, watcher: Tab, server: Server) -> None:
    tab.page.click("[data-text='Faster in']")
    tab.wait_text("#court-log-list", "Faster in")
    tab.page.click("[data-text='Arms late']")
    tab.page.fill("#court-words", "Ruhiger Kopf")
    tab.page.click("text=As seen")
    watcher.wait_text("#court-log-list", "Ruhiger Kopf")
    tab.wait("() => document.querySelector('#court-words').value === ''")
    # An attempt may end meanwhile and be logged between the taps.
    taps = [line for line in log_lines(server) if line["kind"] in ("cue", "seen")]
    told = [(line["kind"], line["text"]) for line in taps]
    assert told[-3:] == [("cue", "Faster in"), ("seen", "Arms late"), ("seen", "Ruhiger Kopf")]


IN_BACKGROUND = """
() => {
  window.frame = window.requestAnimationFrame;
  window.requestAnimationFrame = () => 0;
  Object.defineProperty(document, "hidden", {value: true, configurable: true});
  document.dispatchEvent(new Event("visibilitychange"));
  const parse = JSON.parse;
  window.heard = 0;
  JSON.parse = (text) => { window.heard += 1; return parse(text); };
}
"""
"""What a browser does to a tab that nobody sees; one without a screen does not do it by itself."""

IN_FRONT = """
() => {
  window.requestAnimationFrame = window.frame;
  delete document.hidden;
  document.dispatchEvent(new Event("visibilitychange"));
}
"""

WHEN_CAUGHT_UP = """
() => imujump.painters.push(() => {
  const newest = imujump.page.court.log[0];
  if (newest && newest.text === "Land softly") window.caughtUpAfter ??= window.heard;
})
"""


def test_a_tab_in_the_background_catches_up_without_a_queue(tab: Tab, watcher: Tab) -> None:
    watcher.page.evaluate(IN_BACKGROUND)
    tab.page.click("[data-text='Head up']")
    watcher.wait("() => imujump.page.court.log[0].text === 'Head up'")
    assert "Head up" not in watcher.page.text_content("#court-log-list"), "nothing is painted"
    watcher.page.evaluate(WHEN_CAUGHT_UP)
    # Then the browser lays it to sleep: none of its script runs.
    browser_line = watcher.context.new_cdp_session(watcher.page)
    browser_line.send("Debugger.enable")
    browser_line.send("Debugger.pause")
    tab.wait_text("#shell-attempt", "Attempt 3", 30.0)
    tab.page.click("[data-text='Land softly']")
    tab.wait_text("#court-log-list", "Land softly")
    heard = browser_line.send("Runtime.evaluate", {"expression": "window.heard"})
    browser_line.send("Debugger.resume")
    browser_line.send("Debugger.disable")
    watcher.page.evaluate(IN_FRONT)
    watcher.wait_text("#court-log-list", "Land softly")
    watcher.wait_text("#shell-attempt", "Attempt 3")
    # What had been under way when it fell asleep and the newest state; not all that happened.
    asleep = watcher.page.evaluate("window.caughtUpAfter") - heard["result"]["value"]
    assert 0 < asleep <= IN_FLIGHT + 4, asleep
    feet = "imujump.live.feet.size"
    watcher.wait(f"() => {feet} === {tab.page.evaluate(feet)}")


def test_setting_the_clock_moves_no_rest_and_no_age(tab: Tab) -> None:
    rest = "(() => imujump.nowS() - imujump.page.court.set.rest_from_s)()"
    before_s = tab.page.evaluate(rest)
    tab.page.evaluate(
        """() => {
          const later = Date.now() + 7 * 3600e3;
          window.Date = class extends Date {
            constructor(...given) { super(...(given.length ? given : [later])); }
            static now() { return later; }
          };
          imujump.repaint();
        }"""
    )
    assert before_s - 1.0 < tab.page.evaluate(rest) < before_s + 60.0
    shown = tab.text("#court-rest")
    assert int(shown.split(":")[0]) < 2, shown
    assert tab.page.evaluate("imujump.up")


def test_three_attempts_and_the_best_beneath(tab: Tab) -> None:
    tab.wait_text("#shell-attempt", "Attempt 3", 30.0)
    tab.wait_text("#court-other-caption", "Best before this one")
    assert "attempt 1" in tab.text("#court-other-caption"), HEIGHTS_M
    # Aligned: the take-off line stands at the same place in both pictures.
    lines = tab.page.eval_on_selector_all(
        ".take-off", "lines => lines.map(line => Number(line.getAttribute('x1')))"
    )
    assert len(lines) == 2
    assert lines[0] == pytest.approx(lines[1], abs=0.5)
    tab.page.select_option("#court-pick", "2")
    tab.wait_text("#court-other-caption", "Picked · attempt 2")
    # The one that lies above is no comparison; it becomes one when somebody runs.
    tab.page.select_option("#court-pick", "3")
    tab.wait("() => imujump.page.court.picked?.attempt === 3")
    tab.wait_text("#court-other-caption", "Best before this one · attempt 1")
    assert tab.page.input_value("#court-pick") == "3"
    tab.page.select_option("#court-pick", "")
    tab.wait("() => imujump.page.court.picked === null")


def test_each_strike_was_heard_once_while_it_happened(tab: Tab) -> None:
    """Sound was switched on at setup; a strike told again with its speed is not a new one."""
    strikes = len(set(tab.page.evaluate("window.struck")))
    assert strikes >= 3 * 4
    assert strikes == len(tab.page.evaluate("window.struck"))
    assert 0.7 * strikes <= tab.page.evaluate("imujump.sound.played") <= strikes


def test_an_attempt_is_not_counted_and_counted_again(tab: Tab, server: Server) -> None:
    before = log_lines(server)
    tab.page.click("[data-text='Off balance']")
    tab.wait_text("#court-set-count", "3 (2 count)")
    tab.wait_text("#court-large-doubt", "Not counted: Off balance.")
    tab.page.click("#court-undo")
    tab.wait("() => document.querySelector('#court-set-count').textContent === '3'")
    assert tab.page.evaluate("imujump.page.court.latest.invalid") is None
    after = log_lines(server)
    assert after[: len(before)] == before, "lines are only added"
    assert [line["kind"] for line in after[len(before) :]] == ["invalid", "undo"]


def test_the_result_is_said_to_a_screen_reader(tab: Tab) -> None:
    tab.wait_text("#court-said", "Attempt 3: Flight-time height")
    assert "Approach speed" in tab.page.text_content("#court-said")
    assert tab.page.get_attribute("#court-said", "aria-live") == "polite"
    label = tab.page.get_attribute("#court-now", "aria-label")
    assert "Step times in milliseconds" in label


def test_the_keyboard_reaches_and_does_everything(tab: Tab) -> None:
    tab.page.evaluate("document.activeElement.blur()")
    tab.page.focus("[data-act=theme]")
    tab.page.keyboard.press("Enter")
    assert tab.page.evaluate("document.documentElement.dataset.theme") == "dark"
    tab.page.keyboard.press("Enter")
    assert tab.page.evaluate("document.documentElement.dataset.theme") == "light"
    reached = tab.page.evaluate(
        """() => [...document.querySelectorAll('[data-act], select, input, a')]
        .filter(node => node.offsetParent && node.tabIndex < 0).length"""
    )
    assert reached == 0


def test_sound_plays_a_tone_for_each_strike_at_full_and_half_speed(tab: Tab) -> None:
    latest, beneath = (
        tab.page.evaluate(
            f"imujump.page.court.{which}.feet.filter(foot => foot.kind === 'foot_strike').length"
        )
        for which in ("latest", "best_before")
    )
    before = tab.page.evaluate("imujump.sound.played")
    tab.page.click("[data-act=hear]")
    assert tab.page.evaluate("imujump.sound.played") == before + latest
    full_s = tab.page.evaluate("imujump.sound.lasts")
    tab.page.click("[data-act=half_speed]")
    tab.page.click("[data-act=hear]")
    assert tab.page.evaluate("imujump.sound.lasts") == pytest.approx(2.0 * full_s)
    tab.page.click("[data-act=hear_beneath]")
    assert tab.page.evaluate("imujump.sound.played") == before + 2 * latest + beneath


def test_a_reload_brings_everything_back(tab: Tab) -> None:
    tab.page.reload()
    tab.wait_text("#shell-attempt", "Attempt 3")
    tab.wait_text("#court-log-list", "Faster in")
    tab.wait("() => imujump.page.controls")


def test_numbers_are_large_enough_to_read_from_five_metres(tab: Tab) -> None:
    """A 10.1-inch tablet is 217 mm wide; digits are 0.72 of the font's size high (DejaVu Sans,
    0.729). Normal sight resolves letters of 5 minutes of arc (ISO 8596: 1 minute a stroke)."""
    mm = 217.0 / 1280.0
    sizes = {
        selector: tab.page.evaluate(
            "s => parseFloat(getComputedStyle(document.querySelector(s)).fontSize)", selector
        )
        for selector in ("#court-large-value", "#court-small .value")
    }
    arc_min = {name: 0.72 * size * mm / 5000.0 * 3437.75 for name, size in sizes.items()}
    assert arc_min["#court-large-value"] > 3 * 5.0
    assert arc_min["#court-small .value"] > 5.0


@pytest.mark.parametrize("place", ["/", "/setup", "/pair"])
def test_every_page_is_accessible_and_whole(watcher: Tab, server: Server, place: str) -> None:
    """On phone and tablet, light and dark."""
    watcher.page.goto(server.url + place)
    if place != "/pair":
        watcher.wait("() => imujump.page && imujump.up")
    for size in ("tablet", "phone"):
        width, height = SIZES[size]
        watcher.page.set_viewport_size({"width": width, "height": height})
        for scheme in ("light", "dark"):
            watcher.page.emulate_media(color_scheme=scheme)
            assert_accessible(watcher)
        wide = watcher.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert wide <= 0


def test_control_is_taken_over(tab: Tab, watcher: Tab, server: Server) -> None:
    watcher.page.goto(server.url)
    watcher.page.click("#court-take-control")
    watcher.wait("() => imujump.page.controls")
    tab.wait("() => !imujump.page.controls")
    watcher.page.click("[data-text='Reach high']")
    tab.wait_text("#court-log-list", "Reach high")
    tab.page.click("#court-take-control")
    tab.wait("() => imujump.page.controls")


def test_a_lost_connection_is_told_and_caught_up(tab: Tab, server: Server) -> None:
    tab.context.set_offline(True)
    # An open socket outlives the browser's offline mode; the silence is what the page notices.
    os.kill(server.process.pid, signal.SIGSTOP)
    try:
        tab.wait_text("#shell-messages", "Connection lost", 15.0)
        assert "not done" in tab.page.evaluate("imujump.act({do: 'undo'})")
    finally:
        os.kill(server.process.pid, signal.SIGCONT)
        tab.context.set_offline(False)
    tab.wait("() => imujump.up", 15.0)
    tab.wait_text("#shell-attempt", "Attempt 3")
    tab.faults.clear()


def test_the_pages_ask_nobody_else(tab: Tab, watcher: Tab, server: Server) -> None:
    own = (server.url, server.url.replace("http", "ws"), "data:")
    asked = tab.asked + watcher.asked
    assert len(asked) > 20
    assert [url for url in asked if not url.startswith(own)] == []


def test_nothing_went_wrong_in_the_browser_or_the_server(
    tab: Tab, watcher: Tab, server: Server
) -> None:
    expected = ("ERR_INTERNET_DISCONNECTED", "WebSocket connection to", "ERR_CONNECTION")
    faults = [f for f in tab.faults + watcher.faults if not any(e in f for e in expected)]
    assert faults == []
    assert "Traceback" not in server.said.read_text()
