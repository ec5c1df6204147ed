"""From the store to what the review pages show, and what they may change."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from dash import dcc, html

from dashboard.review import actions, frame, words
from dashboard.review.attempt_view import attempt_view
from dashboard.review.door import StoreDoor
from dashboard.review.plain_html import written
from dashboard.review.session_view import AttemptLine, NoteLine, session_view
from dashboard.review.sessions_view import ROWS, TaskHeights, sessions_view
from imujump.errors import NotKeptError
from imujump.model import Analysis, Estimate
from imujump.sessions.interval import around
from imujump.sessions.records import NoteKind, Standing, Task
from imujump.sessions.store import SessionStore, open_store
from imujump.sessions.through_session import Landings
from tests.analyses import one_foot_attempt
from tests.sessions.invented import STARTED, a_session, at, keep


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SessionStore]:
    with open_store(tmp_path / "s.sqlite") as opened:
        yield opened


def jumps(*heights_m: float) -> Analysis:
    """Jumps that differ in height alone."""
    made = []
    for number, height_m in enumerate(heights_m, 1):
        one = at(one_foot_attempt(), number, 30.0 * number)
        height = Estimate(height_m, 0.01, None, "invented")
        made.append(replace(one, metrics={**one.metrics, "height_flight_m": height}))
    return Analysis(STARTED, 400.0, (), attempts=tuple(made))


def test_an_empty_store_says_what_to_do(store: SessionStore) -> None:
    view = sessions_view(store, {})
    assert (view.lines, view.total, view.page, view.pages) == ((), 0, 1, 1)
    assert "imujump add" in words.NO_SESSIONS


def test_the_list_is_paged_and_filtered(store: SessionStore) -> None:
    ada, bea = store.add_athlete("Ada"), store.add_athlete("Bea")
    for number in range(ROWS + 3):
        store.add_session(ada.athlete_id, STARTED + timedelta(days=number))
    session = store.add_session(bea.athlete_id, STARTED)
    keep(store, session, analysis=jumps(0.40, 0.44))
    keep(store, session, "b", analysis=jumps(0.60), standing=Standing.WAITING)
    first = sessions_view(store, {})
    assert (len(first.lines), first.total, first.pages) == (ROWS, ROWS + 4, 2)
    last = sessions_view(store, {"page": "999"})
    assert (last.page, len(last.lines)) == (2, 4)
    assert sessions_view(store, {"page": "-3; DROP TABLE"}).page == 1
    own = sessions_view(store, {"athlete": str(bea.athlete_id)})
    (line,) = own.lines
    assert (line.attempts, line.counted, line.waiting) == (3, 2, 1)
    assert line.heights == (TaskHeights("one foot", "44.0", "42.0"),)
    store.set_task(store.attempts(session.session_id)[0].attempt_id, Task.STANDING)
    (line,) = sessions_view(store, {"athlete": str(bea.athlete_id)}).lines
    assert line.heights == (
        TaskHeights("one foot", "44.0", "44.0"),
        TaskHeights("standing", "40.0", "40.0"),
    )
    assert [each.name for each in own.waiting] == ["b.imujump"]
    with pytest.raises(NotKeptError):
        sessions_view(store, {"athlete": "77"})


def test_a_session_in_order_with_what_was_said_between(store: SessionStore) -> None:
    session = a_session(store)
    heights = (0.45, 0.44, 0.43, 0.42, 0.41, 0.40)
    ids = keep(store, session, analysis=jumps(*heights)).attempt_ids
    store.add_note(session.session_id, NoteKind.CUE, "Faster in", ids[1])
    store.add_note(session.session_id, NoteKind.NEW_SET, "", None, STARTED + timedelta(seconds=100))
    store.add_note(session.session_id, NoteKind.SEEN, "warm", None, STARTED - timedelta(minutes=1))
    view = session_view(store, session.session_id, {})
    told = [
        line.place if isinstance(line, AttemptLine) else (line.what, line.text)
        for line in view.lines
    ]
    assert told == [("Seen", "warm"), 1, 2, ("Cue", "Faster in"), 3, ("New set", ""), 4, 5, 6]
    (summary,) = view.tasks
    assert (summary.best, summary.counts) == ("45.0 cm", 6)
    # s = √(17.5/5) cm, t(5) = 2.571: ± 2.571 · 1.871 / √6 = 1.96 cm
    assert summary.mean == "42.5 ± 2.0 cm"
    assert "fell by 5.0 cm from the first to the last" in summary.course
    assert view.shown == words.SHOWN
    chosen = session_view(store, session.session_id, {"show": "turn_rad,nonsense"})
    assert chosen.shown == ("turn_rad",)
    store.mark_invalid(ids[0], "slipped")
    again = session_view(store, session.session_id, {})
    assert again.tasks[0].best == "44.0 cm"
    assert again.jumps == "6 jumps, 5 count, 1 not valid or marked"
    first = next(line for line in again.lines if isinstance(line, AttemptLine))
    assert first.why_not == "Does not count: slipped."


def test_tasks_are_not_mixed(store: SessionStore) -> None:
    session = a_session(store)
    keep(store, session)
    view = session_view(store, session.session_id, {})
    assert [each.task for each in view.tasks] == [
        "One-foot approach jump",
        "Two-foot approach jump",
    ]
    assert all("too few" in each.course for each in view.tasks)
    assert [bar.task for bar in view.bars] == [each.task for each in view.tasks]


def test_a_task_is_corrected_and_taken_back(store: SessionStore) -> None:
    session = a_session(store)
    kept = keep(store, session)
    first, second, _ = kept.attempt_ids
    recording = kept.recording.recording_id

    def told() -> list[tuple[str, str, bool]]:
        lines = session_view(store, session.session_id, {}).lines
        return [
            (line.task, line.asked, line.is_corrected)
            for line in lines
            if isinstance(line, AttemptLine)
        ]

    before = told()
    assert [each[1:] for each in before[:2]] == [("", False), ("", False)]
    actions.act(store, {"do": "task", "attempt": second, "task": "standing"})
    assert told()[1] == ("standing", "Standing jump", True)
    assert told()[0] == before[0]
    actions.act(store, {"do": "task", "recording": recording, "task": "one_foot"})
    assert [each[0] for each in told()] == ["one_foot"] * 3
    # The first attempt was a one-foot jump from the beginning, so nothing of it is corrected.
    assert [each[2] for each in told()[:2]] == [False, True]
    assert session_view(store, session.session_id, {}).asked[0].is_corrected
    actions.act(store, {"do": "withdraw_task", "attempt": second})
    assert told()[1] == before[1]
    actions.act(store, {"do": "task", "attempt": first, "task": "two_foot"})
    actions.act(store, {"do": "withdraw_task", "recording": recording})
    assert told() == before
    for bad in ({"task": "flying", "attempt": first}, {"attempt": first}, {"task": "standing"}):
        with pytest.raises(ValueError, match="Reload"):
            actions.act(store, {"do": "task", **bad})
    for missing in ({"recording": 99}, {"attempt": 99}):
        with pytest.raises(NotKeptError):
            actions.act(store, {"do": "task", "task": "standing", **missing})


def test_shank_peaks_are_compared_only_where_both_feet_landed_close_together() -> None:
    together = Landings(1, 0, 3, 4, 0.10, around(0.10, 0.02, 3))
    first, second = words.landings_told(together)
    assert first == "Of 4 landings: 1 left foot first, 3 both together, as far as can be told."
    assert second.startswith("The left shank's peak is 10")
    apart = words.landings_told(Landings(5, 0, 1, 1, None, None))
    assert apart[0].startswith("Of 6 landings: 5 left foot first")
    assert "both feet down within 30" in apart[1]
    assert "here 1 only" in apart[1]
    some = words.landings_told(Landings(4, 0, 3, 3, 0.10, around(0.10, 0.02, 2)))
    assert "Only landings with both feet down within 30" in some[2]


def test_an_attempt_beside_another(store: SessionStore) -> None:
    session = a_session(store)
    ids = keep(store, session, analysis=jumps(0.45, 0.40)).attempt_ids
    alone = attempt_view(store, ids[0], {})
    assert alone.beside.other is None
    rows = {row.name: row for _, part in alone.rows for row in part}
    assert rows["height_flight_m"].value == "45.0"
    assert rows["plant_interval_s"].told == "One-foot take-off."
    both = attempt_view(store, ids[0], {"with": str(ids[1]), "align": "plant"})
    assert both.beside.align == "plant"
    rows = {row.name: row for _, part in both.rows for row in part}
    # 5 cm apart, 1.96 · √2 · 1 cm = 2.8 cm
    assert (rows["height_flight_m"].difference, rows["height_flight_m"].is_sure) == ("+5.0", True)
    assert not rows["flight_s"].is_sure
    assert attempt_view(store, ids[0], {"align": "moon"}).beside.align == "take_off"
    with pytest.raises(NotKeptError):
        attempt_view(store, ids[0], {"with": "99"})
    json.dumps(both.drawn, allow_nan=False)


def test_attempts_of_other_sessions_can_be_chosen(store: SessionStore) -> None:
    session = a_session(store)
    own, mate = keep(store, session, analysis=jumps(0.45, 0.40)).attempt_ids
    later = store.add_session(session.athlete_id, STARTED + timedelta(days=7))
    ids = keep(store, later, "b", analysis=jumps(0.41, 0.50, 0.60, 0.70)).attempt_ids
    store.mark_invalid(ids[2], "slipped")
    store.set_task(ids[3], Task.STANDING)
    empty = store.add_session(session.athlete_id, STARTED + timedelta(days=8))
    stranger = a_session(store, "Bea")
    (foreign,) = keep(store, stranger, "c", analysis=jumps(0.80)).attempt_ids
    found = attempt_view(store, own, {}).beside
    assert [i for i, _ in found.attempts] == [mate]
    assert [i for i, _ in found.sessions] == [each.session_id for each in (empty, later, session)]
    # The highest of those that count and were asked for the same.
    assert [i for i, _ in found.best] == [ids[1]]
    assert found.best[0][1].endswith(" · 50.0 cm")
    listed = attempt_view(store, own, {"from": str(later.session_id)}).beside
    assert ([i for i, _ in listed.attempts], listed.other) == ([*ids], None)
    chosen = attempt_view(store, own, {"with": str(ids[0])}).beside
    assert (chosen.picked, chosen.other_words[-11:]) == (later.session_id, ", attempt 1")
    assert not chosen.other_words.startswith("Ada")
    other = attempt_view(
        store, own, {"with": str(foreign), "from": str(stranger.session_id)}
    ).beside
    assert (other.picked, other.other_words[:5]) == (session.session_id, "Bea, ")


def test_events_of_a_hand_are_shown_as_such(store: SessionStore) -> None:
    session = a_session(store)
    (attempt_id,) = keep(store, session, analysis=jumps(0.45)).attempt_ids
    measured = jumps(0.45).attempts[0]
    first, *rest = measured.events
    moved = replace(measured, events=(replace(first, time_s=first.time_s + 0.02), *rest))
    store.keep_by_hand(attempt_id, moved, "1.0")
    events = attempt_view(store, attempt_id, {}).drawn["events"]
    assert [event["hand"] for event in events] == [True] + [False] * len(rest)
    (line,) = session_view(store, session.session_id, {}).lines
    assert isinstance(line, AttemptLine)
    assert line.by_hand
    assert attempt_view(store, attempt_id, {}).behind == ""
    actions.act(store, {"do": "show_measured", "attempt": attempt_id})
    shown = attempt_view(store, attempt_id, {})
    assert (shown.has_hand, shown.attempt.hand_events) == (True, False)
    actions.act(store, {"do": "show_by_hand", "attempt": attempt_id})
    # A newer analysis to which nothing was carried over: what the coach set stays shown.
    keep(store, session, analysis=jumps(0.47), version="1.1")
    shown = attempt_view(store, attempt_id, {})
    assert (shown.behind, shown.attempt.hand_events) == ("1.1", True)


def test_actions_and_what_they_refuse(store: SessionStore) -> None:
    session = a_session(store)
    kept = keep(store, session, standing=Standing.WAITING)
    attempt_id = kept.attempt_ids[0]
    recording_id = kept.recording.recording_id
    for do, standing in (
        ("refuse", Standing.REFUSED),
        ("wait", Standing.WAITING),
        ("confirm", Standing.COUNTED),
    ):
        actions.act(store, {"do": do, "recording": recording_id})
        assert store.recording(recording_id).standing is standing
    actions.act(store, {"do": "mark", "attempt": attempt_id, "reason": " loose  strap "})
    assert store.attempt(attempt_id).invalid_mark == "loose strap"
    actions.act(store, {"do": "count_again", "attempt": attempt_id})
    assert store.attempt(attempt_id).counts
    actions.act(
        store, {"do": "note", "kind": "cue", "session": session.session_id, "text": "Low in"}
    )
    (line,) = (
        each
        for each in session_view(store, session.session_id, {}).lines
        if isinstance(each, NoteLine)
    )
    actions.act(store, {"do": "withdraw_note", "note": line.note_id})
    assert store.notes(session.session_id) == []
    actions.act(store, {"do": "restore_note", "note": line.note_id})
    assert [note.text for note in store.notes(session.session_id)] == ["Low in"]
    event: dict[str, Any] = {"kind": "toe_off", "side": "left", "sigma_s": None, "hand": True}
    for bad in (
        {"do": "forget"},
        {"do": "mark", "attempt": attempt_id, "reason": "  "},
        {"do": "mark", "attempt": attempt_id, "reason": "x" * 201},
        {"do": "mark", "attempt": True, "reason": "x"},
        {"do": "note", "kind": "pain", "session": session.session_id, "text": "x"},
        {"do": "save_events", "attempt": attempt_id, "events": []},
        {"do": "save_events", "attempt": attempt_id, "events": "all"},
        {"do": "save_events", "attempt": attempt_id, "events": [{**event, "time_s": "nan"}]},
        {"do": "save_events", "attempt": attempt_id, "events": [{**event, "side": "middle"}]},
        {},
    ):
        with pytest.raises(ValueError, match=r"\."):
            actions.act(store, bad)
    with pytest.raises(NotKeptError):
        actions.act(store, {"do": "mark", "attempt": 999, "reason": "x"})


def test_a_store_that_cannot_be_used_is_told_and_tried_again(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    path.write_bytes(b"no database, but longer than the head of one " * 40)
    door = StoreDoor(str(path))

    def draw(store: SessionStore, told: dict[str, str]) -> str:
        return str(len(store.sessions()))

    shown = json.dumps(frame.drawn(door, draw, {}).to_plotly_json(), default=str)
    assert "This cannot be shown" in shown
    assert "s.sqlite" in shown
    path.unlink()
    assert frame.drawn(door, draw, {}) == "0"
    door.close()


HOSTILE = """</script><img src=x onerror='a("b")'> &lt; " ' ` {{7}}"""


def test_whatever_a_page_holds_is_text_in_its_html() -> None:
    found: list[tuple[str, dict[str, str | None]]] = []
    texts: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            found.append((tag, dict(attrs)))

        def handle_data(self, data: str) -> None:
            texts.append(data)

    part = html.P(
        [HOSTILE, dcc.Input(value=HOSTILE, id="x"), html.Option("a", value=HOSTILE, selected=True)],
        title=HOSTILE, hidden=False, **{"data-review": HOSTILE},
    )  # fmt: skip
    reader = Reader(convert_charrefs=True)
    reader.feed(written(part))
    reader.close()
    assert found == [
        ("p", {"title": HOSTILE, "data-review": HOSTILE}),
        ("input", {"value": HOSTILE, "id": "x"}),
        ("option", {"value": HOSTILE, "selected": None}),
    ]
    assert texts == [HOSTILE, "a"]
    with pytest.raises(TypeError, match="no HTML"):
        written(dcc.Graph())
