"""Compare found foot events and strides with the truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from imujump.model import GaitEvent

from .truth import Stride

DOUBTFUL_SHARE = 0.8
"""True instants whose sigma exceeds this share of the tolerance are neither asked for nor
held against a find: a right answer would miss them in more than 20 % of cases."""


@dataclass(frozen=True, slots=True)
class StepScore:
    """How well events and strides were found.

    ``recall`` and ``precision`` are shares, NaN when nothing was true or nothing found.
    ``bias_s`` and ``sd_s`` are of found minus true instants of matched events. Stride
    errors are found minus true lengths of matched strides, NaN when none matched.
    """

    true_n: int
    found_n: int
    matched_n: int
    recall: float
    precision: float
    bias_s: float
    sd_s: float
    stride_matched_n: int
    stride_bias_m: float
    stride_rmse_m: float


def score_steps(
    truth_events: Sequence[GaitEvent],
    found_events: Sequence[GaitEvent],
    tolerance_s: float = 0.050,
    *,
    truth_strides: Sequence[Stride] = (),
    found_strides: Sequence[Stride] = (),
) -> StepScore:
    """Match found with true events of the same kind and side, one to one.

    Of all pairings the one with most matches within ``tolerance_s`` and then the least
    total time error counts. True events with a sigma above :data:`DOUBTFUL_SHARE` of it are
    left out, and so are finds that fit no other truth and lie within ``tolerance_s`` plus
    one sigma of such an event. Strides match when they are of one side and their time
    spans share more than half of their union.

    >>> from imujump.model import EventKind, Side
    >>> def strike(t): return GaitEvent(EventKind.FOOT_STRIKE, Side.LEFT, t, 0.01)
    >>> s = score_steps([strike(1.0), strike(2.0)], [strike(1.02), strike(2.4), strike(2.01)])
    >>> s.recall, round(s.precision, 3), round(s.bias_s, 3)
    (1.0, 0.667, 0.015)
    """
    limit_s = DOUBTFUL_SHARE * tolerance_s
    sure = [e for e in truth_events if e.sigma_s <= limit_s]
    doubtful = [e for e in truth_events if e.sigma_s > limit_s]
    errors: list[float] = []
    found_n = 0
    groups = {(e.kind, e.side) for e in (*truth_events, *found_events)}
    for kind, side in sorted(groups):
        true_s = np.array([e.time_s for e in sure if (e.kind, e.side) == (kind, side)])
        got_s = np.array([e.time_s for e in found_events if (e.kind, e.side) == (kind, side)])
        rows, columns = _pair(true_s, got_s, tolerance_s)
        errors.extend(got_s[columns] - true_s[rows])
        excused = [
            any(
                (d.kind, d.side) == (kind, side) and abs(d.time_s - t) <= tolerance_s + d.sigma_s
                for d in doubtful
            )
            for j, t in enumerate(got_s)
            if j not in set(columns.tolist())
        ]
        found_n += len(got_s) - sum(excused)

    length_errors = _stride_errors(truth_strides, found_strides)
    return StepScore(
        true_n=len(sure),
        found_n=found_n,
        matched_n=len(errors),
        recall=len(errors) / len(sure) if sure else float("nan"),
        precision=len(errors) / found_n if found_n else float("nan"),
        bias_s=float(np.mean(errors)) if errors else float("nan"),
        sd_s=float(np.std(errors)) if errors else float("nan"),
        stride_matched_n=len(length_errors),
        stride_bias_m=float(np.mean(length_errors)) if length_errors else float("nan"),
        stride_rmse_m=(
            float(np.sqrt(np.mean(np.square(length_errors)))) if length_errors else float("nan")
        ),
    )


def _pair(
    true_s: np.ndarray, got_s: np.ndarray, tolerance_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """Row (true) and column (found) numbers of the matched pairs."""
    gap_s = np.abs(true_s[:, None] - got_s[None, :])
    # Beyond the tolerance a pairing costs more than all pairs within it together.
    forbidden = tolerance_s * (min(gap_s.shape, default=0) + 1)
    within = gap_s <= tolerance_s + 1e-12
    rows, columns = linear_sum_assignment(np.where(within, gap_s, forbidden))
    kept = within[rows, columns]
    return rows[kept], columns[kept]


def _stride_errors(truth: Sequence[Stride], found: Sequence[Stride]) -> list[float]:
    errors = []
    for true in truth:
        for got in found:
            shared_s = min(true.end_s, got.end_s) - max(true.start_s, got.start_s)
            union_s = max(true.end_s, got.end_s) - min(true.start_s, got.start_s)
            if got.side is true.side and shared_s > 0.5 * union_s:
                errors.append(got.length_m - true.length_m)
                break
    return errors
