"""An analysis held against what is known of the same recording, and what many of them say.

A value's error is measured minus true. Where the truth's own instants are uncertain, its
durations carry that uncertainty: ``uncertainty_s`` is taken as two standard deviations.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from imujump.model import METRIC_NAMES, Analysis, Attempt, EventKind, FloatArray

EVENT_TOLERANCE_S = 0.030
"""A foot event counts as found within this plus the truth's uncertainty (own choice: a fifth
of the shortest contact)."""

COVERING = 1.959964
"""A normal distribution holds 95 % within this many standard deviations."""

MOST_TIMES = 5.0
"""Cap of a scaled error (own choice: a half-normal error exceeds five times its median once
in 1300)."""

DURATIONS = (
    "take_off_contact_s",
    "flight_s",
    "plant_interval_s",
    "last_step_s",
    "penultimate_contact_s",
)


@dataclass(frozen=True, slots=True)
class Compared:
    """One value beside its truth; ``sigma`` includes the truth's own uncertainty."""

    metric: str
    value: float
    true: float
    sigma: float

    @property
    def error(self) -> float:
        """Measured minus true."""
        return self.value - self.true

    @property
    def covered(self) -> bool:
        """Whether the truth lies within the 95 % interval."""
        return abs(self.error) <= COVERING * self.sigma


@dataclass(frozen=True, slots=True)
class Instants:
    """Foot events of one kind: how many are true, errors (s) of the found, found where none was."""

    true_n: int = 0
    errors_s: tuple[float, ...] = ()
    invented_n: int = 0


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one recording showed. ``true_n`` is the number of values the truth knows."""

    name: str
    jumps_true: int
    jumps_found: int
    jumps_invented: int
    style_right: bool | None
    strikes: Instants = Instants()
    toe_offs: Instants = Instants()
    true_n: int = 0
    values: tuple[Compared, ...] = ()

    @property
    def oddity(self) -> str:
        """What went wrong with the jump itself, empty when nothing did."""
        told = []
        if self.jumps_found < self.jumps_true:
            told.append("jump not found")
        if self.jumps_invented:
            told.append(f"{self.jumps_invented} invented")
        if self.style_right is False:
            told.append("take-off style wrong")
        return ", ".join(told)


def known_values(truth: Mapping[str, Any]) -> dict[str, float]:
    """The truth document's figures under the names of the metrics, those it does not know
    left out."""
    take_off = truth["take_off"]
    if take_off is None:
        return {}
    height = truth["pelvis_height"]["sensor_point"]
    standing_m, plant_m = height["standing_m"], height["at_plant_touchdown_m"]
    run_up = [s for s in truth["steps"] if s["phase"] == "run_up"]
    last = run_up[-1] if run_up else {}
    known = {
        "approach_speed_mps": truth["approach_speed_last_step_mean_mps"],
        "plant_speed_mps": truth["speed_at_plant_touchdown_mps"],
        "take_off_speed_mps": truth["speed_at_toe_off_mps"],
        "last_step_m": truth["last_step_m"],
        "penultimate_step_m": truth["penultimate_step_m"],
        "last_step_ratio": truth["last_step_ratio"],
        "last_step_s": last.get("duration_s"),
        "penultimate_contact_s": last.get("contact_time_s"),
        "lowering_m": height["lowering_m"],
        "plant_lowering_m": None if plant_m is None else standing_m - plant_m,
        "plant_interval_s": take_off["plant_interval_s"],
        "take_off_contact_s": take_off["contact_time_s"],
        "plant_shank_angle_rad": truth["plant_shank_angle_rad"],
        "pelvis_tilt_rad": truth["pelvis_pitch_at_plant_rad"],
        "turn_rad": truth["pelvis_yaw_change_plant_to_landing_rad"],
        "flight_s": take_off["flight_s"],
        "take_off_vertical_mps": height["vertical_speed_at_toe_off_mps"],
        "pelvis_rise_m": height["apex_rise_over_standing_m"],
    }
    assert set(known) <= set(METRIC_NAMES)
    return {name: float(value) for name, value in known.items() if value is not None}


def held_against(name: str, truth: Mapping[str, Any], analysis: Analysis) -> Outcome:
    """Compare an analysis with the truth document of a recording with one jump or none."""
    valid = [a for a in analysis.attempts if a.valid]
    take_off = truth["take_off"]
    hits = []
    if take_off is not None:
        # The same flight: the two overlap.
        hits = [
            a
            for a in valid
            if a.toe_off_s < take_off["landing_s"] and a.landing_s > take_off["toe_off_s"]
        ]
    jumps_true, found = int(take_off is not None), int(bool(hits))
    invented = len(valid) - found
    if not hits:
        return Outcome(name, jumps_true, 0, invented, None)
    hit = hits[0]
    uncertainty_s = float(take_off["uncertainty_s"])
    known = known_values(truth)
    values = []
    for metric, true in known.items():
        estimate = hit.metrics[metric]
        if estimate.value is None or estimate.sigma is None:
            continue
        own = uncertainty_s / 2.0 * math.sqrt(2.0) if metric in DURATIONS else 0.0
        sigma = math.hypot(estimate.sigma, own)
        values.append(Compared(metric, estimate.value, true, sigma))
    tolerance_s = EVENT_TOLERANCE_S + uncertainty_s
    return Outcome(
        name,
        jumps_true,
        found,
        invented,
        hit.take_off_style == take_off["style"],
        _instants(truth, hit, EventKind.FOOT_STRIKE, tolerance_s),
        _instants(truth, hit, EventKind.TOE_OFF, tolerance_s),
        len(known),
        tuple(values),
    )


def _instants(
    truth: Mapping[str, Any], hit: Attempt, kind: EventKind, tolerance_s: float
) -> Instants:
    """Foot events from the truth's first to the landing."""
    landing_s = truth["take_off"]["landing_s"]
    true = [
        (e["side"], e["time_s"])
        for e in truth["events"]
        if e["kind"] == kind and e["scored"] and e["time_s"] <= landing_s
    ]
    left = [(e.side, e.time_s) for e in hit.events if e.kind is kind]
    errors_s = []
    for side, time_s in true:
        near = [e for e in left if e[0] == side and abs(e[1] - time_s) <= tolerance_s]
        if near:
            nearest = min(near, key=lambda e: abs(e[1] - time_s))
            left.remove(nearest)
            errors_s.append(nearest[1] - time_s)
    first_s = min(time_s for _, time_s in true)
    between = [e for e in left if first_s - tolerance_s <= e[1] <= landing_s - tolerance_s]
    return Instants(len(true), tuple(errors_s), len(between))


@dataclass(frozen=True, slots=True)
class Row:
    """Errors of one metric over many recordings, in the metric's unit."""

    metric: str
    n: int
    bias: float
    sd: float
    rmse: float
    median: float
    ninetieth: float
    coverage: float
    sorting: float
    """RMSE of the half with the larger sigmas over that of the other half."""


def by_metric(outcomes: Iterable[Outcome]) -> dict[str, list[Compared]]:
    """All compared values, by metric in the order of the contract."""
    pooled: dict[str, list[Compared]] = {name: [] for name in METRIC_NAMES}
    for outcome in outcomes:
        for value in outcome.values:
            pooled[value.metric].append(value)
    return {name: values for name, values in pooled.items() if values}


def row(metric: str, values: Sequence[Compared]) -> Row:
    """Sum up the values of one metric."""
    error, size = errors(values), np.abs(errors(values))
    return Row(
        metric,
        len(values),
        float(error.mean()),
        float(error.std(ddof=1)) if len(values) > 1 else math.nan,
        rms(error),
        float(np.median(size)),
        float(np.percentile(size, 90)),
        float(np.mean([v.covered for v in values])),
        rms(error[_worse(values)]) / max(rms(error[~_worse(values)]), 1e-12),
    )


def errors(values: Sequence[Compared]) -> FloatArray:
    """Errors (n,)."""
    return np.array([v.error for v in values])


def rms(values: FloatArray) -> float:
    """Root mean square, NaN of nothing."""
    return float(np.sqrt(np.mean(values**2))) if len(values) else math.nan


def _worse(values: Sequence[Compared]) -> np.ndarray:
    """The half (n,) of values with the larger sigmas; of an odd number the smaller half."""
    rank = np.argsort(np.argsort([v.sigma for v in values], kind="stable"))
    return np.asarray(rank >= (len(values) + 1) // 2)


def pooled_sorting(pooled: Mapping[str, Sequence[Compared]], least_n: int = 8) -> float:
    """RMSE of the worse halves over that of the better halves, over all metrics.

    Errors are divided by their metric's RMSE, so that every metric counts alike; metrics with
    fewer than ``least_n`` values are left out; NaN if none is left.
    """
    worse, better = [], []
    for values in pooled.values():
        if len(values) < least_n:
            continue
        scaled = errors(values) / rms(errors(values))
        chosen = _worse(values)
        worse.append(scaled[chosen])
        better.append(scaled[~chosen])
    if not worse:
        return math.nan
    return rms(np.concatenate(worse)) / rms(np.concatenate(better))


def scaled_size(values: Sequence[Compared], usual: float) -> FloatArray:
    """Errors' sizes (n,) in units of a usual one, each counted at most as MOST_TIMES it, so
    that one gross error does not outweigh the rest."""
    return np.minimum(np.abs(errors(values)) / usual, MOST_TIMES)


def coverage(outcomes: Iterable[Outcome]) -> float:
    """Share of all values whose 95 % interval holds the truth."""
    return float(np.mean([v.covered for o in outcomes for v in o.values]))


UNITS: tuple[tuple[str, float, str], ...] = (
    ("_mps", 1.0, "m/s"),
    ("_rad", 180.0 / math.pi, "deg"),
    ("_ratio", 100.0, "%"),
    ("_s", 1000.0, "ms"),
    ("_m", 100.0, "cm"),
)


def shown(metric: str) -> tuple[float, str]:
    """Factor and unit in which a table shows a metric."""
    return next((factor, unit) for end, factor, unit in UNITS if metric.endswith(end))


def table(outcomes: Sequence[Outcome]) -> str:
    """What many recordings say, as text."""
    jumps = [sum(getattr(o, f"jumps_{k}") for o in outcomes) for k in ("true", "found", "invented")]
    styles = [o.style_right for o in outcomes if o.style_right is not None]
    given, known = sum(len(o.values) for o in outcomes), sum(o.true_n for o in outcomes)
    lines = [
        f"{len(outcomes)} recordings; jumps {jumps[1]} of {jumps[0]}, invented {jumps[2]}; "
        f"style right {sum(styles)} of {len(styles)}; values given {given} of {known}, "
        f"within 1.96 sigma {coverage(outcomes):.3f}",
        _instants_line("foot strikes", [o.strikes for o in outcomes]),
        _instants_line("toe-offs", [o.toe_offs for o in outcomes]),
        f"{'metric':23}{'unit':>5}{'n':>4}{'bias':>8}{'SD':>8}{'RMSE':>8}{'median':>8}"
        f"{'90 %':>8}{'cover':>7}{'sorting':>8}",
    ]
    pooled = by_metric(outcomes)
    for metric, values in pooled.items():
        r = row(metric, values)
        factor, unit = shown(metric)
        figures = (r.bias, r.sd, r.rmse, r.median, r.ninetieth)
        lines.append(
            f"{metric:23}{unit:>5}{r.n:4d}"
            + "".join(f"{factor * figure:8.2f}" for figure in figures)
            + f"{r.coverage:7.2f}{r.sorting:8.2f}"
        )
    lines.append(f"sorting over all metrics: {pooled_sorting(pooled):.2f}")
    return "\n".join(lines)


def _instants_line(what: str, seen: Sequence[Instants]) -> str:
    error_ms = 1000.0 * np.array([e for i in seen for e in i.errors_s])
    if not len(error_ms):
        return f"{what}: none"
    return (
        f"{what}: {len(error_ms)} of {sum(i.true_n for i in seen)}, invented "
        f"{sum(i.invented_n for i in seen)}; bias {error_ms.mean():+.1f}, SD {error_ms.std():.1f}, "
        f"median size {np.median(np.abs(error_ms)):.1f} ms"
    )
