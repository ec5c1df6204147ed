"""Contacts and what belongs to a jump, on bodies whose motion is drawn to be known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imujump.model import BoolArray, FloatArray, Placement, TakeOffStyle
from imujump.pipeline.attempts import build_jump
from imujump.pipeline.body import Body, SensorWindow, Window
from imujump.pipeline.contacts import find_contacts
from imujump.pipeline.flights import Flight
from imujump.pipeline.landing_touch import with_landing_touches
from imujump.pipeline.level_crossing import crossing
from imujump.pipeline.support import Spell, stance_spells
from imujump.pipeline.touchdown import touchdown

from .drawn import RUN_UP, STEP_S, UP, L, R, body, contact, thrown

EMPTY: Mapping[Placement, BoolArray] = {}

LEVER_M = 0.1 * UP
"""Shank sensor above its ankle, as :func:`.drawn.body` has it."""


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


def window(
    whole: Body,
    *,
    lost: Mapping[Placement, BoolArray] = EMPTY,
    clipped: Mapping[Placement, BoolArray] = EMPTY,
) -> Window:
    """All that was received, in silence, but for what was lost or clipped."""
    n = len(whole.paths[Placement.PELVIS].rot)
    zeros, none = np.zeros((n, 3)), np.zeros(n, dtype=bool)
    sensors = {
        p: SensorWindow(
            zeros, zeros, UP, lost.get(p, none), clipped.get(p, none), gyro_bias_radps=0.001
        )
        for p in whole.paths
    }
    return Window(STEP_S, 9.80665, sensors, ((0, 9),))


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

    @pytest.mark.parametrize(
        ("first_left_s", "style"),
        [(2.08, TakeOffStyle.ONE_FOOT), (2.135, TakeOffStyle.TWO_FOOT)],
    )
    def test_a_second_foot_a_step_later(self, first_left_s: float, style: TakeOffStyle) -> None:
        """Feet 0.25 s apart plant together only if one stays alone for half as long at most."""
        still = thrown([], 0.0, 6.0)
        whole = body(pelvis=still, left_shank=still, right_shank=still)
        plant = (contact(R, 1.72, first_left_s), contact(L, 1.97, 2.15))
        contacts = (*RUN_UP[:3], *plant, contact(R, 2.7, None))
        assert build_jump(window(whole), whole, self.FLIGHT, contacts).style is style

    def test_feet_too_near_for_a_step_plant_together(self) -> None:
        """However early the one is told to have left: nobody steps within 0.06 s."""
        still = thrown([], 0.0, 6.0)
        whole = body(pelvis=still, left_shank=still, right_shank=still)
        contacts = (*RUN_UP[:3], contact(R, 1.92, 1.99), contact(L, 1.98, 2.15))
        jump = build_jump(window(whole), whole, self.FLIGHT, contacts)
        assert [c.side for c in jump.plant] == [R, L]

    @pytest.mark.parametrize(("stood_s", "seen"), [(1.0, False), (1.7, True)])
    def test_a_foot_lost_in_the_run_up_counts_when_it_stood_again(
        self, stood_s: float, seen: bool
    ) -> None:
        """Else the plant could be its own, unseen."""
        still = thrown([], 0.0, 6.0)
        whole = body(pelvis=still, left_shank=still, right_shank=still)
        lost = np.zeros(len(still), dtype=bool)
        lost[round(1.5 / STEP_S) : round(1.65 / STEP_S)] = True
        received = window(whole, lost={R.shank: lost})
        stood = contact(R, stood_s, stood_s + 0.2)
        jump = build_jump(received, whole, self.FLIGHT, (stood, contact(L, 1.98, 2.15)))
        assert (jump.unseen is None) is seen
        assert jump.style is (TakeOffStyle.ONE_FOOT if seen else None)

    @pytest.mark.parametrize(
        ("clipped_s", "right_up_m", "left_up_m", "lost"),
        [
            pytest.param(2.0, 0.3, 0.0, False, id="free leg up"),
            pytest.param(2.0, 0.0, 0.0, True, id="beside the plant and not told to touch"),
            pytest.param(None, 0.0, 0.0, False, id="within the range"),
            pytest.param(2.0, 0.3, 0.4, True, id="plants in the air"),
        ],
    )
    def test_an_impact_beyond_the_range_may_hide_the_plant(
        self, clipped_s: float | None, right_up_m: float, left_up_m: float, lost: bool
    ) -> None:
        """The left foot plants at 1.98 s; both shanks are told where they may be wrong."""
        pelvis = thrown([], 0.0, 6.0)
        ahead = np.interp(np.arange(len(pelvis)) * STEP_S, [1.9, 1.95], [0.0, 1.0])
        up = np.outer(ahead, (0.0, 0.0, 1.0))
        whole = body(pelvis=pelvis, left_shank=left_up_m * up, right_shank=right_up_m * up)
        clipped = np.zeros(len(pelvis), dtype=bool)
        if clipped_s is not None:
            clipped[round(clipped_s / STEP_S)] = True
        received = window(whole, clipped=dict.fromkeys(whole.paths, clipped))
        jump = build_jump(received, whole, self.FLIGHT, tuple(RUN_UP))
        assert (jump.style is None) is lost
        assert (jump.unseen is not None and "wider range" in jump.unseen) is lost

    @pytest.mark.parametrize(("strike_s", "lost"), [(2.1, True), (1.98, False)])
    def test_a_plant_briefer_than_any_after_such_an_impact(
        self, strike_s: float, lost: bool
    ) -> None:
        still = thrown([], 0.0, 6.0)
        up = np.outer(np.arange(len(still)) > 1.95 / STEP_S, (0.0, 0.0, 0.3))
        whole = body(pelvis=still, left_shank=still, right_shank=up)
        clipped = np.arange(len(still)) == round(2.0 / STEP_S)
        received = window(whole, clipped={L.shank: clipped})
        contacts = (*RUN_UP[:-1], contact(L, strike_s, 2.15))
        assert (build_jump(received, whole, self.FLIGHT, contacts).style is None) is lost

    @pytest.mark.parametrize(("rise_mps", "hidden"), [(1.5, True), (2.7, False)])
    def test_a_gap_after_a_low_flight_may_hide_the_jump(
        self, rise_mps: float, hidden: bool
    ) -> None:
        still = thrown([], 0.0, 6.0)
        whole = body(pelvis=still, left_shank=still, right_shank=still)
        lost = np.zeros(len(still), dtype=bool)
        lost[round(3.2 / STEP_S) : round(3.4 / STEP_S)] = True
        received = window(whole, lost=dict.fromkeys(whole.paths, lost))
        flight = replace(self.FLIGHT, rise_mps=rise_mps)
        contacts = (*RUN_UP, contact(R, 2.7, 3.0))
        jump = build_jump(received, whole, flight, contacts)
        assert (jump.motion_lost is not None) is hidden


class TestThrownUp:
    """A foot that lands at 2 m/s, stays near the floor for 0.1 s and is up again."""

    LANDING_S = 2.58

    def jumper(self, left_m: FloatArray) -> Body:
        """The pelvis is thrown up for 0.6 s, the right foot too and stays where it lands."""
        pelvis = thrown([2.0], 0.3 * 9.80665, 5.0)
        right_m = self.foot([2.0, 2.001, self.LANDING_S, 2.62], [0.0, 2.94, -2.75, 0.0], 0.0)
        return body(pelvis=pelvis, left_shank=left_m + LEVER_M, right_shank=right_m + LEVER_M)

    def foot(self, told_s: list[float], rise_mps: list[float], ahead_mps: float) -> FloatArray:
        """Path (n, 3) of an ankle by its vertical speed; from landing for 0.7 s it swings ahead."""
        time = np.arange(1000) * STEP_S
        path = np.zeros((1000, 3))
        path[:, 2] = np.cumsum(np.interp(time, told_s, rise_mps)) * STEP_S
        swing_s, speed_mps = [self.LANDING_S, 2.59, 3.3, 3.31], [0.0, ahead_mps, ahead_mps, 0.0]
        path[:, 0] = np.cumsum(np.interp(time, swing_s, speed_mps)) * STEP_S
        return path

    def bounce(self) -> FloatArray:
        """Stopped within 0.04 s, flung up by 5 cm, and down again later."""
        return self.foot(
            [2.0, 2.001, self.LANDING_S, 2.62, 2.63, 2.69, 3.3, 3.31, 3.4],
            [0.0, 2.94, -2.75, 0.0, 1.5, 0.0, 0.0, -0.5, 0.0],
            1.5,
        )

    def test_it_has_touched(self) -> None:
        whole = self.jumper(self.bounce())
        coarse = stance_spells(whole, near_floor=True)
        spells = with_landing_touches(whole, coarse)
        (touch,) = [s for s in spells[L] if s not in coarse[L]]
        assert touch.first * STEP_S == pytest.approx(self.LANDING_S + 0.03, abs=0.03)
        strikes = [c.strike for c in find_contacts(whole) if c.side is L and c.strike is not None]
        assert min(strikes) * STEP_S == pytest.approx(self.LANDING_S + 0.01, abs=0.02)

    def test_a_foot_that_turns_in_the_air_has_not(self) -> None:
        path = self.bounce()
        path[round(2.2 / STEP_S) : round(3.3 / STEP_S), 2] += 0.1
        whole = self.jumper(path)
        coarse = stance_spells(whole, near_floor=True)
        assert with_landing_touches(whole, coarse) == coarse


class TestSinking:
    """A foot that is stopped within 15 ms and sinks on by 2 cm under the push that follows."""

    STOP_S = 2.5

    def walker(self, sink_mps: float) -> Body:
        time = np.arange(1000) * STEP_S
        told_s = [1.5, 1.6, 2.35, 2.43, 2.495, 2.51, 2.525, 2.545, 2.57, 2.59]
        rise_mps = [0.0, 0.3, 0.3, 0.0, -3.0, 0.3, 0.0, sink_mps, 0.2, 0.0]
        ahead_mps = np.interp(time, [1.5, 1.6, 2.45, 2.51], [0.0, 5.0, 5.0, 0.8])
        ahead_mps *= np.interp(time, [2.61, 2.64], [1.0, 0.0])
        left_m = np.zeros((1000, 3))
        left_m[:, 0] = np.cumsum(ahead_mps) * STEP_S
        left_m[:, 2] = np.cumsum(np.interp(time, told_s, rise_mps)) * STEP_S
        left_m[:, 2] -= left_m[-1, 2] * np.interp(time, [1.6, 2.35], [0.0, 1.0])
        pelvis = np.zeros((1000, 3))
        pelvis[:, 0] = np.cumsum(np.interp(time, [1.5, 1.6, 2.5, 2.7], [0, 2, 2, 0])) * STEP_S
        still = np.zeros((1000, 3))
        return body(pelvis=pelvis, left_shank=left_m + LEVER_M, right_shank=still + LEVER_M)

    @pytest.mark.parametrize("sink_mps", [0.0, -0.8])
    def test_the_first_stop_is_the_touch(self, sink_mps: float) -> None:
        contacts = find_contacts(self.walker(sink_mps))
        (strike,) = [c.strike for c in contacts if c.side is L and c.strike is not None]
        assert strike * STEP_S == pytest.approx(self.STOP_S, abs=0.012)


def test_a_foot_that_is_never_slow_is_not_followed_back_into_its_swing() -> None:
    """It grazes the floor at 2.50 s, twice as fast as a foot that stays."""
    time = np.arange(1000) * STEP_S
    still_m = np.zeros((1000, 3))
    runner = body(pelvis=still_m, left_shank=still_m + LEVER_M, right_shank=still_m + LEVER_M)
    ratio = np.interp(time, [2.1, 2.2, 2.5, 2.6, 2.7], [5.0, 3.0, 2.0, 2.0, 5.0])
    spell = Spell(round(2.5 / STEP_S), round(2.6 / STEP_S), round(2.55 / STEP_S))
    strike, sigma_s, _ = touchdown(runner, L, ratio, None, spell, [], None)
    assert strike is not None
    assert strike * STEP_S == pytest.approx(2.5, abs=0.01)
    assert 0.01 < sigma_s < 0.02


def test_witnesses_of_a_landing_that_disagree_are_believed_less() -> None:
    """The ankle stops at 2.50 s; the body's load, after a flight, rises at once or much later."""
    time = np.arange(1000) * STEP_S
    ankle_m = np.zeros((1000, 3))
    ankle_m[:, 2] = np.cumsum(np.interp(time, [2.1, 2.2, 2.48, 2.51], [0, -2, -2, 0])) * STEP_S
    jumper = body(pelvis=ankle_m, left_shank=ankle_m + LEVER_M)
    ratio = np.interp(time, [2.48, 2.51], [3.0, 0.1])
    spell = Spell(round(2.5 / STEP_S), round(2.8 / STEP_S), round(2.55 / STEP_S))
    sigmas_s = []
    for rise_s in (2.5, 2.55):
        load = np.interp(time, [2.2, 2.21, rise_s, rise_s + 0.02], [9.8, 0.0, 0.0, 20.0])
        strike, sigma_s, _ = touchdown(jumper, L, ratio, load, spell, [], None)
        assert strike is not None
        assert strike * STEP_S == pytest.approx(2.5, abs=0.03)
        sigmas_s.append(sigma_s)
    assert sigmas_s[1] > 1.5 * sigmas_s[0]
