"""What goes with height here? Several metrics of one athlete's attempts, looked at together.

Attempts are taken about their session's mean, so that form of the day and other conditions drop
out. What goes with height need not make it. The p-values of all candidates are corrected together
(S. Holm, Scand. J. Stat. 6:65-70, 1979; from memory), the intervals are widened alike (Bonferroni).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from imujump.model import METRIC_NAMES, FloatArray
from imujump.sessions.interval import Interval, around, t_factor
from imujump.sessions.readings import finite_value
from imujump.sessions.records import StoredAttempt

RISK = 0.05
"""Risk that any candidate at all is told by chance (common practice, no source)."""

LEAST_ATTEMPTS = 10
"""Fewer attempts give no answer (own choice: a correlation of 0.6 would still reach from below 0
to 0.9)."""

FEW_ATTEMPTS = 30
"""Below this an answer is called one on few data (own choice: correlations below 0.36 cannot be
told, and a first finding is often too large)."""

HEIGHT_ITSELF = frozenset(
    {
        "flight_s",
        "height_flight_m",
        "take_off_vertical_mps",
        "height_velocity_m",
        "pelvis_rise_m",
        "reactive_ratio",
    }
)
"""Metrics that are height by definition or hold it."""

AFTER_TAKE_OFF = frozenset(
    {
        "turn_rad",
        "landing_interval_s",
        "landing_peak_left_mps2",
        "landing_peak_right_mps2",
    }
)
"""Metrics of flight and landing: what comes after the take-off cannot have made the height."""

CANDIDATES = tuple(n for n in METRIC_NAMES if n not in HEIGHT_ITSELF | AFTER_TAKE_OFF)


@dataclass(frozen=True, slots=True)
class Companion:
    """How one metric goes with height.

    Attributes
    ----------
    metric : str
        Its name.
    correlation, interval : float, Interval
        Within sessions; the interval holds for all candidates at once.
    height_m, height_interval : float, Interval
        Difference in height that goes with one standard deviation of the metric.
    step : float
        That standard deviation, within sessions.
    p : float
        Corrected for the number of candidates.
    told : bool
        Whether ``p`` is below 5 %.
    true_share : float or None
        Share of the metric's variance that is not error of measurement; the correlation is
        weakened by its root. None if no sigma is known.
    n, sessions : int
        Attempts and sessions.
    """

    metric: str
    correlation: float
    interval: Interval
    height_m: float
    height_interval: Interval
    step: float
    p: float
    told: bool
    true_share: float | None
    n: int
    sessions: int

    @property
    def few(self) -> bool:
        """Whether it rests on few data."""
        return self.n < FEW_ATTEMPTS


@dataclass(frozen=True, slots=True)
class HeightAnswer:
    """Companions of height, the closest first; ``left_out`` had too few values or none differing.

    ``n`` counts attempts with a height.
    """

    companions: tuple[Companion, ...]
    left_out: tuple[str, ...]
    n: int


def what_goes_with_height(
    attempts: Sequence[StoredAttempt],
    height: str = "height_flight_m",
    candidates: Sequence[str] = CANDIDATES,
) -> HeightAnswer:
    """Correlate several metrics with height within one athlete's sessions.

    Parameters
    ----------
    attempts : sequence of StoredAttempt
        Of one athlete and one task; those that do not count are left out.
    height : str
        Name of the height.
    candidates : sequence of str
        Names of metrics. Those that are height by definition are refused.

    Raises
    ------
    ValueError
        If attempts of several athletes or tasks are given, or a candidate is height itself.
    """
    for what, held in (
        ("athletes", {a.athlete_id for a in attempts}),
        ("tasks", {a.task for a in attempts}),
    ):
        if len(held) > 1:
            raise ValueError(f"attempts are of {len(held)} {what}, must be of one")
    itself = sorted((HEIGHT_ITSELF | {height}) & set(candidates))
    if itself:
        raise ValueError(f"candidates hold {itself[0]}, must not be height by definition")
    kept = [a for a in attempts if a.counts and finite_value(a, height) is not None]
    found: list[tuple[str, _Within]] = []
    left_out = []
    for name in candidates:
        own = _within(kept, name, height)
        if own is None:
            left_out.append(name)
        else:
            found.append((name, own))
    if not found:
        return HeightAnswer((), tuple(left_out), len(kept))
    corrected = holm([own.p for _, own in found])
    level = 1.0 - RISK / len(found)
    companions = [
        _companion(name, own, p, level) for (name, own), p in zip(found, corrected, strict=True)
    ]
    companions.sort(key=lambda c: (-abs(c.correlation), c.metric))
    return HeightAnswer(tuple(companions), tuple(left_out), len(kept))


def holm(p: Sequence[float]) -> list[float]:
    """Correct p-values for their number.

    ``multipletests`` of statsmodels gives the same, but cleans up all memory at each call, which
    takes a third of a second.

    >>> holm([0.01, 0.04, 0.03])
    [0.03, 0.06, 0.06]
    """
    order = np.argsort(p, kind="stable")
    raised = np.asarray(p)[order] * np.arange(len(p), 0, -1)
    corrected = np.empty(len(p))
    corrected[order] = np.minimum(1.0, np.maximum.accumulate(raised))
    return [float(each) for each in corrected]


@dataclass(frozen=True, slots=True)
class _Within:
    """A metric and height about their sessions' means."""

    metric: FloatArray
    height: FloatArray
    sessions: int
    true_share: float | None

    @property
    def df(self) -> int:
        return len(self.metric) - self.sessions - 1

    @property
    def correlation(self) -> float:
        size = math.sqrt(float(self.metric @ self.metric) * float(self.height @ self.height))
        return max(-1.0, min(1.0, float(self.metric @ self.height) / size))

    @property
    def p(self) -> float:
        r = self.correlation
        if abs(r) == 1.0:
            return 0.0
        return float(2.0 * stats.t.sf(abs(r) * math.sqrt(self.df / (1.0 - r * r)), self.df))


def _within(attempts: Sequence[StoredAttempt], name: str, height: str) -> _Within | None:
    told = [(a, x) for a in attempts if (x := finite_value(a, name)) is not None]
    if not told:
        return None
    sigmas = [a.metrics[name].sigma for a, _ in told]
    pairs = np.array([(x, a.metrics[height].value) for a, x in told])
    _, session, counts = np.unique(
        [a.session_id for a, _ in told], return_inverse=True, return_counts=True
    )
    # A session with one attempt tells nothing about what goes with what within it.
    repeated = counts[session] > 1
    pairs, session = pairs[repeated], session[repeated]
    n, groups = len(pairs), int((counts > 1).sum())
    if n < LEAST_ATTEMPTS or n - groups - 1 < LEAST_ATTEMPTS // 2:
        return None
    sums = np.column_stack([np.bincount(session, pairs[:, k], len(counts)) for k in (0, 1)])
    about = pairs - (sums / counts[:, None])[session]
    usual = np.abs(pairs).max(axis=0)
    if (np.abs(about).max(axis=0) <= 1e-9 * usual).any():
        return None
    known = [s for s in sigmas if s is not None and math.isfinite(s)]
    share = None
    if known:
        variance = float(about[:, 0] @ about[:, 0]) / (n - groups)
        share = max(0.0, 1.0 - sum(s * s for s in known) / len(known) / variance)
    return _Within(about[:, 0].copy(), about[:, 1].copy(), groups, share)


def _companion(name: str, own: _Within, p: float, level: float) -> Companion:
    r, n = own.correlation, len(own.metric)
    # Fisher's z of a partial correlation: session levels cost a degree of freedom each.
    if abs(r) < 1.0:
        z, half = math.atanh(r), t_factor(math.inf, level) / math.sqrt(own.df - 1.0)
        limits = Interval(math.tanh(z - half), math.tanh(z + half), level)
    else:
        limits = Interval(r, r, level)
    squares = float(own.metric @ own.metric)
    step = math.sqrt(squares / (n - own.sessions))
    slope = float(own.metric @ own.height) / squares
    rest = own.height - slope * own.metric
    error = math.sqrt(float(rest @ rest) / own.df / squares)
    return Companion(
        name,
        r,
        limits,
        slope * step,
        around(slope * step, error * step, own.df, level),
        step,
        p,
        p < RISK,
        own.true_share,
        n,
        own.sessions,
    )
