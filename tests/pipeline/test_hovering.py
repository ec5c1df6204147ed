"""A foot held up beside a standing one, on bodies whose motion is drawn to be known."""

from __future__ import annotations

import numpy as np
import pytest

from imujump.pipeline.hovering import HOVER_M, TO_FLIGHT_S, without_hovering
from imujump.pipeline.support import Spell

from .drawn import GRAVITY, STEP_S, L, R, body

LIFTED = Spell(200, 240, 220)
OWN = [Spell(0, 180, 0), LIFTED, Spell(300, 340, 320), Spell(400, 599, 500)]
STANDING = [Spell(0, 599, 0)]


@pytest.mark.parametrize(
    ("height_m", "others", "flies_after_s", "stays"),
    [
        pytest.param(1.5 * HOVER_M, STANDING, None, False, id="held up"),
        pytest.param(0.5 * HOVER_M, STANDING, None, True, id="rolling over its ball"),
        pytest.param(1.5 * HOVER_M, [Spell(0, 220, 0)], None, True, id="the other leaves"),
        pytest.param(1.5 * HOVER_M, STANDING, 0.5 * TO_FLIGHT_S, True, id="a push to a flight"),
    ],
)
def test_a_foot_that_hovers(
    height_m: float, others: list[Spell], flies_after_s: float | None, stays: bool
) -> None:
    """The right foot is told slow four times; in the second it is at some height."""
    index = np.arange(600)
    right_m = np.zeros((600, 3))
    right_m[:, 2] = np.interp(index, [180, 200, 240, 300], [0.0, height_m, height_m, 0.0])
    pelvis_m = np.zeros((600, 3))
    if flies_after_s is not None:
        since_s = np.maximum(index - LIFTED.last - flies_after_s / STEP_S, 0.0) * STEP_S
        pelvis_m[:, 2] = -0.5 * GRAVITY * since_s**2
    whole = body(pelvis=pelvis_m, left_shank=np.zeros((600, 3)), right_shank=right_m)
    kept = without_hovering(whole, {L: others, R: OWN})
    assert kept[L] == others
    assert (LIFTED in kept[R]) is stays
    assert [s for s in kept[R] if s is not LIFTED] == [s for s in OWN if s is not LIFTED]


def test_the_first_and_the_last_stay() -> None:
    """Nothing tells how high a foot was before and after."""
    high_m = np.full((600, 3), 2.0 * HOVER_M)
    whole = body(pelvis=0.0 * high_m, left_shank=0.0 * high_m, right_shank=high_m)
    two = [Spell(0, 180, 0), Spell(400, 599, 500)]
    assert without_hovering(whole, {L: STANDING, R: two})[R] == two
