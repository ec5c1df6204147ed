"""Flights and the choice among them, on bodies whose motion is drawn to be known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.pipeline.flights import (
    FELLOWS,
    REBOUND_S,
    SAME_ACTION_S,
    Flight,
    pelvis_flights,
    pick_attempts,
    shank_flights,
)

from .drawn import GRAVITY, RUN_UP, STEP_S, L, R, body, contact, thrown


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

    def test_its_speed_is_that_of_the_throw(self) -> None:
        (flight,) = pelvis_flights(body(pelvis=thrown([2.0], 2.7, 5.0)))
        # Speeds between two samples of the path, one gravity apart each 0.01 s.
        assert flight.rise_mps == pytest.approx(2.7, abs=2 * STEP_S * GRAVITY)
        assert flight.rise_m == pytest.approx(flight.rise_mps**2 / (2 * STANDARD_GRAVITY_MPS2))

    def test_hops_in_quick_succession_are_each_found(self) -> None:
        """Contacts of 0.2 s between flights of 0.24 s: each has its own rise and fall."""
        rise_mps, contact_s = 1.2, 0.2
        fly, stay = round(2.0 * rise_mps / GRAVITY / STEP_S), round(contact_s / STEP_S)
        hop = np.concatenate((np.full(fly, -GRAVITY), np.full(stay, GRAVITY * fly / stay)))
        start = np.full(stay, 0.5 * GRAVITY * fly / stay)
        rest = np.zeros(200)
        accel = np.concatenate((rest, start, np.tile(hop, 5)[:-stay], start, rest))
        position = np.zeros((len(accel), 3))
        position[:, 2] = np.cumsum(np.cumsum(accel)) * STEP_S**2
        flights = pelvis_flights(body(pelvis=position))
        assert len(flights) == 5


class TestShankFlights:
    def test_both_feet_off_for_long_enough(self) -> None:
        contacts = (*RUN_UP, contact(R, 2.7, 4.0), contact(L, 2.72, None))
        (flight,) = shank_flights(tuple(contacts), STEP_S)
        assert flight.start * STEP_S == pytest.approx(2.15)
        assert flight.end * STEP_S == pytest.approx(2.7)

    def test_a_foot_that_stays_holds_the_body(self) -> None:
        contacts = (contact(L, None, None), contact(R, None, 1.0), contact(R, 2.0, None))
        assert shank_flights(contacts, STEP_S) == []


class TestAttempts:
    """Flights of half a second, parted by ``gap_s`` on the ground; speeds in m/s, one for each."""

    def flights(self, gap_s: float, rises_mps: list[float]) -> list[Flight]:
        one = 0.5
        starts = [1.0 + k * (one + gap_s) for k in range(len(rises_mps))]
        return [
            Flight(s / STEP_S, round((s + 0.25) / STEP_S), (s + one) / STEP_S, rise)
            for s, rise in zip(starts, rises_mps, strict=True)
        ]

    def pick(self, flights: list[Flight]) -> list[Flight]:
        heights = np.zeros(round(flights[-1].end) + 1)
        for flight in flights:
            heights[flight.apex] = flight.rise_m
        return pick_attempts(flights, heights, STEP_S)

    @pytest.mark.parametrize("count", [FELLOWS + 1, 8])
    def test_a_row_of_like_hops_is_no_attempt(self, count: int) -> None:
        assert self.pick(self.flights(0.6 * REBOUND_S, [2.0] * count)) == []

    def test_a_jump_that_stands_out_of_bounces_is_kept(self) -> None:
        flights = self.flights(0.6 * REBOUND_S, [1.5, 1.5, 2.8, 1.5, 1.5])
        assert self.pick(flights) == [flights[2]]

    def test_hops_before_a_jump_tell_that_it_is_one_of_a_row(self) -> None:
        flights = [replace(f, high=False) for f in self.flights(0.3, [1.2] * 4)]
        last = replace(flights[-1], high=True)
        assert self.pick([*flights[:-1], last]) == []

    def test_the_highest_of_one_action_stands_for_it(self) -> None:
        flights = self.flights(0.5 * SAME_ACTION_S, [1.5, 2.8, 1.5])
        assert self.pick(flights) == [flights[1]]

    def test_a_rebound_higher_than_its_jump_is_not_the_jump(self) -> None:
        flights = self.flights(0.5 * REBOUND_S, [2.6, 2.8])
        assert self.pick(flights) == [flights[0]]

    def test_actions_apart_are_attempts_each(self) -> None:
        flights = self.flights(1.2 * SAME_ACTION_S, [2.8, 2.0, 2.0])
        assert self.pick(flights) == flights
