"""Agreement statistics against a textbook's numbers, a reference library and hand-made pairs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from imujump.validation.agreement import agreement, pooled_coverage, sorting
from imujump.validation.pairing import Pair

WRIGHT = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)
"""Peak expiratory flow, l/min, first reading of two meters in 17 people: table 1 of J. M. Bland
and D. G. Altman, Lancet 327:307-310, 1986 (figures from memory)."""


def pairs(values: tuple[float, ...], truths: tuple[float, ...], sigma: float) -> list[Pair]:
    return [Pair("r", v, sigma, t, 0.0) for v, t in zip(values, truths, strict=True)]


def test_the_paper_s_example() -> None:
    """The paper states mean difference -2.1 and standard deviation 38.8 l/min."""
    found = agreement(pairs(WRIGHT, MINI, 20.0))
    assert found.n == 17
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert found.limits is not None
    # The paper rounds: -2.1 ± 2 × 38.8 gives -79.7 and 75.5; with 1.96 a little less.
    assert found.limits == pytest.approx((-2.1 - 1.96 * 38.8, -2.1 + 1.96 * 38.8), abs=0.2)
    assert not found.slope_seen


def test_a_bias_that_grows_is_seen() -> None:
    generator = np.random.default_rng(0)
    truth = generator.uniform(1.0, 5.0, 40)
    value = 1.1 * truth + generator.normal(0.0, 0.02, 40)
    found = agreement(pairs(tuple(value), tuple(truth), 0.1))
    line = stats.linregress((value + truth) / 2.0, value - truth)
    assert found.slope == pytest.approx(line.slope)
    assert found.slope == pytest.approx(0.1 / 1.05, rel=0.1)
    assert found.slope_seen


def test_coverage_of_normal_errors_is_as_stated() -> None:
    """Of 4000 normal errors 95 % lie within 1.96 sigma, within 3 standard errors of 0.34 %."""
    errors = np.random.default_rng(1).normal(0.0, 0.3, 4000)
    found = agreement(pairs(tuple(errors), (0.0,) * 4000, 0.3))
    assert found.coverage == pytest.approx(0.95, abs=0.0104)
    half = agreement(pairs(tuple(errors), (0.0,) * 4000, 0.15))
    assert half.coverage == pytest.approx(2 * stats.norm.cdf(0.98) - 1, abs=0.024)


def test_the_truth_s_own_uncertainty_counts_for_times() -> None:
    doubtful = [Pair("r", 0.05, 0.01, 0.0, 0.04)]
    assert agreement(doubtful).coverage == 1.0
    assert agreement([Pair("r", 0.05, 0.01, 0.0, 0.0)]).coverage == 0.0


def test_few_pairs_say_no_more_than_they_know() -> None:
    found = agreement(pairs((1.0, 2.0), (1.5, 2.5), 0.1))
    assert (found.sd, found.limits, found.slope) == (None, None, None)
    with pytest.raises(ValueError, match="no pairs"):
        agreement([])
    assert pooled_coverage({}) is None


def test_pooled_coverage_counts_values() -> None:
    good, bad = Pair("r", 0.0, 1.0, 0.0, 0.0), Pair("r", 9.0, 1.0, 0.0, 0.0)
    assert pooled_coverage({"flight_s": [good, good, bad], "turn_rad": [good]}) == (0.75, 4)


def test_sorting_is_the_ratio_of_the_halves_errors() -> None:
    """Errors of 1 with a small sigma and of 3 with a large one, in any order and unit."""
    drawn = [Pair("r", 1.0, 0.5, 0.0, 0.0), Pair("r", -3.0, 1.5, 0.0, 0.0)] * 4
    scaled = [Pair("r", 1e3 * p.value, p.sigma, 0.0, 0.0) for p in drawn]
    assert sorting({"flight_s": drawn, "turn_rad": scaled}) == pytest.approx(3.0)


def test_sorting_needs_values_that_err() -> None:
    few = [Pair("r", 1.0, 0.5, 0.0, 0.0)] * 7
    assert sorting({"flight_s": few}) is None
    assert sorting({"flight_s": [Pair("r", 1.0, 0.5, 1.0, 0.0)] * 9}) is None
