"""The approach speed at which an athlete jumps highest, if the attempts show it.

Height is fitted by a parabola of approach speed with a level of its own for each session. An
optimum is named only if the curve surely rises at the slow end and surely falls at the fast end of
the speeds that were tried (J. T. Lind and H. Mehlum, Oxf. Bull. Econ. Stat. 72:109-118, 2010; from
memory) and its interval (E. C. Fieller, J. R. Stat. Soc. B 16:175-185, 1954; from memory) lies
between them. Beyond the speeds tried nothing is claimed.

Speeds are measured with error, which flattens a curve and shifts its top away from the middle. Each
speed is therefore drawn towards its session's mean by the share of the spread that is error
(regression calibration; R. J. Carroll et al., Measurement Error in Nonlinear Models, 2006; from
memory); where error is too large a part of the spread, no fit is made.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from imujump.model import FloatArray
from imujump.sessions.interval import LEVEL, Interval, around, t_factor

LEAST_ATTEMPTS = 9
"""Three each at a slow, a preferred and a fast speed."""

AT_THE_ENDS = 3
"""The third-slowest and third-fastest speed bound what was tried, so that one odd attempt does
not widen it (own choice)."""

LEAST_SPAN = 0.15
"""Span of the speeds tried, as a share of their mean (own choice: below it a curve cannot show;
ladders of ± 15 % span twice as much)."""

LEAST_TRUE_SHARE = 0.7
"""Share of the speeds' variance that must be real (own choice: below it the correction of a
curve's bend doubles the figure)."""

MOST_LEVERAGE = 0.999
"""Above this an attempt alone decides a term of the fit, and no error can be told (own choice)."""

ORDER_RATHER = 0.7
"""Correlation of speed with the order of attempts beyond which the two are not told apart (own
choice)."""

LADDER = (0.85, 1.0, 1.15)
"""Slow, preferred and fast as shares of the preferred speed (own choice)."""


class SpeedVerdict(StrEnum):
    """What the curve shows."""

    TOO_FEW = "too_few"
    TOO_NARROW = "too_narrow"
    TOO_UNSURE = "too_unsure"
    OPEN = "open"
    FASTER_IS_HIGHER = "faster_is_higher"
    SLOWER_IS_HIGHER = "slower_is_higher"
    OPTIMUM = "optimum"


@dataclass(frozen=True, slots=True)
class Run:
    """Approach speed and height of an attempt; ``order`` counts within the session."""

    session_id: int
    order: int
    speed_mps: float
    speed_sigma_mps: float | None
    height_m: float


@dataclass(frozen=True, slots=True)
class SpeedAnswer:
    """What is known of height against approach speed.

    Attributes
    ----------
    n, sessions : int
        Attempts and sessions.
    slowest_mps, fastest_mps : float or None
        The speeds that bound what was tried.
    best_mps, interval : optional
        The optimum, only with :attr:`SpeedVerdict.OPTIMUM`.
    slope_s, slope_interval : optional
        Height gained per m/s along a straight line.
    ladder_mps : tuple of float
        Slow, preferred and fast speeds to try; empty where an optimum is known or nothing is.
    order_told : bool
        Whether speeds were mixed enough to tell their effect from that of the order.
    """

    verdict: SpeedVerdict
    n: int
    sessions: int
    slowest_mps: float | None = None
    fastest_mps: float | None = None
    best_mps: float | None = None
    interval: Interval | None = None
    slope_s: float | None = None
    slope_interval: Interval | None = None
    ladder_mps: tuple[float, ...] = ()
    order_told: bool = True


def best_approach_speed(runs: Sequence[Run]) -> SpeedAnswer:
    """Look for the speed of the highest jumps of one athlete.

    Parameters
    ----------
    runs : sequence of Run
        Counting attempts of one athlete and task. Those whose speed or height is not finite are
        left out.
    """
    kept = [r for r in runs if math.isfinite(r.speed_mps) and math.isfinite(r.height_m)]
    n, sessions = len(kept), sorted({r.session_id for r in kept})
    if not kept:
        return SpeedAnswer(SpeedVerdict.TOO_FEW, 0, 0)
    speed = np.array([r.speed_mps for r in kept])
    ladder = tuple(float(np.median(speed)) * share for share in LADDER)
    if n < LEAST_ATTEMPTS or n - len(sessions) < LEAST_ATTEMPTS - 1:
        return SpeedAnswer(SpeedVerdict.TOO_FEW, n, len(sessions), ladder_mps=ladder)
    ends = np.sort(speed)[[AT_THE_ENDS - 1, -AT_THE_ENDS]]
    low, high = float(ends[0]), float(ends[1])
    seen = SpeedAnswer(
        SpeedVerdict.TOO_NARROW,
        n,
        len(sessions),
        low,
        high,
        ladder_mps=ladder,
        order_told=_order_told(kept),
    )
    if high - low < LEAST_SPAN * float(speed.mean()):
        return seen
    levels = np.equal.outer([r.session_id for r in kept], sessions).astype(float)
    usual = levels @ (levels.T @ speed / levels.sum(axis=0))
    true_share = _true_share(kept, speed - usual, n - len(sessions))
    if true_share < LEAST_TRUE_SHARE:
        return replace(seen, verdict=SpeedVerdict.TOO_UNSURE)
    middle = float(speed.mean())
    calibrated = usual + true_share * (speed - usual) - middle
    height = np.array([r.height_m for r in kept])
    line = _fit(height, np.column_stack([levels, calibrated]))
    if line is None:
        return replace(seen, verdict=SpeedVerdict.OPEN)
    along = around(line.last, math.sqrt(line.covariance[-1, -1]), line.df)
    seen = replace(seen, verdict=_straight(along), slope_s=line.last, slope_interval=along)
    curve = _fit(height, np.column_stack([levels, calibrated, calibrated**2]))
    top = None if curve is None else _top(curve)
    tried = np.sort(calibrated)[[AT_THE_ENDS - 1, -AT_THE_ENDS]]
    if top is None or not tried[0] < top[1].low < top[1].high < tried[1]:
        return seen
    return replace(
        seen,
        verdict=SpeedVerdict.OPTIMUM,
        best_mps=top[0] + middle,
        interval=Interval(top[1].low + middle, top[1].high + middle, top[1].level),
        ladder_mps=(),
    )


@dataclass(frozen=True, slots=True)
class _Fit:
    coefficients: FloatArray
    covariance: FloatArray
    df: int

    @property
    def last(self) -> float:
        return float(self.coefficients[-1])


def _fit(height: FloatArray, design: FloatArray) -> _Fit | None:
    """Least squares; None if it cannot be told or leaves no error."""
    # Imported here: it takes a second, and most of what uses sessions has no need of it.
    from statsmodels.regression.linear_model import OLS

    df = len(height) - design.shape[1]
    if df < 1 or np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    fit = OLS(height, design).fit()
    leverage = fit.get_influence().hat_matrix_diag
    if float(np.ptp(fit.resid)) <= 1e-9 * float(np.ptp(height)) or leverage.max() > MOST_LEVERAGE:
        return None
    # An error of speed counts for more where the curve is steep, so scatter differs along it.
    fit = fit.get_robustcov_results("HC3", use_t=True)
    return _Fit(np.asarray(fit.params), np.asarray(fit.cov_params()), df)


def _top(curve: _Fit) -> tuple[float, Interval] | None:
    """Speed of the curve's top with its interval; None unless the curve surely bends down."""
    (b, c), cov, t = curve.coefficients[-2:], curve.covariance[-2:, -2:], t_factor(curve.df) ** 2
    square = 4.0 * (c * c - t * cov[1, 1])
    linear = 4.0 * (b * c - t * cov[0, 1])
    constant = b * b - t * cov[0, 0]
    root = linear * linear - 4.0 * square * constant
    if c >= 0.0 or square <= 0.0 or root < 0.0:
        return None
    low, high = ((-linear + sign * math.sqrt(root)) / (2.0 * square) for sign in (-1.0, 1.0))
    return float(-b / (2.0 * c)), Interval(float(low), float(high), LEVEL)


def _straight(slope: Interval) -> SpeedVerdict:
    if slope.low > 0.0:
        return SpeedVerdict.FASTER_IS_HIGHER
    return SpeedVerdict.SLOWER_IS_HIGHER if slope.high < 0.0 else SpeedVerdict.OPEN


def _true_share(runs: Sequence[Run], about: FloatArray, df: int) -> float:
    """Share of the speeds' variance within sessions that is not error; 1 if no sigma is known."""
    known = [r.speed_sigma_mps for r in runs if r.speed_sigma_mps is not None]
    known = [s for s in known if math.isfinite(s)]
    if not known:
        return 1.0
    return max(0.0, 1.0 - sum(s * s for s in known) / len(known) * df / float(about @ about))


def _order_told(runs: Sequence[Run]) -> bool:
    """Whether speed did not simply follow the order of attempts within sessions."""
    gone, speeds = [], []
    for session in {r.session_id for r in runs}:
        own = [r for r in runs if r.session_id == session]
        gone += list(np.array([r.order for r in own]) - np.mean([r.order for r in own]))
        speeds += list(np.array([r.speed_mps for r in own]) - np.mean([r.speed_mps for r in own]))
    if np.ptp(gone) == 0.0 or np.ptp(speeds) == 0.0:
        return True
    return abs(float(np.corrcoef(gone, speeds)[0, 1])) < ORDER_RATHER
