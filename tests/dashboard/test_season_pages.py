"""The trends and athlete pages in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from imujump.metric_course import HEIGHT
from imujump.sessions.records import BodyMeasure, Task
from imujump.sessions.store import SessionStore, open_store
from tests.dashboard.serving import Server, Tab
from tests.dashboard.test_session import assert_accessible
from tests.sessions.kept_seasons import BEGIN, keep_season, keep_session

HOSTILE = '<img src=x onerror="document.title=1"> {{7*7}}'


@pytest.fixture(scope="module")
def store(rig: Server) -> Iterator[SessionStore]:
    """Ada (1) has a season and a test, the other (2) a hostile name, shoe and cue."""
    with open_store(rig.store) as opened:
        ada = keep_season(opened, "Ada Bell", sessions=24, step_m=0.06, cue="Low into plant")
        keep_session(opened, ada, BEGIN, [{HEIGHT: h} for h in (0.40, 0.42)], task=Task.STANDING)
        opened.add_body_measure(ada, BodyMeasure(date(2026, 1, 8), 60.0))
        other = keep_season(opened, HOSTILE, sessions=7, cue=HOSTILE)
        for overview in opened.sessions(other)[:3]:
            opened.change_session(overview.session.session_id, shoe=HOSTILE)
        yield opened


@pytest.fixture(scope="module")
def tab(browser: Any, rig: Server, store: SessionStore) -> Iterator[Tab]:
    opened = Tab(browser, "laptop", locale="en-GB")
    yield opened
    opened.close()


def test_from_athletes_to_trends_to_a_session(tab: Tab, rig: Server) -> None:
    tab.page.goto(f"{rig.url}/athletes")
    tab.page.click(".list >> text=Ada Bell")
    tab.wait_text(".review h1", "Ada Bell")
    tab.page.click(".head >> text=Trends")
    tab.page.wait_for_url("**/trends?athlete=1")
    tab.wait_text(".answer.changed", "Flight-time height has changed: +")
    tab.page.wait_for_selector(".graph .points path")
    assert tab.page.locator(".graph .points path").count() == 24
    assert tab.page.locator(".graph .shapelayer path").count() == 4
    place = tab.page.locator(".graph .points path").first.bounding_box()
    assert place is not None
    at = place["x"] + place["width"] / 2, place["y"] + place["height"] / 2
    tab.page.mouse.move(at[0] + 1, at[1])
    tab.page.mouse.move(*at)
    tab.wait_text(".hoverlayer", "5 attempts")
    tab.page.mouse.click(*at)
    tab.page.wait_for_url("**/session/1")
    tab.page.go_back()
    tab.wait_text(".answer", "Flight-time height")


def test_choices_write_the_address_and_the_address_chooses(tab: Tab, rig: Server) -> None:
    tab.page.select_option("#trends-metric", label="Approach speed")
    tab.page.wait_for_url("**/trends?athlete=1&metric=approach_speed_mps")
    tab.wait_text(".answer", "Approach speed")
    tab.page.select_option("#trends-from", label="February 2026")
    tab.page.wait_for_url("**&from=2026-02-01")
    tab.wait("() => document.querySelectorAll('.graph .points path').length === 17")
    tab.page.reload()
    tab.wait("() => document.querySelectorAll('.graph .points path').length === 17")
    chosen = "e => e.selectedOptions[0].textContent"
    assert tab.page.eval_on_selector("#trends-metric", chosen) == "Approach speed"
    tab.page.go_back()
    tab.wait("() => document.querySelectorAll('.graph .points path').length === 24")
    tab.wait("() => document.querySelector('#trends-from').selectedOptions[0].text === 'the first'")


def test_the_graph_follows_light_and_dark(tab: Tab) -> None:
    colour = "getComputedStyle(document.querySelector('.graph .points path')).fill"
    light = tab.page.evaluate(colour)
    tab.page.emulate_media(color_scheme="dark")
    tab.wait(f"() => {colour} !== '{light}'")
    tab.page.emulate_media(color_scheme="light")


def test_facts_and_body_mass_are_kept(tab: Tab, rig: Server, store: SessionStore) -> None:
    tab.page.goto(f"{rig.url}/athlete/1")
    tab.wait_text("#athlete-test", "W/kg")
    tab.page.fill("#athlete-mass", "61,5")
    tab.page.fill("#athlete-mass-on", "2026-02-08")
    tab.page.click("#athlete-add-mass button")
    tab.wait_text("#athlete-person", "8 February 2026: 61.5 kg")
    assert store.body_measures(1)[-1] == BodyMeasure(date(2026, 2, 8), 61.5)
    tab.page.click("text=Change facts")
    tab.page.fill("#athlete-born", "two thousand")
    tab.page.click("#athlete-facts button")
    tab.wait_text("#shell-messages", "Birth year: give a year, as 2009.")
    tab.page.fill("#athlete-born", "1999")
    tab.page.select_option("#athlete-side", "left")
    tab.page.click("#athlete-facts button")
    tab.wait_text(".head", "born 1999")
    assert str(store.athlete(1).take_off_side) == "left"
    tab.wait("() => document.querySelectorAll('#athlete-person svg').length === 1")


def test_questions_are_drawn_and_the_task_can_be_chosen(tab: Tab) -> None:
    for part in ("cues", "speed", "companions", "load"):
        tab.page.wait_for_selector(f"#athlete-{part} svg[role=img]")
    tab.page.select_option("#athlete-task", label="Standing jump")
    tab.page.wait_for_url("**/athlete/1?task=standing&cue=low+into+plant")
    tab.wait_text("#athlete-speed", "Too few attempts")


def test_the_report_is_downloaded(tab: Tab, tmp_path: Path) -> None:
    tab.page.fill("#athlete-report-aim", "Fast ones first")
    with tab.page.expect_download() as waited:
        tab.page.click("text=Download the report")
    assert waited.value.suggested_filename.startswith("Ada_Bell_")
    waited.value.save_as(tmp_path / "report.html")
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Fast ones first" in text
    assert "<script" not in text
    tab.page.fill("#athlete-report-from", "2030-01-01")
    tab.page.click("text=Download the report")
    tab.wait_text("#shell-messages", "no attempt counts in this time")
    tab.faults[:] = [fault for fault in tab.faults if "404" not in fault]


def test_an_athlete_is_added_and_told_what_to_do(tab: Tab, rig: Server) -> None:
    tab.page.goto(f"{rig.url}/athletes")
    tab.page.fill("#athletes-name", "Eva Reed")
    tab.page.click("text=Add an athlete")
    tab.wait_text(".list", "Eva Reed")
    tab.page.click(".list >> text=Eva Reed")
    tab.wait_text(".empty", "imujump add RECORDING --athlete NAME")


@pytest.mark.parametrize(
    ("place", "scheme"),
    [("/trends?athlete=2", "light"), ("/athlete/2", "dark"), ("/athletes", "light")],
)
def test_pages_fit_a_phone_are_accessible_and_take_no_harm(
    tab: Tab, rig: Server, place: str, scheme: str
) -> None:
    tab.page.set_viewport_size({"width": 390, "height": 844})
    tab.page.emulate_media(color_scheme=scheme)
    tab.page.goto(rig.url + place)
    tab.wait_text("#review-body", HOSTILE)
    tab.page.wait_for_selector("#review-body svg, .list")
    wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert tab.page.evaluate(wide) <= 0
    assert_accessible(tab)
    assert tab.page.locator(".review img, .review script").count() == 0
    assert tab.page.title() != "1"


def test_nothing_went_wrong_in_the_browser_or_the_server(tab: Tab, rig: Server) -> None:
    assert tab.faults == []
    assert "Traceback" not in rig.said.read_text()
