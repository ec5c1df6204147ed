"""From stored attempts to sessions of one metric."""

from __future__ import annotations

import shutil
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest

from imujump.model import Estimate, Side
from imujump.sessions.readings import Filter, metric_by_session, metric_from_table
from imujump.sessions.records import Session, Standing, StoredAttempt, Task
from imujump.sessions.store import open_store

from .invented import a_session, keep

START = datetime(2026, 2, 1, 18, tzinfo=UTC)
SESSIONS = [
    Session(2, 1, START + timedelta(days=7), "sand", "none", mounting="b"),
    Session(1, 1, START, "hall", "low", mounting="a"),
]
METRIC = "height_flight_m"


def attempt(number: int, value: float | None, session: int = 1, **changed) -> StoredAttempt:
    plain = StoredAttempt(
        attempt_id=number,
        session_id=session,
        athlete_id=1,
        recording_id=1,
        number=number,
        task=Task.ONE_FOOT,
        taken_utc=START + timedelta(minutes=number),
        pipeline_version="1",
        style=None,
        side=Side.LEFT,
        valid=True,
        metrics={METRIC: Estimate(value, None if value is None else 0.01, None, "invented")},
    )
    return replace(plain, **changed)


ATTEMPTS = [
    attempt(3, 0.43),
    attempt(1, 0.41),
    attempt(2, None),
    attempt(4, float("nan")),
    attempt(5, 0.50, valid=False),
    attempt(6, 0.50, invalid_mark="stumbled"),
    attempt(7, 0.50, standing=Standing.WAITING),
    attempt(8, 0.60, task=Task.TWO_FOOT),
    attempt(9, 0.45, side=Side.RIGHT),
    attempt(10, 0.44, 2, pipeline_version="2", taken_utc=START + timedelta(days=7, minutes=1)),
    attempt(11, 0.44, session=99),
]


def test_only_what_counts_in_order_of_time() -> None:
    found = metric_by_session(ATTEMPTS, SESSIONS, METRIC, Filter(Task.ONE_FOOT))
    assert [s.session_id for s in found] == [1, 2]
    assert found[0].values.tolist() == [0.41, 0.43, 0.45]
    assert found[0].mean == pytest.approx(0.43)
    assert found[0].sigma == pytest.approx(0.01)
    assert found[0].conditions.sides == {"left", "right"}
    assert found[1].conditions.pipelines == {"2"}
    assert found[1].conditions.surface == "sand"


def test_filters() -> None:
    def ids(**wanted) -> list[int]:
        chosen = Filter(**{"task": Task.ONE_FOOT, **wanted})
        found = metric_by_session(ATTEMPTS, SESSIONS, METRIC, chosen)
        return [r.attempt_id for session in found for r in session.readings]

    assert ids(side=Side.RIGHT) == [9]
    assert ids(surface="sand") == ids(shoe="none") == ids(mounting="b") == [10]
    assert ids(since=START + timedelta(days=1)) == [10]
    assert ids(until=START + timedelta(days=1)) == [1, 3, 9]
    assert ids(task=Task.TWO_FOOT) == [8]
    assert ids(task=Task.STANDING) == []
    assert metric_by_session([], SESSIONS, METRIC, Filter(Task.ONE_FOOT)) == ()
    two = metric_by_session(ATTEMPTS, SESSIONS, METRIC, Filter(Task.TWO_FOOT))
    assert two[0].conditions.sides == frozenset()


def test_athletes_are_not_mixed() -> None:
    with pytest.raises(ValueError, match=r"^attempts are of 2 athletes"):
        metric_by_session(
            [ATTEMPTS[0], attempt(1, 0.4, athlete_id=2)], SESSIONS, METRIC, Filter(Task.ONE_FOOT)
        )


def test_a_table_gives_the_same() -> None:
    # Session 2 in two conditions each, one attempt a row, as the store hands them out.
    about = {s.session_id: s for s in SESSIONS}
    table = pd.DataFrame(
        [
            {
                **{n: getattr(a, n) for n in ("attempt_id", "session_id", "athlete_id", "counts")},
                **{n: getattr(a, n) for n in ("taken_utc", "pipeline_version")},
                "task": str(a.task),
                "side": str(a.side),
                **{n: getattr(about[a.session_id], n) for n in ("surface", "shoe", "mounting")},
                "metric": METRIC,
                "value": a.metrics[METRIC].value,
                "sigma": a.metrics[METRIC].sigma,
            }
            for a in ATTEMPTS
            if a.session_id in about
        ]
    )
    for wanted in (
        Filter(Task.ONE_FOOT),
        Filter(Task.TWO_FOOT),
        Filter(Task.ONE_FOOT, side=Side.RIGHT),
        Filter(Task.ONE_FOOT, surface="sand"),
        Filter(Task.STANDING),
        Filter(Task.ONE_FOOT, since=START + timedelta(days=1)),
    ):
        told = metric_from_table(table, METRIC, wanted)
        plain = metric_by_session(ATTEMPTS, SESSIONS, METRIC, wanted)
        assert [s.readings for s in told] == [s.readings for s in plain]
        assert [s.conditions for s in told] == [s.conditions for s in plain]
    with pytest.raises(ValueError, match=r"^table is of 2 athletes"):
        metric_from_table(table.assign(athlete_id=range(len(table))).head(2), METRIC, wanted)


def test_the_table_of_a_store_gives_the_same(empty_file, tmp_path) -> None:
    shutil.copy(empty_file, tmp_path / "club.sqlite")
    with closing(open_store(tmp_path / "club.sqlite")) as store:
        kept = [
            (session, keep(store, session, name))
            for session, name in ((a_session(store, surface="hall"), "a"), (a_session(store), "b"))
        ]
        athlete = kept[0][0].athlete_id
        table = store.series(athlete, [METRIC])
        for wanted in (Filter(Task.ONE_FOOT), Filter(Task.TWO_FOOT, surface="hall")):
            told = metric_from_table(table, METRIC, wanted)
            plain = metric_by_session(
                store.attempts_of(athlete), [session for session, _ in kept], METRIC, wanted
            )
            assert told
            assert [s.readings for s in told] == [s.readings for s in plain]
            assert [s.conditions for s in told] == [s.conditions for s in plain]
        assert metric_from_table(store.series(99, [METRIC]), METRIC, wanted) == ()
