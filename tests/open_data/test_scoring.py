"""The step scorer against cases whose answer is plain."""

from __future__ import annotations

import math

import pytest

from imujump.model import EventKind, GaitEvent, Side

from .scoring import score_steps
from .truth import Stride


def strike(time_s: float, side: Side = Side.LEFT, sigma_s: float = 0.01) -> GaitEvent:
    return GaitEvent(EventKind.FOOT_STRIKE, side, time_s, sigma_s)


def test_perfect_answer() -> None:
    truth = [strike(1.0), strike(1.5, Side.RIGHT), strike(2.0)]
    score = score_steps(truth, truth)
    assert (score.recall, score.precision, score.bias_s, score.sd_s) == (1.0, 1.0, 0.0, 0.0)


def test_wrong_side_and_wrong_kind_do_not_count() -> None:
    truth = [strike(1.0), strike(2.0)]
    toe_off = GaitEvent(EventKind.TOE_OFF, Side.LEFT, 2.0, 0.01)
    score = score_steps(truth, [strike(1.0, Side.RIGHT), toe_off])
    assert (score.matched_n, score.recall, score.precision) == (0, 0.0, 0.0)
    assert math.isnan(score.bias_s)


def test_a_double_find_is_false_once() -> None:
    score = score_steps([strike(1.0)], [strike(0.98), strike(1.01)])
    assert (score.recall, score.precision) == (1.0, 0.5)
    assert score.bias_s == pytest.approx(0.01)


def test_matching_keeps_most_pairs_rather_than_the_nearest() -> None:
    # Nearest first would pair 1.05 with 1.04 and leave 1.00 without its only partner.
    score = score_steps([strike(1.00), strike(1.05)], [strike(1.04), strike(1.09)])
    assert score.matched_n == 2


def test_tolerance_is_a_border() -> None:
    assert score_steps([strike(1.0)], [strike(1.050)]).recall == 1.0
    assert score_steps([strike(1.0)], [strike(1.051)]).recall == 0.0
    assert score_steps([strike(1.0)], [strike(1.051)], 0.1).recall == 1.0


def test_doubtful_truth_is_neither_asked_for_nor_held_against() -> None:
    truth = [strike(1.0), strike(2.0, sigma_s=0.1)]
    without = score_steps(truth, [strike(1.0)])
    near = score_steps(truth, [strike(1.0), strike(2.12)])
    far = score_steps(truth, [strike(1.0), strike(2.3)])
    assert (without.true_n, without.recall, without.precision) == (1, 1.0, 1.0)
    assert (near.recall, near.precision) == (1.0, 1.0)
    assert (far.recall, far.precision) == (1.0, 0.5)


def test_nothing_true_or_nothing_found() -> None:
    missed = score_steps([strike(1.0)], [])
    assert missed.recall == 0.0
    assert math.isnan(missed.precision)
    invented = score_steps([], [strike(1.0)])
    assert math.isnan(invented.recall)
    assert invented.precision == 0.0


def test_strides_match_by_side_and_span() -> None:
    truth = [Stride(Side.LEFT, 1.0, 2.2, 1.40, 0.02), Stride(Side.RIGHT, 1.6, 2.8, 1.45, 0.02)]
    found = [
        Stride(Side.LEFT, 1.1, 2.3, 1.43, 0.05),
        Stride(Side.RIGHT, 2.4, 3.6, 1.00, 0.05),
        Stride(Side.RIGHT, 1.5, 2.7, 1.41, 0.05),
    ]
    score = score_steps([], [], truth_strides=truth, found_strides=found)
    assert score.stride_matched_n == 2
    assert score.stride_bias_m == pytest.approx((0.03 - 0.04) / 2)
    assert score.stride_rmse_m == pytest.approx(math.sqrt((0.03**2 + 0.04**2) / 2))
