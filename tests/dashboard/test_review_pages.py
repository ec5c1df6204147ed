"""The review pages in a real browser: list, session, attempt, events by hand, who may do what."""

from __future__ import annotations

import json
import shutil
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from imujump.bookkeeping import Told, add_recording
from imujump.sessions.records import NoteKind, Standing
from imujump.sessions.store import SessionStore, open_store
from tests.dashboard.serving import TRUSTING, Server, Tab
from tests.dashboard.test_pairing import printed_code
from tests.dashboard.test_session import assert_accessible
from tests.sessions.invented import keep
from tests.sessions.invented import three_jumps as analysis

HOSTILE = '<img src=x onerror="document.title=1"> {{7*7}}'


@pytest.fixture(scope="module")
def store(lan: Server) -> Iterator[SessionStore]:
    with open_store(lan.store) as opened:
        yield opened


@pytest.fixture(scope="module")
def tab(browser: Any, lan: Server) -> Iterator[Tab]:
    opened = Tab(browser, "laptop", locale="de-DE", ignore_https_errors=True)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def recording(
    store: SessionStore, three_jumps: Path, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """Fill the store while the page runs: one real recording, one that waits, an invented one."""
    path = tmp_path_factory.mktemp("own") / "three_jumps.imujump"
    shutil.copy(three_jumps / path.name, path)
    mira, other = store.add_athlete("Mira Tolland"), store.add_athlete(HOSTILE)
    kept = add_recording(store, path, mira.athlete_id, Told(words={"place": HOSTILE}))
    store.add_note(kept.recording.session_id, NoteKind.CUE, HOSTILE, kept.attempt_ids[0])
    session = store.session(kept.recording.session_id)
    later = replace(analysis(), started_utc=session.started_utc + timedelta(hours=1))
    keep(store, session, "sent", later, standing=Standing.WAITING)
    store.add_session(other.athlete_id, session.started_utc, note=HOSTILE)
    return path


def test_an_empty_store_says_what_to_do(tab: Tab, lan: Server) -> None:
    tab.page.goto(f"{lan.url}/sessions")
    tab.wait_text(".empty", "imujump add RECORDING --athlete NAME")
    assert_accessible(tab)


def test_from_the_list_to_a_session_to_an_attempt_and_back(
    tab: Tab, lan: Server, recording: Path
) -> None:
    tab.page.goto(lan.url)
    tab.page.click("#shell-pages >> text=Sessions")
    tab.wait_text(".list", "Mira Tolland")
    tab.page.select_option("#sessions-athlete", label="Mira Tolland")
    tab.page.wait_for_url("**/sessions?athlete=1")
    tab.wait("() => document.querySelectorAll('.list tbody tr').length === 1")
    assert "," in tab.text(".list td.n[data-head^=Best]"), "a German reader's decimal sign"
    tab.page.click(".list tbody a")
    tab.wait_text(".review h1", "Mira Tolland")
    tab.wait("() => document.title.startsWith('Mira Tolland, ')")
    assert tab.page.locator(".attempt").count() == 6
    tab.page.click(".attempt a >> nth=1")
    tab.wait_text(".review h1", "Attempt 2")
    tab.wait("() => document.querySelector('#attempt-figure')?.dataset.ready === 'true'")
    tab.page.go_back()
    tab.wait_text(".review h1", "Mira Tolland")
    tab.page.go_back()
    tab.wait("() => document.querySelector('#sessions-athlete')?.value.endsWith('athlete=1')")
    tab.page.go_forward()
    tab.wait_text("#session-attempts", "Attempt 3")


def test_the_coach_marks_and_counts_again_and_chooses_numbers(
    tab: Tab, store: SessionStore
) -> None:
    first = store.attempts(1)[0].attempt_id
    tab.page.click(".attempt summary >> nth=0")
    tab.page.click(".attempt >> nth=0 >> text=Off balance")
    tab.wait_text(".attempt", "Does not count: Off balance.")
    assert store.attempt(first).invalid_mark == "Off balance"
    tab.page.click("text=Count again")
    tab.wait("() => !document.querySelector('.attempt').textContent.includes('Off balance.')")
    assert store.attempt(first).counts
    tab.page.fill("#session-note", "Ruhiger Kopf")
    tab.page.click("text=As seen")
    tab.wait_text(".said:last-of-type", "Ruhiger Kopf")
    tab.page.click(".said:last-of-type >> text=Take back")
    tab.wait("() => ![...document.querySelectorAll('.said')].some(e => /Kopf/.test(e.textContent))")
    tab.page.click("text=Choose numbers")
    tab.page.click("[data-act=show_metric][data-text=turn_rad]")
    tab.page.wait_for_url("**/session/1?show=*turn_rad*")
    tab.wait_text(".attempt dl", "Turn")
    tab.page.reload()
    tab.wait_text(".attempt dl", "Turn")


def test_a_task_is_corrected_has_a_mean_of_its_own_and_is_taken_back(
    tab: Tab, store: SessionStore
) -> None:
    first = store.attempts(1)[0]
    means = "[...document.querySelectorAll('.bars .mean')].map(e => Number(e.dataset.mean))"
    tab.wait(f"() => {means}.length === 1")
    tab.page.click(".attempt summary:has-text('Task') >> nth=0")
    tab.page.click(".attempt >> nth=0 >> button:text-is('Standing jump')")
    tab.wait_text(".attempt", "Task corrected.")
    tab.wait(f"() => {means}.length === 2")
    assert tab.page.evaluate(means)[0] == first.metrics["height_flight_m"].value
    tab.wait_text("#session-height", "Standing jump · 1 attempt")
    tab.page.click("text=Take the task back")
    tab.wait("() => !document.querySelector('.attempt').textContent.includes('corrected')")
    tab.page.click("text=Task of all …")
    tab.page.click(".choosers >> text=Standing jump >> nth=0")
    tab.wait_text("#session-height", "Standing jump · 3 attempts")
    tab.page.click("text=Task of all …")
    tab.page.click(".choosers >> text=Take back")
    tab.wait("() => !document.querySelector('.attempts').textContent.includes('corrected')")
    assert store.attempts(1)[0] == first


def test_a_waiting_recording_counts_once_it_is_confirmed(tab: Tab, store: SessionStore) -> None:
    assert sum(a.counts for a in store.attempts(1)) == 3
    tab.page.click("#waiting >> text=Refuse")
    tab.wait_text("#waiting", "refused")
    tab.page.click("#waiting summary:has-text('sent')")
    tab.page.click("text=Let it wait again")
    tab.page.click("text=Confirm")
    tab.wait("() => !document.querySelector('.waits')")
    assert sum(a.counts for a in store.attempts(1)) == 5


def test_names_and_notes_are_text(tab: Tab) -> None:
    assert HOSTILE in tab.text(".said")
    assert HOSTILE in tab.text(".review .head")
    assert tab.page.locator(".review img").count() == 0


def test_the_picture_zooms_and_the_address_keeps_it(tab: Tab, lan: Server) -> None:
    tab.page.goto(f"{lan.url}/attempt/1?with=2&align=plant")
    tab.wait("() => document.querySelector('#attempt-figure')?.dataset.ready === 'true'")
    assert tab.page.evaluate("imujump.figure.other.drawn.attempt") == 2
    tab.page.click("text=Closer")
    tab.page.wait_for_url("**span=*")
    seen = tab.page.evaluate("imujump.figure.view")
    tab.page.focus("#attempt-figure")
    tab.page.keyboard.press("Home")
    tab.wait("() => !location.search.includes('span')")
    tab.page.go_back()
    tab.page.goto(f"{lan.url}/attempt/1?with=2&span={seen['fromS']:.3f}_{seen['toS']:.3f}")
    tab.wait("() => document.querySelector('#attempt-figure')?.dataset.ready === 'true'")
    assert tab.page.evaluate("imujump.figure.view.fromS") == pytest.approx(seen["fromS"], abs=2e-3)


def test_an_attempt_of_another_session_is_picked(
    tab: Tab, lan: Server, store: SessionStore
) -> None:
    athlete_id = store.session(1).athlete_id
    earlier = store.add_session(athlete_id, store.session(1).started_utc - timedelta(days=5))
    keep(store, earlier, "earlier")
    best, other, *_ = store.attempts(earlier.session_id)
    tab.page.goto(f"{lan.url}/attempt/1")
    tab.page.wait_for_selector("#attempt-with")
    best_of = "#attempt-with optgroup[label^='Best of other sessions'] option"
    told = tab.page.eval_on_selector_all(best_of, "all => all.map(e => e.value)")
    assert told == [f"/attempt/1?with={best.attempt_id}"]
    tab.page.select_option("#attempt-from", index=1)
    tab.page.wait_for_url(f"**/attempt/1?from={earlier.session_id}")
    tab.wait_text("#attempt-with", "choose an attempt")
    tab.page.select_option("#attempt-with", value=f"/attempt/1?with={other.attempt_id}")
    tab.page.wait_for_url(f"**/attempt/1?with={other.attempt_id}")
    tab.wait_text("#attempt-metrics thead", ", attempt 2")
    assert_accessible(tab)
    tab.wait_text("#attempt-told", "not there any more")  # an invented recording has no file
    tab.faults[:] = [fault for fault in tab.faults if "404" not in fault]


def test_two_attempts_stand_side_by_side_where_there_is_room(tab: Tab, lan: Server) -> None:
    tab.page.goto(f"{lan.url}/attempt/1?with=2")
    tab.page.wait_for_selector("#attempt-lay")
    tab.page.select_option("#attempt-lay", label="side by side")
    tab.page.wait_for_url("**/attempt/1?with=2&lay=side")
    tab.page.wait_for_selector("#attempt-figure[data-lay=side][data-ready=true]")
    plots = "imujump.figure.plots(document.querySelector('#attempt-figure').clientWidth)"
    found = tab.page.evaluate(f"{plots}.map(p => [p.of.map(a => a.drawn.attempt), p.left])")
    assert [of for of, _ in found] == [[1], [2]]
    # An event is taken hold of in the attempt's own half alone.
    box = tab.page.locator("#attempt-figure").bounding_box()
    for half, picked in ((1, False), (0, True)):
        at = tab.page.evaluate(
            f"""() => {{
            const {{left, right}} = {plots}[{half}], {{fromS, toS}} = imujump.figure.view;
            return left + (right - left) * -fromS / (toS - fromS);
            }}"""
        )
        tab.page.mouse.click(box["x"] + at, box["y"] + 40)
        assert tab.page.evaluate("Boolean(imujump.figure.picked)") is picked
    tab.page.set_viewport_size({"width": 390, "height": 844})
    tab.wait(f"() => {plots}.length === 1")
    tab.page.set_viewport_size({"width": 1440, "height": 900})


def test_no_peak_is_thinned_away(tab: Tab) -> None:
    """Lowest and highest of each column, against the plain definition."""
    found = tab.page.evaluate(
        """() => {
        const values = Float32Array.from({length: 4001},
          (_, k) => Math.sin(k * k) + (k === 1234 ? 9 : 0));
        const [first, last, columns] = [100, 3900, 317];
        const got = imujump.figure.thin(values, first, last, columns);
        let wrong = 0;
        for (let c = 0; c < columns; c += 1) {
          const from = Math.floor(first + c * (last - first) / columns);
          const part = values.slice(from, Math.floor(first + (c + 1) * (last - first) / columns));
          if (got[2 * c] !== Math.min(...part) || got[2 * c + 1] !== Math.max(...part)) wrong += 1;
        }
        const beyond = imujump.figure.thin(values, 5000, 5100, 3)[0];
        return [wrong, Math.max(...got) > 8, Number.isNaN(beyond)];
        }"""
    )
    assert found == [0, True, True]


def test_an_event_is_moved_taken_back_and_saved(tab: Tab, store: SessionStore, lan: Server) -> None:
    before = store.attempt(1)
    tab.page.goto(f"{lan.url}/attempt/1")
    tab.wait("() => document.querySelector('#attempt-figure')?.dataset.ready === 'true'")
    tab.page.click("#attempt-events button:has(b:text-is('0'))")
    assert tab.page.get_attribute("[data-act=event_save]", "aria-disabled") == "true"
    tab.page.click("text=−5 ms")
    tab.wait_text("#attempt-events [aria-pressed=true]", "−5")
    tab.page.click("[data-act=event_undo]")
    tab.wait_text("#attempt-edit-told", "")
    assert tab.page.evaluate("imujump.figure.events.some(event => event.hand)") is False
    # By dragging: ten pixels to the left of the take-off line, in the lane of contacts.
    tab.page.evaluate("scrollTo(0, 0)")
    box = tab.page.locator("#attempt-figure").bounding_box()
    at = tab.page.evaluate(
        """() => {
        const {fromS, toS} = imujump.figure.view;
        const width = document.querySelector('#attempt-figure').clientWidth - 52;
        return 46 + width * -fromS / (toS - fromS);
        }"""
    )
    tab.page.mouse.move(box["x"] + at, box["y"] + 40)
    tab.page.mouse.down()
    tab.page.mouse.move(box["x"] + at - 10, box["y"] + 40, steps=3)
    tab.page.mouse.up()
    tab.wait_text("#attempt-edit-told", "Not saved yet")
    assert tab.page.evaluate("imujump.figure.picked.time_s") < before.toe_off_s
    tab.page.fill("#attempt-event-ms", "-10,0")
    tab.page.click("[data-act=event_set]")
    tab.wait_text("#attempt-events [aria-pressed=true]", "−10")
    tab.page.click("text=Save events")
    tab.wait_text(".review .head", "Events set by hand")
    after = store.attempt(1)
    assert after.hand_events
    flight_s, old_s = after.metrics["flight_s"].value, before.metrics["flight_s"].value
    assert flight_s is not None
    assert old_s is not None
    assert flight_s == pytest.approx(old_s + 0.010, abs=1e-6)
    tab.wait_text("#attempt-events", "by hand")
    assert_accessible(tab)
    tab.page.click("text=Show the program's own events")
    tab.wait("() => !document.querySelector('.head .sign')")
    assert store.attempt(1) == before


def test_an_added_event_that_cannot_be_is_refused(tab: Tab, store: SessionStore) -> None:
    tab.page.click("text=Right foot leaves")
    tab.page.click("text=Save events")
    tab.wait_text("#attempt-edit-told", "add or remove an event there")
    assert not store.attempt(1).hand_events
    tab.page.click("[data-act=event_remove]")
    tab.page.click("[data-act=event_undo]")
    tab.page.click("[data-act=event_undo]")
    tab.wait_text("#attempt-edit-told", "")


def test_a_recording_that_is_gone_is_told_and_the_rest_shown(
    tab: Tab, lan: Server, recording: Path
) -> None:
    away = recording.with_suffix(".away")
    recording.rename(away)
    tab.page.goto(f"{lan.url}/attempt/2")
    tab.wait_text("#attempt-told", "not there any more")
    tab.wait_text("#attempt-metrics", "Flight-time height")
    away.rename(recording)
    tab.page.goto(f"{lan.url}/attempt/777")
    tab.wait_text(".doubt", "it holds no such attempt")
    tab.page.goto(f"{lan.url}/session/x")
    tab.wait_text(".doubt", "it holds no such session")
    tab.faults[:] = [fault for fault in tab.faults if "404" not in fault]


@pytest.mark.parametrize(
    ("place", "scheme"),
    [
        ("/sessions", "light"),
        ("/session/1", "light"),
        ("/session/1", "dark"),
        ("/attempt/1", "dark"),
    ],
)
def test_pages_fit_a_phone_and_are_accessible(
    tab: Tab, lan: Server, place: str, scheme: str
) -> None:
    tab.page.set_viewport_size({"width": 390, "height": 844})
    tab.page.emulate_media(color_scheme=scheme)
    tab.page.goto(lan.url + place)
    tab.page.wait_for_selector(".review h1")
    wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert tab.page.evaluate(wide) <= 0
    assert_accessible(tab)


def test_a_paired_device_reads_and_only_this_computer_or_who_controls_changes(
    browser: Any, lan: Server, store: SessionStore
) -> None:
    place = lan.url.replace("127.0.0.1", "127.0.0.2")
    phone = Tab(browser, "phone", ignore_https_errors=True)
    phone.page.goto(f"{place}/pair#{printed_code(lan)}")
    phone.page.wait_for_url(f"{place}/")
    phone.wait_text("#shell-link", "looking on")
    phone.page.goto(f"{place}/session/1")
    phone.wait_text("#session-attempts", "Attempt 1")
    phone.wait("() => document.body.classList.contains('only-reads')")
    assert not phone.page.is_visible(".attempt summary")
    mark = "imujump.review.change({do: 'mark', attempt: 1, reason: 'not mine'})"
    assert "Another device controls" in phone.page.evaluate(mark)
    assert store.attempt(1).invalid_mark is None
    phone.page.evaluate("imujump.act({do: 'take_control'})")
    assert phone.page.evaluate(mark) is None
    assert store.attempt(1).invalid_mark == "not mine"
    store.withdraw_mark(1)
    assert phone.faults == []
    phone.close()


def test_who_is_not_paired_or_comes_from_another_site_gets_nothing(lan: Server) -> None:
    def status(path: str, data: bytes | None = None, **headers: str) -> int:
        request = urllib.request.Request(path, data, {k.title(): v for k, v in headers.items()})
        try:
            with urllib.request.urlopen(request, timeout=5.0, context=TRUSTING) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            error.close()
            return error.code

    remote = lan.url.replace("127.0.0.1", "127.0.0.2")
    ask = json.dumps({"do": "mark", "attempt": 1, "reason": "x"}).encode()
    for path in ("/sessions", "/session/1", "/attempt/1", "/review/signals/1"):
        assert status(remote + path) == 401
    for path in ("/review/act", "/_dash-update-component"):
        assert status(remote + path, ask, origin=remote) == 401
        assert status(lan.url + path, ask, origin="https://evil.example") == 403
        assert status(lan.url + path, ask) == 403


def test_nothing_went_wrong_in_the_browser_or_the_server(tab: Tab, lan: Server) -> None:
    assert tab.faults == []
    assert [
        url for url in tab.asked if not url.startswith((lan.url, "wss://127.0.0.1", "data:"))
    ] == []
    assert "Traceback" not in lan.said.read_text()
