"""An attempt before its window closes: soon, near the final one, and without a trace in it."""

from __future__ import annotations

import math

import pytest

from imujump import contract
from imujump.model import Attempt
from imujump.pipeline.engine import Engine, analyse
from imujump.pipeline.preview import WITHHELD

from .jumps import session

SOON_S = 1.4
"""0.8 s after the last weightless look, which ends at most 0.24 s after the landing; half a look's
span and a look's 0.1 s to be complete; a packet."""


@pytest.fixture(scope="module")
def watched():
    """Asked after every packet: previews with the time after landing, then the whole analysis."""
    recording, _ = session()
    engine, previews = Engine(recording.info), []
    zero_s = recording.packets[0].arrival_s
    for batch in recording.batches():
        engine.push(batch)
        engine.advance(math.nextafter(batch.arrival_s, -math.inf))
        preview = engine.preview()
        if preview is not None:
            assert engine.in_action
            previews.append((preview, batch.arrival_s - zero_s - preview.landing_s))
    return previews, engine.finish()


def pairs(watched) -> list[tuple[Attempt, Attempt]]:
    previews, analysis = watched
    # The first attempt is over before the sensors' clocks are known, ten seconds on.
    assert [each.number for each, _ in previews] == [2]
    return [(each, analysis.attempts[each.number - 1]) for each, _ in previews]


def test_it_comes_soon_after_the_landing(watched):
    previews, _ = watched
    assert all(0.6 < late_s < SOON_S for _, late_s in previews)


def test_asking_changes_nothing_of_the_final_result(watched):
    recording, _ = session()
    assert contract.line(watched[1], "x") == contract.line(analyse(recording), "x")


def test_it_is_near_and_leaves_out_what_the_stand_decides(watched):
    for preview, final in pairs(watched):
        assert preview.take_off_style is final.take_off_style
        for name, last in final.metrics.items():
            early = preview.metrics[name]
            if name in WITHHELD:
                assert early.value is None
                assert "stand after the jump" in early.reason
            elif early.value is not None and last.value is not None:
                # What the stand adds is part of the final sigma; three of them are a bound.
                assert abs(early.value - last.value) < 3.0 * last.sigma, name
