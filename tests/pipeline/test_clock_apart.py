"""Sensors that claim one clock: lateness found by the legs, and what it widens."""

from __future__ import annotations

import pytest

from imujump.model import Placement, Side
from imujump.pipeline.clock_apart import DOUBTFUL_S, TOLD_S, clocks_apart
from imujump.pipeline.engine import analyse
from tests.campaign.subjects import figure
from tests.campaign.wearing import Loss, Phase, Role, Wearing, record

L, R, P = Placement.LEFT_SHANK, Placement.RIGHT_SHANK, Placement.PELVIS


@pytest.mark.parametrize(
    ("left_s", "right_s", "doubted"),
    [
        (0.0, 0.0, {}),
        (0.9 * DOUBTFUL_S, -0.9 * DOUBTFUL_S, {}),
        (0.02, 0.001, {L: 0.02}),
        (0.001, -0.018, {R: 0.018}),
        (0.02, 0.016, {P: 0.018}),
        (-0.02, -0.02, {P: 0.02}),
        (0.03, -0.03, {L: 0.03, R: 0.03}),
    ],
)
def test_who_is_late(left_s: float, right_s: float, doubted: dict[Placement, float]) -> None:
    found = clocks_apart({Side.LEFT: left_s, Side.RIGHT: right_s})
    assert found.sigma_s == pytest.approx(dict.fromkeys(Placement, 0.0) | doubted)
    assert len(found.warnings) == sum(late > TOLD_S for late in doubted.values())


def test_nobody_tells_nothing() -> None:
    assert not any(clocks_apart({}).sigma_s.values())


@pytest.mark.parametrize(
    ("role", "late_s"), [(Role.PLANT, 0.02), (Role.OTHER, -0.02), (Role.PELVIS, 0.025)]
)
def test_a_late_sensor_is_told_in_a_run_up(role: Role, late_s: float) -> None:
    """Signals of one jump, one sensor's shifted; the file says that all share a clock."""
    subject = figure("one 4.4")
    plain, late = (
        analyse(record(subject, Wearing(late_s=shift), 300)) for shift in ({}, {role: late_s})
    )
    assert not any("seems to be read" in w for w in plain.warnings)
    assert any("seems to be read" in w for w in late.warnings)
    usual, wider = (a.attempts[0].metrics for a in (plain, late))
    widened = [
        name
        for name, estimate in usual.items()
        if (estimate.sigma or 0.0) * 1.2 < (wider[name].sigma or 0.0)
    ]
    assert widened


def test_a_leg_whose_samples_were_lost_tells_no_lateness() -> None:
    """What fills a gap of 0.15 s in the run-up bends the leg as a late sensor would."""
    loss = Loss((Role.PLANT,), Phase.STEP, 0.15)
    lossy = analyse(record(figure("one 5.6"), Wearing(losses=(loss,)), 302))
    assert len(lossy.attempts) == 1
    assert not any("seems to be read" in w for w in lossy.warnings)
