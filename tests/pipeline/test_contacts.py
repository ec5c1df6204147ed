"""Contacts, flights and attempts on bodies whose motion is drawn to be known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imujump.model import Side, TakeOffStyle
from imujump.pipeline.attempts import (
    BOUNCES,
    REBOUND_S,
    SAME_ACTION_S,
    Flight,
    build_jump,
    pelvis_flights,
    pick_attempts,
    shank_flights,
)
from imujump.pipeline.contacts import Contact
from imujump.pipeline.level_crossing import crossing

from .drawn import GRAVITY, STEP_S, body, thrown


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


class TestFlights:
    def test_a_throw_is_found_with_its_instants(self) -> None:
        """Up at 2.0 s with 2.7 m/s: apex 0.275 s later, down after 0.551 s."""
        flying = thrown([2.0], 2.7, 5.0)
        (flight,) = pelvis_flights(body(pelvis=flying))
        fly_s = 2.0 * 2.7 / GRAVITY
        # The path is summed in steps and differentiated twice: three samples at a corner.
        near = 3 * STEP_S
        assert flight.start * STEP_S == pytest.approx(2.0, abs=near)
        assert flight.apex * STEP_S == pytest.approx(2.0 + fly_s / 2, abs=near)

    def test_a_throw_ends_where_the_load_comes_back(self) -> None:
        (flight,) = pelvis_flights(body(pelvis=thrown([2.0], 2.7, 5.0)))
        assert flight.end * STEP_S == pytest.approx(2.0 + 2.0 * 2.7 / GRAVITY, abs=3 * STEP_S)

    @pytest.mark.parametrize("rise_mps", [0.3, 0.7])
    def test_running_steps_are_no_flights(self, rise_mps: float) -> None:
        flights = pelvis_flights(body(pelvis=thrown([2.0], rise_mps, 5.0)))
        assert [f for f in flights if f.high] == []

    def test_no_pelvis_no_flights(self) -> None:
        assert pelvis_flights(body(left_shank=thrown([2.0], 2.7, 5.0))) == []


def contact(side: Side, strike_s: float | None, toe_off_s: float | None) -> Contact:
    strike = None if strike_s is None else strike_s / STEP_S
    toe_off = None if toe_off_s is None else toe_off_s / STEP_S
    return Contact(side, strike, 0.005, toe_off, 0.005)


L, R = Side.LEFT, Side.RIGHT

RUN_UP = [
    contact(L, None, 1.0),
    contact(R, None, 1.3),
    contact(L, 1.4, 1.6),
    contact(R, 1.7, 1.88),
    contact(L, 1.98, 2.15),
]


class TestShankFlights:
    def test_both_feet_off_for_long_enough(self) -> None:
        contacts = (*RUN_UP, contact(R, 2.7, 4.0), contact(L, 2.72, None))
        (flight,) = shank_flights(tuple(contacts), STEP_S)
        assert flight.start * STEP_S == pytest.approx(2.15)
        assert flight.end * STEP_S == pytest.approx(2.7)

    def test_a_foot_that_stays_holds_the_body(self) -> None:
        contacts = (contact(L, None, None), contact(R, None, 1.0), contact(R, 2.0, None))
        assert shank_flights(contacts, STEP_S) == []


class TestJumps:
    FLIGHT = Flight(2.15 / STEP_S, round(2.4 / STEP_S), 2.7 / STEP_S)

    def test_one_foot(self) -> None:
        still = thrown([], 0.0, 6.0)
        whole = body(pelvis=still, left_shank=still, right_shank=still)
        contacts = (*RUN_UP, contact(R, 2.7, 4.0), contact(L, 2.72, None))
        jump = build_jump(whole, self.FLIGHT, contacts)
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
        jump = build_jump(whole, self.FLIGHT, contacts)
        assert jump.style is TakeOffStyle.TWO_FOOT
        assert [c.side for c in jump.plant] == [R, L]
        assert jump.plant_strike == plant.strike
        assert jump.toe_off * STEP_S == pytest.approx(2.15)


class TestAttempts:
    def flights(self, gap_s: float, count: int) -> list[Flight]:
        one = 0.5
        starts = [1.0 + k * (one + gap_s) for k in range(count)]
        return [Flight(s / STEP_S, round((s + 0.25) / STEP_S), (s + one) / STEP_S) for s in starts]

    def pick(self, flights: list[Flight], highest: int, speed_mps: float) -> list[Flight]:
        n = round(flights[-1].end) + 1
        heights = np.zeros(n)
        for k, flight in enumerate(flights):
            heights[flight.apex] = 0.4 if k == highest else 0.2
        return pick_attempts(flights, heights, np.full(n, speed_mps), STEP_S)

    def test_bouncing_on_the_spot_is_dropped(self) -> None:
        flights = self.flights(0.6 * REBOUND_S, BOUNCES + 2)
        assert self.pick(flights, -1, 0.2) == []

    def test_a_jump_that_stands_out_of_bounces_is_kept(self) -> None:
        flights = self.flights(0.6 * REBOUND_S, BOUNCES + 2)
        assert self.pick(flights, 2, 0.2) == [flights[2]]

    def test_the_highest_of_one_action_stands_for_it(self) -> None:
        flights = self.flights(0.5 * SAME_ACTION_S, 3)
        assert self.pick(flights, 1, 3.0) == [flights[1]]

    def test_a_rebound_higher_than_its_jump_is_not_the_jump(self) -> None:
        flights = self.flights(0.5 * REBOUND_S, 2)
        assert self.pick(flights, 1, 3.0) == [flights[0]]

    def test_actions_apart_are_attempts_each(self) -> None:
        flights = self.flights(1.2 * SAME_ACTION_S, 3)
        assert self.pick(flights, 0, 3.0) == flights
