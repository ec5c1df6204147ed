"""Measured attempts beside the true ones: what was found, missed, invented, and by how much off."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

from imujump.model import Analysis, Attempt, EventKind, FloatArray, GaitEvent, IntArray
from imujump.validation.truths import TIMES, TrueAttempt, Truth

SAME_ATTEMPT_S = 0.5
"""An attempt whose toe-off lies this near a true one is that attempt (own choice)."""

SAME_STEP_S = 0.030
"""A foot strike is found when it lies this near a true one, besides the truth's own uncertainty
(own choice: a tenth of a running step)."""


@dataclass(frozen=True, slots=True)
class Pair:
    """One measured value beside its truth.

    ``timing_sigma_s`` is the truth's own uncertainty where the metric is a time, else 0.
    """

    recording: str
    value: float
    sigma: float
    truth: float
    timing_sigma_s: float


@dataclass(slots=True)
class Tally:
    """Everything seen in the recordings compared so far."""

    recordings: int = 0
    attempts_true: int = 0
    attempts_found: int = 0
    attempts_invented: int = 0
    styles_right: int = 0
    styles_known: int = 0
    strikes_true: int = 0
    strikes_found: int = 0
    strikes_named: int = 0
    event_errors_s: dict[EventKind, list[float]] = field(default_factory=dict)
    pairs: dict[str, list[Pair]] = field(default_factory=dict)
    left_out: Counter[str] = field(default_factory=Counter)
    methods: dict[str, Counter[str]] = field(default_factory=dict)

    def add(self, recording: str, analysis: Analysis, truth: Truth) -> None:
        """Compare one recording's attempts with the truth."""
        self.recordings += 1
        self.attempts_true += len(truth.attempts)
        valid = [a for a in analysis.attempts if a.valid]
        matched = _matched(valid, truth.attempts)
        self.attempts_found += len(matched)
        self.attempts_invented += len(valid) - len(matched)
        missed = [t for t in truth.attempts if all(t is not true for _, true in matched)]
        for true in missed:
            self.strikes_true += sum(e.kind is EventKind.FOOT_STRIKE for e in true.events)
        for attempt, true in matched:
            self._add_attempt(recording, attempt, true, truth.whole)

    def _add_attempt(
        self, recording: str, attempt: Attempt, true: TrueAttempt, whole: bool
    ) -> None:
        if true.style is not None:
            self.styles_known += 1
            self.styles_right += attempt.take_off_style is true.style
        self._add_events(attempt, true)
        for name, truth in true.metrics.items():
            estimate = attempt.metrics[name]
            if estimate.value is None or estimate.sigma is None:
                if whole:
                    self.left_out[name] += 1
                continue
            self.methods.setdefault(name, Counter())[estimate.method] += 1
            timing_s = true.timing_sigma_s if name in TIMES else 0.0
            self.pairs.setdefault(name, []).append(
                Pair(recording, estimate.value, estimate.sigma, truth, timing_s)
            )

    def _add_events(self, attempt: Attempt, true: TrueAttempt) -> None:
        """Compare events within both the attempt and the span that the truth tells of."""
        if not true.events:
            return
        limit_s = SAME_STEP_S + true.timing_sigma_s
        first = min(e.time_s for e in true.events) - limit_s
        last = min(max(e.time_s for e in true.events) + limit_s, attempt.end_s)
        named = [e for e in attempt.events if first <= e.time_s <= last]
        within = [e for e in true.events if e.time_s <= last]
        for kind in EventKind:
            for side in sorted({e.side for e in true.events}):
                true_s = _times(within, kind, side)
                named_s = _times(named, kind, side)
                rows, columns = nearest_pairs(true_s, named_s, limit_s)
                errors = named_s[columns] - true_s[rows]
                self.event_errors_s.setdefault(kind, []).extend(errors.tolist())
                if kind is EventKind.FOOT_STRIKE:
                    self.strikes_true += len(true_s)
                    self.strikes_named += len(named_s)
                    self.strikes_found += len(rows)


def nearest_pairs(
    true_s: FloatArray, named_s: FloatArray, limit_s: float
) -> tuple[IntArray, IntArray]:
    """Pair instants one to one: as many as possible within the limit, then the nearest.

    >>> rows, columns = nearest_pairs(np.array((1.0, 2.0)), np.array((2.01, 5.0)), 0.03)
    >>> rows.tolist(), columns.tolist()
    ([1], [0])
    """
    if not len(true_s) or not len(named_s):
        empty = np.zeros(0, dtype=np.int64)
        return empty, empty
    apart = np.abs(true_s[:, None] - named_s[None, :])
    # A pair beyond the limit costs more than all pairs within it can save.
    cost = np.where(apart <= limit_s, apart, 1e3)
    rows, columns = linear_sum_assignment(cost)
    near = apart[rows, columns] <= limit_s
    return rows[near].astype(np.int64), columns[near].astype(np.int64)


def _times(events: Iterable[GaitEvent], kind: EventKind, side: str) -> FloatArray:
    return np.array([e.time_s for e in events if e.kind is kind and e.side == side])


def _matched(
    attempts: list[Attempt], truths: tuple[TrueAttempt, ...]
) -> list[tuple[Attempt, TrueAttempt]]:
    rows, columns = nearest_pairs(
        np.array([t.toe_off_s for t in truths]),
        np.array([a.toe_off_s for a in attempts]),
        SAME_ATTEMPT_S,
    )
    return [(attempts[c], truths[r]) for r, c in zip(rows, columns, strict=True)]
