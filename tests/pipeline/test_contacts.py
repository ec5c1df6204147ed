"""Contacts and what belongs to a jump, on bodies whose motion is drawn to be known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imujump.model import Placement, TakeOffStyle
from imujump.pipeline.attempts import build_jump
from imujump.pipeline.body import Body, SensorWindow, Window
from imujump.pipeline.flights import Flight
from imujump.pipeline.level_crossing import crossing

from .drawn import RUN_UP, STEP_S, L, R, body, contact, thrown


class TestCrossing:
    def test_a_straight_line_is_met_where_it_says(self) -> None:
        line = 0.5 * np.arange(20.0)
        assert crossing(line, 3, 4.1, 1) == pytest.approx(8.2)
        assert crossing(line[::-1], 12, 4.1, -1) == pytest.approx(19 - 8.2)

    def test_the_first_meeting_counts(self) -> None:
        saw = np.array((0.0, 2.0, 0.0, 2.0, 0.0, 4.0))
        assert crossing(saw, 0, 1.0, 1) == pytest.approx(0.5)
        assert crossing(saw, 2, 1.0, 1) == pytest.approx(2.5)
        assert crossing(saw, 2, 1.0, -1) == pytest.approx(1.5)
        assert crossing(saw, 0, 3.0, 1) == pytest.approx(4.75)

    def test_the_end_when_it_is_never_met(self) -> None:
        flat = np.zeros(9)
        assert crossing(flat, 4, 1.0, 1) == 8.0
        assert crossing(flat, 4, 1.0, -1) == 0.0

    @given(
        st.lists(st.floats(-10.0, 10.0), min_size=2, max_size=30),
        st.floats(-10.0, 10.0),
        st.data(),
    )
    def test_walking_back_is_walking_on_in_the_mirror(
        self, numbers: list[float], level: float, data: st.DataObject
    ) -> None:
        values = np.array(numbers)
        start = data.draw(st.integers(0, len(values) - 1))
        last = len(values) - 1
        there = crossing(values[::-1].copy(), last - start, level, 1)
        assert crossing(values, start, level, -1) == pytest.approx(last - there)


def window(whole: Body) -> Window:
    """All that was received, in silence."""
    n = len(whole.paths[Placement.PELVIS].rot)
    zeros, none = np.zeros((n, 3)), np.zeros(n, dtype=bool)
    sensor = SensorWindow(zeros, zeros, np.array((0.0, 0.0, 1.0)), none, none, 0.001)
    return Window(STEP_S, 9.80665, dict.fromkeys(whole.paths, sensor), ((0, 9),))


class TestJumps:
    FLIGHT = Flight(2.15 / STEP_S, round(2.4 / STEP_S), 2.7 / STEP_S, 2.7)

    def test_one_foot(self) -> None:
        still = thrown([], 0.0, 6.0)
        whole = body(pelvis=still, left_shank=still, right_shank=still)
        contacts = (*RUN_UP, contact(R, 2.7, 4.0), contact(L, 2.72, None))
        jump = build_jump(window(whole), whole, self.FLIGHT, contacts)
        assert jump.style is TakeOffStyle.ONE_FOOT
        assert [c.side for c in jump.plant] == [L]
        assert jump.toe_off * STEP_S == pytest.approx(2.15)
        assert jump.landing * STEP_S == pytest.approx(2.7)
        assert [c.side for c in jump.run_up] == [L, R]
        assert [c.side for c in jump.landings] == [R, L]

    def test_two_feet(self) -> None:
        still = thrown([], 0.0, 6.0)
        whole = body(pelvis=still, left_shank=still, right_shank=still)
        plant = contact(R, 1.75, 2.14)
        contacts = (*RUN_UP[:3], plant, contact(L, 1.82, 2.15), contact(R, 2.7, None))
        jump = build_jump(window(whole), whole, self.FLIGHT, contacts)
        assert jump.style is TakeOffStyle.TWO_FOOT
        assert [c.side for c in jump.plant] == [R, L]
        assert jump.plant_strike == plant.strike
        assert jump.toe_off * STEP_S == pytest.approx(2.15)
