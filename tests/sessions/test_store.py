"""What goes into the store comes out again, from a file and from a server."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from imujump.errors import ConsentError, NotKeptError
from imujump.model import METRIC_NAMES, Side, TakeOffStyle
from imujump.sessions.records import BodyMeasure, NoteKind, Standing, Task
from imujump.sessions.store import SessionStore, open_store
from tests.sessions.invented import STARTED, a_session, at, keep, three_jumps, with_metric


def test_athlete_and_body_measures_come_back_after_closing(place):
    with open_store(place) as store:
        ada = store.add_athlete(
            "Ada Bell",
            birth_year=2001,
            stature_m=1.8,
            leg_length_m=0.93,
            take_off_side=Side.LEFT,
        )
        store.add_body_measure(ada.athlete_id, BodyMeasure(date(2026, 2, 1), 68.5))
        store.add_body_measure(ada.athlete_id, BodyMeasure(date(2026, 1, 1), 69.0, 1.81))
        store.add_body_measure(ada.athlete_id, BodyMeasure(date(2026, 2, 1), 68.0))
    with open_store(place) as store:
        assert store.athletes() == [ada]
        assert ada.take_off_side is Side.LEFT
        assert store.find_athlete("  ADA   bell ") == ada
        assert store.body_measures(ada.athlete_id) == [
            BodyMeasure(date(2026, 1, 1), 69.0, 1.81),
            BodyMeasure(date(2026, 2, 1), 68.0),
        ]
        changed = store.change_athlete(ada.athlete_id, name="Ada Carr", stature_m=None)
        assert changed == replace(ada, name="Ada Carr", stature_m=None)
        assert store.find_athlete("Ada Bell") is None


def test_names_are_unique_and_facts_possible(store):
    ada = store.add_athlete("Ada")
    bea = store.add_athlete("Bea")
    with pytest.raises(ValueError, match="already"):
        store.add_athlete("ADA")
    with pytest.raises(ValueError, match="already"):
        store.change_athlete(bea.athlete_id, name="ada")
    with pytest.raises(ValueError, match=r"stature is 180 m"):
        store.change_athlete(ada.athlete_id, stature_m=180.0)
    with pytest.raises(ValueError, match="birth year"):
        store.add_athlete("Cleo", birth_year=1066)
    with pytest.raises(ValueError, match="body mass"):
        store.add_body_measure(ada.athlete_id, BodyMeasure(date(2026, 1, 1), 6800.0))
    with pytest.raises(ValueError, match="Give a name"):
        store.add_athlete(" \x00 ")
    assert [athlete.name for athlete in store.athletes()] == ["Ada", "Bea"]


def test_an_analysis_comes_back_with_every_figure(store):
    session = a_session(store, surface="mondo", shoe="spikes", place="hall", mounting="tape")
    kept = keep(store, session)
    assert kept.is_new
    assert not kept.analysed_again
    got = store.attempts(session.session_id)
    assert [attempt.attempt_id for attempt in got] == list(kept.attempt_ids)
    for stored, attempt in zip(got, three_jumps().attempts, strict=True):
        assert stored.number == attempt.number
        assert stored.taken_utc == STARTED + timedelta(seconds=attempt.toe_off_s)
        assert (stored.style, stored.side) == (attempt.take_off_style, attempt.take_off_side)
        assert (stored.valid, stored.reasons) == (attempt.valid, attempt.reasons)
        assert (stored.events, stored.steps) == (attempt.events, attempt.steps)
        assert (stored.start_s, stored.landing_s) == (attempt.start_s, attempt.landing_s)
        for name in METRIC_NAMES:
            if (stored.number, name) != (2, "turn_rad"):
                assert stored.metrics[name] == attempt.metrics[name], name
        assert store.attempt(stored.attempt_id) == stored
    # NaN is no figure, in a database neither.
    assert got[1].metrics["turn_rad"].value is None
    assert [attempt.task for attempt in got] == [Task.ONE_FOOT, Task.TWO_FOOT, Task.ONE_FOOT]
    assert [attempt.counts for attempt in got] == [True, True, False]
    assert store.session(session.session_id).mounting == "tape"


def test_a_task_is_corrected_and_what_was_said_first_stays(store):
    session = a_session(store)
    kept = keep(store, session)
    first, second, _ = kept.attempt_ids
    before = store.attempts(session.session_id)
    store.set_task(first, Task.STANDING)
    store.set_task(first, Task.TWO_FOOT)
    corrected = store.attempt(first)
    assert (corrected.task, corrected.first_task) == (Task.TWO_FOOT, Task.ONE_FOOT)
    # Whoever says again what was said first has corrected nothing.
    assert store.set_task(first, Task.ONE_FOOT) == before[0]
    store.set_recording_task(kept.recording.recording_id, Task.STANDING)
    assert {a.task for a in store.attempts(session.session_id)} == {Task.STANDING}
    assert store.withdraw_task(second) == before[1]
    store.withdraw_recording_task(kept.recording.recording_id)
    assert store.attempts(session.session_id) == before


def test_the_best_attempt_of_each_session_counts_and_is_of_the_task(store):
    session = a_session(store)
    higher = with_metric(three_jumps(), 1, "height_flight_m", 0.5, 0.01)
    low, standing, marked, best = (
        keep(store, session, name, analysis).attempt_ids[0]
        for name, analysis in zip("abcd", (three_jumps(), *[higher] * 3), strict=True)
    )
    store.set_task(standing, Task.STANDING)
    store.mark_invalid(marked, "slipped")
    empty = a_session(store)
    ids = [session.session_id, empty.session_id]
    found = store.best_attempts(ids, "height_flight_m", Task.ONE_FOOT)
    assert found == {session.session_id: (best, 0.5)}
    store.mark_invalid(best, "slipped")
    found = store.best_attempts(ids, "height_flight_m", Task.ONE_FOOT)
    assert found == {session.session_id: (low, 0.3877)}
    assert store.sessions_of(session.athlete_id) == [empty, session]


def test_lists_of_sessions_tell_their_counts(store):
    first, second = a_session(store), a_session(store)
    other = a_session(store, "Bea")
    store.change_session(second.session_id, started_utc=STARTED + timedelta(days=1), note="windy")
    keep(store, first, "a")
    keep(store, second, "b", standing=Standing.WAITING)
    marked = keep(store, other, "c").attempt_ids[0]
    store.mark_invalid(marked, "slipped")
    told = store.sessions()
    assert [(o.athlete_name, o.attempts, o.counted, o.waiting) for o in told] == [
        ("Ada Bell", 3, 0, 3),
        ("Bea", 3, 1, 0),
        ("Ada Bell", 3, 2, 0),
    ]
    assert told[0].session.note == "windy"
    assert [o.session.session_id for o in store.sessions(other.athlete_id)] == [other.session_id]
    assert store.sessions(other.athlete_id)[0].counted == 1
    assert [store.sessions(None, first, 2) for first in (0, 2, 4)] == [told[:2], told[2:], []]
    assert store.sessions(first.athlete_id, 1, 1) == [told[2]]
    assert (store.number_of_sessions(), store.number_of_sessions(other.athlete_id)) == (3, 1)
    ids = [o.session.session_id for o in told]
    heights = store.counting_values(ids, "height_flight_m")
    counting = [a for i in ids for a in store.attempts(i) if a.counts]
    assert {(i, task): values for i, own in heights.items() for task, values in own.items()} == {
        (a.session_id, a.task): [a.metrics["height_flight_m"].value] for a in counting
    }
    assert len(counting) == 3


def test_marks_and_notes_are_taken_back_without_being_deleted(store):
    session = a_session(store)
    attempt_id = keep(store, session).attempt_ids[0]
    assert store.mark_invalid(attempt_id, "slipped").invalid_mark == "slipped"
    assert store.mark_invalid(attempt_id, "stepped over").invalid_mark == "stepped over"
    assert not store.attempt(attempt_id).counts
    assert store.withdraw_mark(attempt_id).invalid_mark is None
    assert store.attempt(attempt_id).counts
    note = store.add_note(session.session_id, NoteKind.CUE, "hips low", attempt_id)
    earlier = store.add_note(
        session.session_id, NoteKind.NEW_SET, "", noted_utc=STARTED - timedelta(hours=1)
    )
    assert store.notes(session.session_id) == [earlier, note]
    store.withdraw_note(note.note_id)
    assert store.notes(session.session_id) == [earlier]
    store.restore_note(note.note_id)
    assert store.notes(session.session_id) == [earlier, note]
    assert store.counts()["invalid_marks"] == 2


def test_a_newer_pipeline_keeps_the_old_figures_beside_the_new(store):
    session = a_session(store)
    old = keep(store, session, version="1.0")
    assert keep(store, session, version="1.0") == replace(old, is_new=False, moved={})
    newer = with_metric(three_jumps(), 1, "flight_s", 0.5700, 0.0103)
    newer = with_metric(newer, 1, "height_flight_m", 0.45, 0.01)
    newer = with_metric(newer, 1, "plant_interval_s", 0.05, 0.01)
    # It finds the second jump a little later, one more, and the third no longer.
    jumps = newer.attempts
    newer = replace(newer, attempts=(jumps[0], at(jumps[1], 2, 50.2), at(jumps[1], 3, 100.0)))
    kept = keep(store, session, analysis=newer, version="1.1")
    assert kept.analysed_again
    assert not kept.is_new
    assert set(old.attempt_ids[:2]) < set(kept.attempt_ids)
    assert kept.lost == (old.attempt_ids[2],)
    moved = {change.metric: change for change in store.moved(old.attempt_ids[0])}
    assert kept.moved[old.attempt_ids[0]] == tuple(moved.values())
    assert {name: change.beyond for name, change in moved.items()} == {
        "flight_s": False,  # 7.6 ms against 14.6 ms
        "height_flight_m": True,  # 6.2 cm against 1.7 cm
        "plant_interval_s": True,  # gained
    }
    assert moved["flight_s"].old.value == 0.5624
    assert (moved["flight_s"].old_version, moved["flight_s"].new_version) == ("1.0", "1.1")
    both = store.results(old.attempt_ids[0])
    assert [r.metrics["flight_s"].value for r in both] == [0.5624, 0.57]
    assert store.attempt(old.attempt_ids[0]) == both[1]
    assert [a.number for a in store.attempts(session.session_id)] == [1, 2, 3, 4]
    assert store.moved(old.attempt_ids[2]) == ()


def test_a_correction_by_hand_stays_shown_until_the_coach_says_otherwise(store):
    session = a_session(store)
    attempt_id = keep(store, session).attempt_ids[0]
    by_hand = with_metric(three_jumps(), 1, "flight_s", 0.6, 0.01).attempts[0]
    shown = store.keep_by_hand(attempt_id, by_hand, "1.0")
    assert shown.hand_events
    assert shown.metrics["flight_s"].value == 0.6
    keep(store, session, version="1.1")
    assert store.attempt(attempt_id).hand_events
    measured = store.show_measured(attempt_id)
    assert not measured.hand_events
    assert measured.pipeline_version == "1.1"
    assert [r.hand_events for r in store.results(attempt_id)] == [False, True, False]


def test_waiting_recordings_count_after_the_coach_has_confirmed(store):
    session = a_session(store)
    recording = keep(store, session, standing=Standing.WAITING).recording
    assert store.waiting() == [recording]
    assert store.waiting(session.athlete_id) == [recording]
    assert not any(attempt.counts for attempt in store.attempts(session.session_id))
    store.set_standing(recording.recording_id, Standing.COUNTED)
    assert store.waiting() == []
    assert any(attempt.counts for attempt in store.attempts(session.session_id))
    store.set_standing(recording.recording_id, Standing.REFUSED)
    assert not any(attempt.counts for attempt in store.attempts(session.session_id))
    assert store.find_recording(recording.sha256).standing is Standing.REFUSED


def test_series_give_one_metric_of_many_attempts_in_order(store):
    later, session = a_session(store, shoe="flats"), a_session(store, shoe="spikes")
    keep(store, later, "b", replace(three_jumps(), started_utc=STARTED + timedelta(days=7)))
    keep(store, session, "a")
    keep(store, a_session(store, "Bea"), "c")
    names = ["flight_s", "height_flight_m"]
    table = store.series(session.athlete_id, names)
    assert len(table) == 12
    assert list(table["metric"][:2]) == names
    assert list(table["shoe"].unique()) == ["spikes", "flats"]
    assert table["taken_utc"].is_monotonic_increasing
    first = table.iloc[0]
    assert (first["value"], first["sigma"], first["counts"]) == (0.5624, 0.0103, True)
    assert first["style"] == TakeOffStyle.ONE_FOOT
    assert table[table["number"] == 3]["value"].isna().all()
    assert not table[table["number"] == 3]["counts"].any()
    two = store.series(session.athlete_id, ["flight_s"], Task.TWO_FOOT)
    assert list(two["number"]) == [2, 2]
    assert len(store.series(None, ["flight_s"])) == 9
    empty = store.series(session.athlete_id, ["flight_s"], Task.STANDING)
    assert list(empty.columns) == list(table.columns)
    assert empty["value"].mean() != 0.0


def test_results_of_a_minor_need_a_guardians_consent(store):
    session = a_session(store)
    store.change_athlete(session.athlete_id, birth_year=2010)
    with pytest.raises(ConsentError, match=r'--edit "Ada Bell" --consent') as refused:
        keep(store, session)
    assert refused.value.place == "Ada Bell"
    assert store.counts()["recordings"] == 0
    store.change_athlete(session.athlete_id, guardian_consent_on=date(2026, 3, 1))
    assert keep(store, session).is_new


def test_what_is_not_there_is_told(store):
    for ask in (store.athlete, store.session, store.attempt, store.recording, store.withdraw_note):
        with pytest.raises(NotKeptError, match="no such"):
            ask(4711)
    with pytest.raises(NotKeptError):
        store.add_session(4711, datetime.now(UTC))
    assert store.find_athlete("Nobody") is None
    assert store.notes(4711) == []


@pytest.mark.parametrize(
    "name",
    [
        "Robert'); DROP TABLE athletes;--",
        "<script>alert(1)</script>",
        '=HYPERLINK("x")',
        "\u202eevil",
        "a\x00b",
        "half \ud800 sign",
        "Zoë 李 😀",
        "%s %(name)s {0} :name ?",
    ],
)
def test_hostile_names_and_long_notes_do_no_harm(store: SessionStore, name: str):
    session = a_session(store, name, note=name)
    note = store.add_note(session.session_id, NoteKind.SEEN, f"{name}\n" * 50_000)
    assert len(note.text) >= 50_000 * len(name.replace("\x00", ""))
    assert store.notes(session.session_id) == [note]
    (athlete,) = store.athletes()
    assert store.find_athlete(athlete.name) == athlete
    assert store.find_athlete(name) == athlete
    assert "\x00" not in athlete.name
