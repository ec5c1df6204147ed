"""Hub, log, margins and the courtside view, without a server."""

from __future__ import annotations

import asyncio
import json
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dashboard import wording
from dashboard.athletes import Athletes
from dashboard.court_view import court_view
from dashboard.hub import IN_FLIGHT, QUEUE, Hub
from dashboard.live_state import LiveState
from dashboard.review.door import StoreDoor
from dashboard.set_control import Height, falls, margin
from imujump.contract import attempt_document
from imujump.errors import ConsentError
from imujump.model import METRIC_NAMES
from imujump.sessions.session_log import EntryKind, SessionLog
from tests.analyses import one_foot_attempt

DEMO = Path(__file__).resolve().parents[2] / "recordings_demo"

# --- margins ---------------------------------------------------------------------------------


def heights(*values_cm: float) -> list[Height]:
    return [Height(k, value / 100.0, 0.012) for k, value in enumerate(values_cm, 1)]


def test_the_margin_is_the_larger_of_five_per_cent_and_the_least_detectable_change() -> None:
    done = heights(40.0, 41.0, 39.0, 20.0)
    by_share = margin(done, 0.005)
    assert by_share is not None
    assert by_share.reference_m == pytest.approx(0.40)
    assert by_share.margin_m == pytest.approx(0.02)
    by_change = margin(done, 0.010)
    assert by_change is not None
    assert by_change.margin_m == pytest.approx(1.96 * 2**0.5 * 0.010)
    only_measured = margin(done, None)
    assert only_measured is not None
    assert only_measured.from_measurement_only
    assert margin(done[:2], 0.01) is None


@pytest.mark.parametrize(
    ("values", "count"),
    [
        ((40, 40, 40, 37, 37), 2),
        ((40, 40, 40, 37, 40), 0),
        ((40, 40, 40, 37, 38.5), 0),
        ((40, 40, 40, 37, 39, 37), 1),
        ((40, 40), 0),
    ],
)
def test_only_falls_in_a_row_count(values: tuple[float, ...], count: int) -> None:
    done = heights(*values)
    assert falls(done, margin(done, 0.004)) == count


# --- the log ---------------------------------------------------------------------------------


def test_undo_takes_back_the_newest_tap_and_keeps_the_line(tmp_path: Path) -> None:
    log = SessionLog(tmp_path / "a.log.jsonl")
    log.add(EntryKind.CUE, 1, "Push up")
    log.add(EntryKind.INVALID, 1, "Run-through")
    log.add(EntryKind.ATTEMPT, 2, data={"attempt": 2})
    taken_back = log.undo()
    assert taken_back is not None
    assert taken_back.kind is EntryKind.INVALID
    assert [entry.kind for entry in log.entries()] == [EntryKind.CUE, EntryKind.ATTEMPT]
    assert log.undo() is not None
    assert log.undo() is None
    assert log.lines() == 5
    again = SessionLog(tmp_path / "a.log.jsonl")
    assert again.entries() == log.entries()
    assert again.lines() == 5


def test_a_line_cut_short_costs_only_itself(tmp_path: Path) -> None:
    path = tmp_path / "a.log.jsonl"
    log = SessionLog(path)
    log.add(EntryKind.CUE, 1, "one")
    log.add(EntryKind.CUE, 1, "two")
    path.write_bytes(path.read_bytes()[:-9])
    log = SessionLog(path)
    log.add(EntryKind.CUE, 1, "three")
    assert [entry.text for entry in SessionLog(path).entries()] == ["one", "three"]


def test_athletes_come_from_the_store(tmp_path: Path) -> None:
    place = str(tmp_path / "sessions.sqlite")
    athletes = Athletes(StoreDoor(place))
    assert athletes.add(" Safi  Onwell ") == "Safi Onwell"
    assert athletes.add("safi onwell") == "Safi Onwell"
    athletes.add("Mira Tolland")
    assert Athletes(StoreDoor(place)).names() == ["Mira Tolland", "Safi Onwell"]
    for wrong in ("  ", "x" * 61):
        with pytest.raises(ValueError, match=r"\."):
            athletes.add(wrong)


def test_a_minor_without_consent_does_not_begin(tmp_path: Path) -> None:
    door = StoreDoor(str(tmp_path / "sessions.sqlite"))
    with door.opened() as store:
        store.add_athlete("Ida Quill", birth_year=datetime.now(UTC).year - 12)
    with pytest.raises(ConsentError, match="guardian"):
        Athletes(door).check_consent("Ida Quill")


def test_a_recording_is_kept_with_its_log_and_gives_the_margin(tmp_path: Path) -> None:
    recording = tmp_path / "evening.imujump"
    shutil.copy(DEMO / "speed_ladder.imujump", recording)
    log = SessionLog(recording.with_suffix(".log.jsonl"))
    log.add(EntryKind.BEGIN, data={"athlete": "Mira Tolland", "task": "one_foot"})
    athletes = Athletes(StoreDoor(str(tmp_path / "sessions.sqlite")))
    athletes.add("Mira Tolland")
    assert athletes.typical_error_m("Mira Tolland", "one_foot") is None
    assert athletes.keep(recording, "Mira Tolland") == (True, "Kept for Mira Tolland: 6 attempts.")
    # Five repeats of one session are too few for an error of the athlete's own.
    athletes.refresh()
    assert athletes.typical_error_m("Mira Tolland", "one_foot") is None
    assert athletes.trouble is None
    kept, missing = athletes.keep(tmp_path / "gone.imujump", "Mira Tolland")
    assert not kept
    assert missing.startswith("Not kept yet: ")
    assert "imujump add" in missing


def test_a_store_in_trouble_is_told_and_stops_nothing(tmp_path: Path) -> None:
    place = tmp_path / "sessions.sqlite"
    place.write_bytes(b"no database" * 100)
    athletes = Athletes(StoreDoor(str(place)))
    assert athletes.names() == []
    assert athletes.trouble is not None
    athletes.check_consent("Mira Tolland")
    assert athletes.typical_error_m("Mira Tolland", "one_foot") is None


# --- the hub ---------------------------------------------------------------------------------


def test_a_viewer_that_lags_gets_the_newest_state_and_no_queue() -> None:
    async def follow() -> None:
        state = {"count": 0}
        hub = Hub(lambda viewer: {"whole": dict(state)})
        quick, slow = hub.join("quick"), hub.join("slow")
        for each in (quick, slow):
            assert json.loads(await each.next_text(hub.newest_text)) == {"whole": {"count": 0}}
        for number in range(1, 501):
            state["count"] = number
            hub.tell({"new": number})
            quick.acknowledge(number)
            assert json.loads(await quick.next_text(hub.newest_text)) == {"new": number}
        assert slow.dropped > 0
        got = [json.loads(await slow.next_text(hub.newest_text)) for _ in range(1)]
        assert got == [{"whole": {"count": 500}}]
        # News is sent again after the whole state, but never more than may be under way.
        for number in range(501, 501 + QUEUE):
            hub.tell({"new": number})
        for number in range(501, 501 + IN_FLIGHT - 2):
            assert json.loads(await slow.next_text(hub.newest_text)) == {"new": number}
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.05):
                await slow.next_text(hub.newest_text)

    asyncio.run(follow())


def test_a_viewer_that_sleeps_is_sent_next_to_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboard.hub.ACK_WAIT_S", 0.01)

    async def sleep_through() -> None:
        hub = Hub(lambda viewer: {"whole": True})
        sleeper = hub.join("sleeper")
        for number in range(IN_FLIGHT):
            hub.tell({"new": number})
            await sleeper.next_text(hub.newest_text)
        for number in range(8):
            for _ in range(QUEUE):
                hub.tell({"new": number})
            assert json.loads(await sleeper.next_text(hub.newest_text)) == {"whole": True}

    asyncio.run(sleep_through())


def test_withdrawn_and_old_feet_go_and_the_strip_keeps_eight_seconds() -> None:
    live = LiveState()
    for number in range(200):
        live.take_foot({"number": number, "standing": "early", "time_s": number / 3})
    live.take_foot({"number": 199, "standing": "withdrawn", "time_s": 66.0})
    whole = live.whole()["feet"]
    assert len(whole) < 100
    assert whole[-1]["number"] == 198
    live.take_strip({"pelvis": [[k / 40, 1.0] for k in range(800)]})
    points = live.whole()["strip"]["pelvis"]
    assert points[-1][0] - points[0][0] == pytest.approx(8.0, abs=0.03)


# --- the view --------------------------------------------------------------------------------


def documents(*values_cm: float) -> dict[int, Any]:
    found = {}
    for number, value in enumerate(values_cm, 1):
        document = json.loads(json.dumps(attempt_document(one_foot_attempt())))
        document |= {"attempt": number, "toe_off_s": 10.0, "landing_s": 10.5, "valid": True}
        document["metrics"]["height_flight_m"] |= {"value": value / 100.0, "sigma": 0.012}
        document["metrics"]["height_flight_m"]["reason"] = None
        found[number] = document
    return found


def view(values: tuple[float, ...], log: SessionLog, picked: int | None = None) -> dict[str, Any]:
    choice = (wording.LARGE_DEFAULT, list(wording.SMALL_DEFAULT))
    return court_view(documents(*values), log.entries(), 0.004, picked, choice)


def test_the_stop_hint_leaves_the_decision_to_the_coach(tmp_path: Path) -> None:
    log = SessionLog(tmp_path / "a.log.jsonl")
    for number in range(1, 6):
        log.add(EntryKind.ATTEMPT, number)
    assert view((40, 40, 40, 37), log)["set"]["hint"] is None
    hint = view((40, 40, 40, 37, 37), log)["set"]["hint"]
    assert "last 2 attempts" in hint
    assert "38.0 cm" in hint
    assert "You decide" in hint
    log.add(EntryKind.INVALID, 4, "Off balance")
    assert view((40, 40, 40, 37, 37), log)["set"]["hint"] is None
    log.undo()
    log.add(EntryKind.NEW_SET)
    fresh = view((40, 40, 40, 37, 37), log)["set"]
    assert (fresh["hint"], fresh["attempts"], fresh["number"]) == (None, 0, 2)


def test_the_best_is_a_counted_attempt_before_this_one(tmp_path: Path) -> None:
    log = SessionLog(tmp_path / "a.log.jsonl")
    assert view((40, 43, 41), log)["best"]["attempt"] == 2
    assert view((40, 43, 41), log)["best_before"]["attempt"] == 2
    assert view((40, 41, 43), log)["best"]["attempt"] == 3
    assert view((40, 41, 43), log)["best_before"]["attempt"] == 2
    log.add(EntryKind.INVALID, 2, "Run-through")
    assert view((40, 43, 41), log)["best"]["attempt"] == 3
    assert view((40, 43, 41), log)["best_before"]["attempt"] == 1
    assert view((40, 43, 41), log, picked=2)["picked"]["attempt"] == 2
    assert view((40, 43, 41), log)["picked"] is None
    assert view((40,), log)["best_before"] is None


def test_an_attempt_that_is_not_final_is_shown_and_counts_for_nothing(tmp_path: Path) -> None:
    log = SessionLog(tmp_path / "a.log.jsonl")
    choice = (wording.LARGE_DEFAULT, list(wording.SMALL_DEFAULT))
    all_of_them = documents(40, 43, 50)
    preview = all_of_them.pop(3)
    shown = court_view(all_of_them, log.entries(), 0.004, None, choice, preview)
    assert not shown["final"]
    assert (shown["latest"]["attempt"], shown["attempt_count"]) == (3, 3)
    assert shown["numbers"]["large"]["value"] == pytest.approx(50.0)
    assert shown["best"]["attempt"] == shown["best_before"]["attempt"] == 2
    assert [each["attempt"] for each in shown["list"]] == [1, 2]
    assert shown["set"]["attempts"] == 2
    assert shown["set"]["rest_from_s"] == preview["landing_s"]


def test_pain_replaces_the_caution(tmp_path: Path) -> None:
    log = SessionLog(tmp_path / "a.log.jsonl")
    assert "clinician" in view((), log)["pain"]
    log.add(EntryKind.PAIN)
    assert view((), log)["pain_noted"]
    assert "Stop jumping" in view((), log)["pain"]


@pytest.mark.parametrize("name", METRIC_NAMES)
def test_every_metric_can_be_shown_with_and_without_a_value(name: str) -> None:
    missing = wording.shown_number(name, {"value": None, "sigma": None, "reason": "too dark"})
    assert missing["value"] is None
    assert missing["doubt"] == "Too dark."
    shown = wording.shown_number(name, {"value": 1.0, "sigma": 1e-9, "reason": None})
    assert shown["sigma"] >= 10.0 ** -shown["decimals"] * 0.999
    usual = wording.USUAL_SIGMA.get(name)
    if usual is not None:
        good = {"value": 1.0, "sigma": usual, "reason": None}
        assert wording.shown_number(name, good)["doubt"] is None
        assert "less surely" in wording.shown_number(name, {**good, "sigma": 2 * usual})["doubt"]
