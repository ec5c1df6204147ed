"""The table of a link's states, and how long it waits."""

from __future__ import annotations

import pytest

from imujump.capture.link_state import LINKED, TRANSITIONS, LinkEvent, LinkState, Timings, after


def test_every_state_is_reached_and_left_and_every_event_is_used():
    assert {state for state, _ in TRANSITIONS} == set(LinkState)
    assert set(TRANSITIONS.values()) == set(LinkState)
    assert {event for _, event in TRANSITIONS} == set(LinkEvent)


def test_from_everywhere_the_session_can_end_and_every_other_state_leads_back_to_a_link():
    for state in LinkState:
        assert after(state, LinkEvent.STOP) is LinkState.STOPPED
        if state is LinkState.STOPPED:
            continue
        reached, new = {state}, {state}
        while new:
            new = {to for (at, _), to in TRANSITIONS.items() if at in new} - reached
            reached |= new
        assert reached >= LINKED


def test_what_cannot_happen_is_a_fault():
    with pytest.raises(ValueError, match="event is packet, which cannot happen to a link sought"):
        after(LinkState.SOUGHT, LinkEvent.PACKET)


def test_waits_grow_have_jitter_and_a_limit():
    timings = Timings()
    means_s = [timings.rest_before(attempt, 0.5) for attempt in range(1, 12)]
    assert means_s == sorted(means_s)
    assert means_s[-1] == timings.longest_rest_s
    assert timings.rest_before(3, 0.0) < timings.rest_before(3, 0.9)
    # A link is stale after about a second and given up after about three.
    assert (timings.stale_s, timings.dead_s) == (1.0, 3.0)
