"""From the store to what the trends and athlete pages show, and what the latter may change."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest

from dashboard.pages import athlete as athlete_page
from dashboard.pages import athletes as athletes_page
from dashboard.pages import trends as trends_page
from dashboard.review import actions
from dashboard.review.athlete_report import athlete_report
from dashboard.review.athlete_view import AthleteView, athlete_view
from dashboard.review.door import StoreDoor
from dashboard.review.plain_html import written
from dashboard.review.trends_view import NO_ATTEMPTS, NOT_THESE, trends_view
from imujump.answers_in_words import change_sentence
from imujump.athlete_answers import recent
from imujump.athlete_load import load_answer
from imujump.errors import NotKeptError
from imujump.metric_course import HEIGHT, metric_course
from imujump.model import Side
from imujump.sessions.readings import Filter, metric_by_session
from imujump.sessions.records import BodyMeasure, Task
from imujump.sessions.store import SessionStore, open_store
from imujump.sessions.trends import trend
from imujump.wording import METRICS
from tests.sessions.kept_seasons import BEGIN, keep_season, keep_session

HOSTILE = '<script>alert(1)</script><a href="javascript:x">&'


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SessionStore]:
    """Ada (1) steps up, Ben (2) does not, the third is new, Dan (4) has nothing."""
    with open_store(tmp_path_factory.mktemp("club") / "club.sqlite") as opened:
        ada = keep_season(opened, "Ada Bell", sessions=24, step_m=0.06, cue="Low into plant")
        opened.change_athlete(ada, birth_year=1999)
        opened.add_body_measure(ada, BodyMeasure(date(2026, 1, 8), 60.0))
        began = BEGIN + timedelta(days=2)
        one = [{HEIGHT: h} for h in (0.50, 0.51, 0.52)]
        session = keep_session(opened, ada, began, one)
        weaker = [{HEIGHT: h} for h in (0.46, 0.47, 0.48)]
        keep_session(opened, ada, began, weaker, side=Side.RIGHT, session=session)
        tests = [{HEIGHT: h} for h in (0.40, 0.41, 0.42)]
        keep_session(opened, ada, began, tests, task=Task.STANDING, session=session)
        ben = keep_season(opened, "Ben Stone", sessions=8, seed=3)
        for overview in opened.sessions(ben)[:3]:
            opened.change_session(overview.session.session_id, shoe=HOSTILE)
        keep_season(opened, HOSTILE, sessions=2)
        opened.add_athlete("Dan Empty")
        yield opened


def test_the_sentence_is_that_of_the_statistics(store: SessionStore) -> None:
    view = trends_view(store, {"athlete": "1"})
    sessions = [overview.session for overview in store.sessions(1)]
    readings = metric_by_session(store.attempts_of(1), sessions, HEIGHT, Filter(Task.ONE_FOOT))
    found = trend(readings)
    assert view.sentence == change_sentence(found.change, METRICS[HEIGHT])
    assert view.changed
    assert "has changed: +" in view.sentence
    assert view.figure is not None
    (points, *levels) = view.figure["data"]
    assert points["y"] == pytest.approx([100.0 * s.mean for s in readings])
    assert points["error_y"]["array"] == pytest.approx(
        [100.0 * level.interval.half for level in found.levels if level.interval]
    )
    assert [line["y"][0] for line in levels] == pytest.approx(
        [100.0 * period.mean for period in (found.change.first, found.change.latest) if period]
    )
    band = view.figure["layout"]["shapes"][0]
    assert found.session_change is not None
    assert band["y1"] - band["y0"] == pytest.approx(200.0 * found.session_change)
    assert len(view.lines) == 20
    assert view.more == 5


def test_without_a_change_nothing_is_marked(store: SessionStore) -> None:
    view = trends_view(store, {"athlete": "2"})
    assert not view.changed
    assert view.figure is not None
    assert len(view.figure["data"]) == 1
    assert all(shape.get("yref") != "paper" for shape in view.figure["layout"]["shapes"])


def test_conditions_that_changed_are_said_and_can_be_chosen(store: SessionStore) -> None:
    view = trends_view(store, {"athlete": "2"})
    assert any("shoe was not the same" in text for text in view.cautions)
    assert set(view.choices) == {"athlete", "metric", "task", "shoe", "from", "to"}
    address = next(a for a, text in view.choices["shoe"].options.items() if text == HOSTILE)
    chosen = trends_view(store, dict(parse_qsl(urlsplit(address).query)))
    assert len(chosen.lines) == 3
    assert chosen.choices["shoe"].own == address


@pytest.mark.parametrize("name", ["metric", "task", "from", "to", "side"])
def test_every_choice_is_an_address_that_chooses_it(store: SessionStore, name: str) -> None:
    choice = trends_view(store, {"athlete": "1"}).choices[name]
    assert choice.own in choice.options
    for address in choice.options:
        again = trends_view(store, dict(parse_qsl(urlsplit(address).query))).choices[name]
        assert again.own == address
        assert again.options == choice.options


def test_another_athlete_keeps_the_metric_but_not_the_shoe(store: SessionStore) -> None:
    told = {"athlete": "2", "metric": "lowering_m", "shoe": "Indoor shoes"}
    to_ada = next(
        a for a, t in trends_view(store, told).choices["athlete"].options.items() if t == "Ada Bell"
    )
    assert to_ada == "/trends?athlete=1&metric=lowering_m"


@pytest.mark.parametrize(
    "told",
    [
        {"metric": "x", "task": "y", "from": "2026-13-01", "side": "up"},
        {"athlete": "-1"},
        {"athlete": "9" * 30},
    ],
)
def test_what_an_address_cannot_mean_is_passed_over(
    store: SessionStore, told: dict[str, str]
) -> None:
    assert trends_view(store, told).athlete_id is not None


def test_empty_states_say_what_to_do(store: SessionStore, tmp_path: Path) -> None:
    assert trends_view(store, {"athlete": "4"}).sentence == NO_ATTEMPTS
    assert "imujump add RECORDING" in written(athlete_page._draw(store, {"athlete_id": "4"}))
    assert trends_view(store, {"athlete": "1", "from": "2030-01-01"}).sentence == NOT_THESE
    with pytest.raises(NotKeptError):
        trends_view(store, {"athlete": "99"})
    with pytest.raises(NotKeptError):
        athlete_view(store, 99, {})
    with open_store(tmp_path / "new.sqlite") as new:
        assert "imujump add RECORDING" in trends_view(new, {}).sentence
        assert "Add one below" in written(athletes_page._draw(new, {}))


def test_hostile_names_reach_no_picture_or_graph_as_markup(store: SessionStore) -> None:
    view = trends_view(store, {"athlete": "2"})
    assert "<script" not in json.dumps(view.figure)
    assert "&lt;script&gt;" in json.dumps(view.figure)
    for drawn in (
        trends_page._draw(store, {"athlete": "3"}),
        athlete_page._draw(store, {"athlete_id": "3"}),
    ):
        assert "<script" not in written(drawn)
        assert "&lt;script&gt;" in written(drawn)


@pytest.fixture(scope="module")
def ada(store: SessionStore) -> AthleteView:
    return athlete_view(store, 1, {})


def test_a_standing_test_gives_height_and_power(ada: AthleteView) -> None:
    assert ada.test is not None
    assert ada.test.height.startswith("41.0 ± ")
    assert ada.test.mass == "60.0 kg on 8 January 2026"
    sayers = ada.test.powers[0]
    # 60.7 · 41 + 45.3 · 60 − 2055 W (Sayers et al., 1999).
    assert sayers.watts.startswith("3152 ± ")
    assert sayers.per_kg.startswith("52.5 ± ")
    assert "own error comes on top" in sayers.reason


def test_power_needs_a_mass_near_the_test(store: SessionStore) -> None:
    store.remove_body_measure(1, date(2026, 1, 8))
    test = athlete_view(store, 1, {}).test
    store.add_body_measure(1, BodyMeasure(date(2026, 1, 8), 60.0))
    assert test is not None
    assert test.powers == ()
    assert "No body mass is noted within 30 days" in test.reason


def test_kinds_of_jumps_are_compared_within_sessions(ada: AthleteView) -> None:
    assert ada.compared is not None
    gain, style, side = ada.compared.sentences
    assert "standing" in gain
    assert "two-foot jumps of the same session are needed" in style
    # Left 51, right 47 cm.
    assert side.startswith("Left against right: +4.0 cm (likely ")
    assert "Left over right" in ada.compared.picture


def test_three_questions_have_sentence_number_and_picture(ada: AthleteView) -> None:
    for answer in (ada.cue_told, ada.speed_told, ada.companions_told):
        assert answer is not None
        assert re.search(r"\d+ (more )?(attempt|session)", answer.sentences[0])
        assert answer.picture.startswith("<svg")
    assert ada.cues is not None
    assert list(ada.cues.values()) == ["Low into plant"]
    assert ada.companions_told is not None
    assert ada.companions_told.sentences[0].startswith("Approach speed goes with height")


def test_load_counts_jumps_and_labels_no_risk(store: SessionStore) -> None:
    told = load_answer(recent(store, 2), today=date(2026, 2, 2))
    # Every four days from Monday, 5 January, five jumps each.
    assert [line.jumps for line in told.weeks] == [5, 5, 10, 10, 10]
    assert [line.change for line in told.weeks] == ["not over", "-50 %", "+0 %", "+0 %", ""]
    assert (
        told.sentences[0]
        == "Week 5: 5 jumps in 1 session; 50 % fewer than 10 a week in the weeks before."
    )
    assert [line.jumps for line in told.sessions] == [5] * 8
    late = load_answer(recent(store, 2), today=date(2027, 1, 1))
    assert late.sentences[0] == "No jump is kept since 2 February 2026."
    assert [line.jumps for line in late.weeks] == [5, 5, 10, 10, 10]
    words = " ".join((*told.sentences, told.caution, *told.sources)).casefold()
    assert "disagree" in words
    assert not re.search(r"danger|high risk|low risk|safe|overload", words)


def act(store: SessionStore, do: str, **what: Any) -> str:
    return actions.act(store, {"do": do, **what})


def test_facts_are_changed_and_refused(store: SessionStore) -> None:
    told = act(store, "add_athlete", facts={"name": " Eva  Reed "})
    assert told == "Eva Reed was added."
    eva = store.find_athlete("Eva Reed")
    assert eva is not None
    facts = {"name": "Eva Reed", "born": "2010", "stature": "171,5", "leg": "88", "side": "left",
             "consent": "2026-01-02"}  # fmt: skip
    act(store, "change_athlete", athlete=eva.athlete_id, facts=facts)
    found = store.athlete(eva.athlete_id)
    assert found.stature_m == pytest.approx(1.715)
    assert (found.birth_year, found.take_off_side) == (2010, Side.LEFT)
    assert found.guardian_consent_on == date(2026, 1, 2)
    act(store, "change_athlete", athlete=eva.athlete_id, facts={**facts, "leg": ""})
    assert store.athlete(eva.athlete_id).leg_length_m is None
    act(store, "add_measure", athlete=eva.athlete_id, facts={"mass": "58,5", "on": "2026-01-03"})
    assert store.body_measures(eva.athlete_id) == [BodyMeasure(date(2026, 1, 3), 58.5)]
    act(store, "remove_measure", athlete=eva.athlete_id, on="2026-01-03")
    assert store.body_measures(eva.athlete_id) == []


@pytest.mark.parametrize(
    ("do", "what", "told"),
    [
        ("change_athlete", {"facts": {"name": "Ada Bell", "born": "x"}}, "as 2009"),
        ("change_athlete", {"facts": {"name": "Ada Bell", "born": "2009.5"}}, "as 2009"),
        ("change_athlete", {"facts": {"name": "Ada Bell", "stature": "1.72"}}, "stature"),
        ("change_athlete", {"facts": {"name": "Ada Bell", "stature": "nan"}}, "stature"),
        ("change_athlete", {"facts": {"name": "", "born": ""}}, "name"),
        ("change_athlete", {"facts": {"name": "Ben Stone"}}, "There is an athlete"),
        ("change_athlete", {"facts": {"name": "Ada Bell", "side": "up"}}, "left, right"),
        ("change_athlete", {"facts": {"name": "Ada Bell", "consent": "soon"}}, "year-month-day"),
        ("change_athlete", {"facts": None}, "Reload"),
        ("add_measure", {"facts": {"mass": ""}}, "kilograms"),
        ("add_measure", {"facts": {"mass": "6000"}}, "mass"),
        ("remove_measure", {"on": "x"}, "year-month-day"),
        ("remove_measure", {"on": None}, "Reload"),
    ],
)
def test_facts_that_cannot_be_are_refused(
    store: SessionStore, do: str, what: dict[str, Any], told: str
) -> None:
    before = store.athlete(1), store.body_measures(1)
    with pytest.raises(ValueError, match=told):
        act(store, do, athlete=1, **what)
    assert (store.athlete(1), store.body_measures(1)) == before


def test_the_report_is_handed_out(store: SessionStore) -> None:
    door = StoreDoor(store.place)
    text, name = athlete_report(door, 1, {"aim": "Two ladders", "from": "2026-01-06"})
    assert "Two ladders" in text
    assert "7 January 2026 to" in text
    assert name.startswith("Ada_Bell_")
    with pytest.raises(ValueError, match="year-month-day"):
        athlete_report(door, 1, {"to": "soon"})
    with pytest.raises(NotKeptError):
        athlete_report(door, 99, {})
    door.close()


def test_a_growing_athlete_gets_growth_said(store: SessionStore) -> None:
    young = store.change_athlete(1, birth_year=2010, guardian_consent_on=date(2025, 1, 1))
    table = store.series(1, (HEIGHT,))
    course = metric_course(young, [], table, HEIGHT, Filter(Task.ONE_FOOT))
    store.change_athlete(1, birth_year=1999)
    assert any("growth may explain" in text for text in course.cautions)
