"""Moved figures need a new revision, so that kept recordings are measured again."""

from __future__ import annotations

import copy

from imujump.pipeline.figures_revision import FIGURES_REVISION
from tests.pipeline.demo_figures import kept, moved, present

ANEW = "raise FIGURES_REVISION by one, then run python -m tests.pipeline.demo_figures"


def test_figures_that_moved_have_a_new_revision() -> None:
    revision, figures = kept()
    assert revision == FIGURES_REVISION, ANEW
    assert moved(figures, present()) == [], ANEW


def test_a_moved_figure_is_seen() -> None:
    _, figures = kept()
    other = copy.deepcopy(figures)
    value, sigma = figures["one_foot.imujump"][0]["flight_s"]
    other["one_foot.imujump"][0]["flight_s"] = [value + 0.04 * sigma, sigma]
    assert moved(figures, other) == []
    other["one_foot.imujump"][0]["flight_s"] = [value + 0.06 * sigma, sigma]
    assert len(moved(figures, other)) == 1
    other["one_foot.imujump"][0]["flight_s"] = [None, None]
    other["two_foot.imujump"] = []
    assert len(moved(figures, other)) == 2
    assert moved(figures, {}) != []
