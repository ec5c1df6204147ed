"""What an analysis makes doubtful about a recording, in sentences, before the coach lets it count.

Nothing is measured here: warnings, sensor reports, reasons and sigmas tell.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from statistics import median

from imujump.model import Analysis, Attempt, EventKind, Placement, SensorReport, Side, TakeOffStyle
from imujump.sessions.records import Task

LOOSE_SIGMA_S = 0.010
"""Usual strike of a shank sensor that rings on its strap (own choice: a tight one gives 6 to 7 ms
at 100 Hz and more, one that rings with 22 m/s² gives this)."""

LEAST_RATE_HZ = 100.0
"""Below this rate strikes are unsure anyway, and nothing is said of straps."""

LEAST_STRIKES = 3
"""From fewer strikes of a side before the flight nothing is said of its strap (own choice). Those
after it are less sure anyway: one foot lands while the other's impact still shakes it."""

MISSING_S = 0.1
"""Missing time from which a sensor is named (own choice: gaps of 30 ms are hardly noticed)."""

RUN_UP_MPS = 1.5
"""Faster than this an approach is no standing jump (own choice: above a slow step, below any
run)."""

_STYLE_OF = {
    Task.ONE_FOOT: TakeOffStyle.ONE_FOOT,
    Task.TWO_FOOT: TakeOffStyle.TWO_FOOT,
    Task.STANDING: TakeOffStyle.TWO_FOOT,
}
_WORDS = {TakeOffStyle.ONE_FOOT: "one foot", TakeOffStyle.TWO_FOOT: "two feet"}
_TASK_WORDS = {
    Task.ONE_FOOT: "a one-foot jump",
    Task.TWO_FOOT: "a two-foot jump",
    Task.STANDING: "a standing jump",
}


def remarks(analysis: Analysis, task: Task | None) -> tuple[str, ...]:
    """Return sentences on legs, straps, gaps, ranges, the number of jumps and the task.

    Parameters
    ----------
    analysis : Analysis
        What was found in the recording.
    task : Task or None
        What was asked of the athlete, where that is known.
    """
    told = [
        *_jumps(analysis.attempts),
        *(f"{warning[:1].upper()}{warning[1:]}" for warning in analysis.warnings),
        *_sensors(analysis.sensors, analysis.duration_s),
        *_straps(analysis),
        *([] if task is None else _task(analysis.attempts, task)),
    ]
    return tuple(dict.fromkeys(told))


def _jumps(attempts: Iterable[Attempt]) -> Iterator[str]:
    found = list(attempts)
    invalid = [attempt for attempt in found if not attempt.valid]
    if not found:
        yield "No jump was found."
        return
    yield f"{len(found)} {'jump was' if len(found) == 1 else 'jumps were'} found."
    for attempt in invalid:
        why = "; ".join(attempt.reasons) or "no reason given"
        yield f"Jump {attempt.number} is not valid: {why}."


def _sensors(sensors: Iterable[SensorReport], duration_s: float) -> Iterator[str]:
    reports = {report.placement: report for report in sensors}
    for placement in Placement:
        report = reports.get(placement)
        name = placement.words.capitalize()
        if report is None:
            yield f"{name}: no sensor."
            continue
        if report.missing_s >= MISSING_S:
            yield f"{name}: {report.missing_s:.1f} of {duration_s:.1f} s are missing."
        if report.clipped_samples:
            yield f"{name}: {report.clipped_samples} samples are at the end of the sensor's range."


def _straps(analysis: Analysis) -> Iterator[str]:
    rates_hz = {report.placement: report.rate_hz for report in analysis.sensors}
    for side in Side:
        sigmas_s = [
            event.sigma_s
            for attempt in analysis.attempts
            for event in attempt.events
            if event.side is side
            and event.kind is EventKind.FOOT_STRIKE
            and event.time_s < attempt.toe_off_s
        ]
        if rates_hz.get(side.shank, 0.0) < LEAST_RATE_HZ or len(sigmas_s) < LEAST_STRIKES:
            continue
        if median(sigmas_s) >= LOOSE_SIGMA_S:
            yield (
                f"{side.shank.words.capitalize()}: the sensor shakes while the foot stands; the "
                "strap is perhaps loose."
            )


def _task(attempts: Iterable[Attempt], task: Task) -> Iterator[str]:
    others: Counter[str] = Counter()
    run_up = []
    for attempt in attempts:
        style = attempt.take_off_style
        if style is not None and style is not _STYLE_OF[task]:
            others[f"from {_WORDS[style]}"] += 1
        speed = attempt.metrics.get("approach_speed_mps")
        if task is Task.STANDING and speed is not None and (speed.value or 0.0) > RUN_UP_MPS:
            run_up.append(attempt.number)
    for seen, count in others.items():
        jumps = "1 jump was" if count == 1 else f"{count} jumps were"
        yield f"{jumps} {seen}, where {_TASK_WORDS[task]} was asked."
    if run_up:
        jumps = "1 jump" if len(run_up) == 1 else f"{len(run_up)} jumps"
        yield f"{jumps} had a run-up, where a standing jump was asked."
