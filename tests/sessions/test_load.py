"""Jumps by session and ISO week, counted by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest

from imujump.sessions.load import (
    Jump,
    bands,
    best_height,
    edges_from_best,
    jumps_of,
    session_loads,
    week_loads,
)
from imujump.sessions.records import Standing

from .test_readings import attempt

MONDAY = datetime(2025, 12, 29, 12, tzinfo=UTC)


def jumps(*plan: tuple[int, int], height_m: float | None = 0.4) -> list[Jump]:
    """(day after Monday, how many), a session each."""
    return [
        Jump(k, MONDAY + timedelta(days=day), height_m)
        for k, (day, many) in enumerate(plan)
        for _ in range(many)
    ]


def test_weeks_are_iso_weeks_without_a_gap() -> None:
    weeks = week_loads(jumps((0, 10), (6, 20), (7, 60), (29, 5)), (), today=date(2026, 2, 3))
    assert [w.iso for w in weeks] == [(2026, k) for k in range(1, 7)]
    assert [w.bands.jumps for w in weeks] == [30, 60, 0, 0, 5, 0]
    assert [w.sessions for w in weeks] == [2, 1, 0, 0, 1, 0]
    assert weeks[0].recent_mean is None
    assert weeks[1].change_ratio == pytest.approx(1.0)
    assert weeks[2].change_ratio == pytest.approx(-1.0)
    # Mean of the four weeks before: 30, 60, 0, 0.
    assert weeks[4].recent_mean == pytest.approx(22.5)
    assert weeks[4].change_ratio == pytest.approx(5 / 22.5 - 1)
    assert not weeks[5].over
    assert weeks[5].change_ratio is None


def test_a_return_from_nothing_has_no_ratio() -> None:
    weeks = week_loads(jumps((0, 3), (35, 9)), ())
    assert weeks[-1].recent_mean == 0.0
    assert weeks[-1].change_ratio is None
    assert week_loads([], ()) == ()


def test_midnight_is_where_the_athlete_is() -> None:
    late = [Jump(1, datetime(2026, 1, 4, 23, 30, tzinfo=UTC), None)]
    assert week_loads(late, ())[0].monday == date(2025, 12, 29)
    east = timezone(timedelta(hours=1))
    assert week_loads(late, (), zone=east)[0].monday == date(2026, 1, 5)


def test_bands_of_height() -> None:
    told = [Jump(1, MONDAY, h) for h in (0.10, 0.25, 0.30, 0.45, 0.50, None)]
    found = bands(told, edges_from_best(best_height(told)))
    assert found.counts == (1, 2, 0, 2)
    assert (found.unknown, found.jumps) == (1, 6)
    assert bands(told, edges_from_best(None)).counts == (5,)
    loads = session_loads([*jumps((3, 2), (1, 4))], (0.5,))
    assert [s.bands.jumps for s in loads] == [4, 2]
    assert best_height([]) is None


def test_an_attempt_that_does_not_count_was_jumped_all_the_same() -> None:
    held = [
        attempt(1, 0.4),
        attempt(2, None, valid=False),
        attempt(3, 0.4, invalid_mark="stumbled"),
        attempt(4, 0.4, standing=Standing.WAITING),
        attempt(5, 0.4, standing=Standing.REFUSED),
    ]
    assert [j.height_m for j in jumps_of(held)] == [0.4, None, 0.4]
    with pytest.raises(ValueError, match="several athletes"):
        jumps_of([held[0], replace(held[1], athlete_id=2)])
