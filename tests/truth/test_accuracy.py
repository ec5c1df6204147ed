"""The analysis held against recordings that nobody has seen: fresh ones in every run.

Three kinds: the package's own figure, the simulated runner and clips of people. The limits
follow from campaigns (figure seeds 20 000 and 1 000 000, 30 jumps each; 99 clear jumps of the
runner from three seeds; three seeds for the 24 clips): a short set was drawn from them 20 000
times, and a limit is what one set in 10 000 exceeds, plus 10 % (clips, of which the same come
every time, 40 and 60 %; mean scaled errors 5 %). The runner's 90th percentiles of contact and
speeds are those of earlier campaigns: one fresh set had two jumps whose shanks left a range of
16 g and whose plants were told 0.08 and 0.1 s short.

Measured: of 99 jumps of the runner 97 found, style right 93 of 97 and withheld in the other four,
whose shanks left their range; take-off contact -11 and flight +11 ms (median), truth within 1.96
sigma 0.975. Figure: all found, all styles right, 0.991; clips: all found, all styles right, 0.934.

In sets drawn the same way with all errors doubled the overall mean scaled error always exceeded
its limit; of single metrics it did in 92 to 100 %, plant speed in 66 % (an earlier campaign).
Sigmas shuffled among the values gave a sorting of 0.77 to 1.33 (1 to 99 %), the stated ones 1.41
to 2.0.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from .agreement_with_truth import (
    Outcome,
    by_metric,
    coverage,
    pooled_sorting,
    row,
    scaled_size,
    shown,
    table,
)
from .fresh_draws import VARIABLE, fresh_seed, outcomes_of

KINDS = ("figure", "runner", "people")
EACH_KIND = pytest.mark.parametrize("kind", KINDS)
pytestmark = pytest.mark.requires_shared("mocap_runup_jumps")


class Usual(NamedTuple):
    """Median size of an error in the campaigns, and the largest median and 90th percentile
    that a short set may have. SI units."""

    median: float
    most_median: float
    most_ninetieth: float


SLACK = 1.8
"""On the limits of single metrics: a few fresh jumps spread wider than the resampled campaigns
showed. A general worsening is caught by the test over all kinds, which has no slack."""

USUAL: dict[str, dict[str, Usual]] = {
    "figure": {
        "take_off_contact_s": Usual(0.0035, 0.009, 0.049),
        "flight_s": Usual(0.0028, 0.008, 0.012),
        "approach_speed_mps": Usual(0.015, 0.038, 0.084),
        "plant_speed_mps": Usual(0.027, 0.081, 0.27),
        "last_step_m": Usual(0.021, 0.043, 0.21),
        "penultimate_step_m": Usual(0.011, 0.023, 0.097),
        "lowering_m": Usual(0.0041, 0.013, 0.019),
        "pelvis_rise_m": Usual(0.0037, 0.013, 0.017),
    },
    "runner": {
        "take_off_contact_s": Usual(0.011, 0.019, 0.094),
        "flight_s": Usual(0.011, 0.019, 0.035),
        "approach_speed_mps": Usual(0.0094, 0.03, 0.18),
        "plant_speed_mps": Usual(0.014, 0.15, 1.1),
        "last_step_m": Usual(0.027, 0.19, 0.64),
        "penultimate_step_m": Usual(0.023, 0.11, 0.3),
        "lowering_m": Usual(0.0036, 0.0097, 0.016),
        "pelvis_rise_m": Usual(0.0029, 0.0094, 0.015),
    },
    "people": {
        "take_off_contact_s": Usual(0.011, 0.016, 0.043),
        "flight_s": Usual(0.018, 0.03, 0.059),
        "approach_speed_mps": Usual(0.024, 0.044, 0.11),
        "plant_speed_mps": Usual(0.04, 0.063, 0.38),
        "last_step_m": Usual(0.039, 0.058, 0.12),
        "penultimate_step_m": Usual(0.025, 0.037, 0.11),
        "lowering_m": Usual(0.0016, 0.0033, 0.0076),
        "pelvis_rise_m": Usual(0.0017, 0.0027, 0.0083),
    },
}
MOST_SCALED = {
    "take_off_contact_s": 1.78,
    "flight_s": 1.7,
    "approach_speed_mps": 1.77,
    "plant_speed_mps": 2.36,
    "last_step_m": 1.74,
    "penultimate_step_m": 1.82,
    "lowering_m": 1.88,
    "pelvis_rise_m": 1.91,
}
"""Largest mean scaled error of a metric over all kinds."""

MOST_SCALED_OVERALL = 1.6
LEAST_COVERAGE, MOST_COVERAGE = 0.92, 0.98
"""In the campaigns 0.941 to 0.974 in all but one set in 10 000; 0.964 in half of them."""

LEAST_STYLE_RIGHT = 0.85
MOST_MISSED = {"figure": 0, "runner": 2, "people": 0}
"""Jumps of a short set that may be missed or taken for another flight of the recording: of the
runner 2 in 99 were, so that one set in 1000 has two of eight."""

LEAST_GIVEN = {"figure": 0.95, "runner": 0.7, "people": 0.95}
"""Of the runner, whose shanks left a range of 16 g at the plant in 4 of 97 jumps and lose most
values then: three of eight in one set of 250, four in one of 5,000."""

LEAST_SORTING = 1.25
"""Below what any of 400 sets had (1.41)."""


def everything(data: Path) -> list[Outcome]:
    return [outcome for kind in KINDS for outcome in outcomes_of(kind, data)]


def said(outcomes: Sequence[Outcome]) -> str:
    """The seed and the whole table, for a failure's message."""
    return f"\nrepeat with {VARIABLE}={fresh_seed()}\n{table(outcomes)}"


@pytest.fixture(autouse=True)
def _seed_in_report(record_property: Callable[[str, object], None]) -> None:
    record_property(VARIABLE, fresh_seed())


@EACH_KIND
def test_every_jump_is_found_and_none_invented(
    shared_data: Path, kind: str, record_property: Callable[[str, object], None]
) -> None:
    outcomes = outcomes_of(kind, shared_data)
    record_property(kind, "\n" + table(outcomes))
    wrong = [
        f"{o.name}: {o.oddity}"
        for o in outcomes
        if o.jumps_found != o.jumps_true or o.jumps_invented
    ]
    assert len(wrong) <= MOST_MISSED[kind], f"{wrong}{said(outcomes)}"
    assert sum(o.jumps_invented for o in outcomes) <= len(wrong), said(outcomes)


def test_one_foot_and_two_foot_take_offs_are_told_apart(shared_data: Path) -> None:
    outcomes = everything(shared_data)
    right = [o.style_right for o in outcomes if o.style_right is not None]
    assert np.mean(right) >= LEAST_STYLE_RIGHT, said(outcomes)


def test_the_draws_cover_both_styles_and_both_changes_of_the_last_step(shared_data: Path) -> None:
    """Otherwise the figures below would speak for less than they seem to."""
    outcomes = everything(shared_data)
    ratios = [v.true for o in outcomes for v in o.values if v.metric == "last_step_ratio"]
    assert min(ratios) < 0.95 < 1.05 < max(ratios), said(outcomes)
    runners = [o.name for o in outcomes_of("runner", shared_data)]
    for style in ("one_foot", "two_foot"):
        assert sum(style in name for name in runners) >= 4


@EACH_KIND
def test_values_are_given(shared_data: Path, kind: str) -> None:
    """A wide sigma is honest, a missing value too, but whole recordings allow nearly all."""
    outcomes = outcomes_of(kind, shared_data)
    given = sum(len(o.values) for o in outcomes) / sum(o.true_n for o in outcomes)
    assert given >= LEAST_GIVEN[kind], said(outcomes)


@EACH_KIND
def test_errors_stay_within_their_limits(shared_data: Path, kind: str) -> None:
    outcomes = outcomes_of(kind, shared_data)
    pooled = by_metric(outcomes)
    over = []
    for metric, usual in USUAL[kind].items():
        got, (factor, unit) = row(metric, pooled[metric]), shown(metric)
        for what, figure, limit in (
            ("median", got.median, SLACK * usual.most_median),
            ("90th percentile", got.ninetieth, SLACK * usual.most_ninetieth),
        ):
            if figure > limit:
                over.append(f"{metric}: {what} {factor * figure:.2f} > {factor * limit:.2f} {unit}")
    assert not over, f"{over}{said(outcomes)}"


def test_no_metric_is_worse_than_usual_over_all_kinds(
    shared_data: Path, record_property: Callable[[str, object], None]
) -> None:
    """Every error in units of the usual one of its kind and metric, then averaged."""
    pooled = {kind: by_metric(outcomes_of(kind, shared_data)) for kind in KINDS}
    sizes = {
        metric: np.concatenate(
            [scaled_size(pooled[kind][metric], USUAL[kind][metric].median) for kind in KINDS]
        )
        for metric in MOST_SCALED
    }
    means = {metric: float(size.mean()) for metric, size in sizes.items()}
    overall = float(np.mean(list(means.values())))
    record_property("scaled errors", str({"all": overall, **means}))
    over = {
        m: (round(mean, 2), MOST_SCALED[m]) for m, mean in means.items() if mean > MOST_SCALED[m]
    }
    message = said(everything(shared_data))
    assert not over, f"{over}{message}"
    assert overall < MOST_SCALED_OVERALL, message


def test_the_stated_intervals_hold_the_truth_about_as_often_as_they_say(shared_data: Path) -> None:
    outcomes = everything(shared_data)
    assert LEAST_COVERAGE <= coverage(outcomes) <= MOST_COVERAGE, said(outcomes)


def test_wider_sigmas_go_with_larger_errors(
    shared_data: Path, record_property: Callable[[str, object], None]
) -> None:
    """Of each metric, the half of all values with the larger sigmas has the larger errors."""
    outcomes = everything(shared_data)
    pooled = by_metric(outcomes)
    ratios = {metric: round(row(metric, values).sorting, 2) for metric, values in pooled.items()}
    record_property("RMSE of worse half over better half", str(ratios))
    sorting = pooled_sorting(pooled)
    record_property("the same over all metrics", round(sorting, 3))
    assert sorting > LEAST_SORTING, said(outcomes)
