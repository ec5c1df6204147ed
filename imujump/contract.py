"""The JSON document of a recording's analysis: the contract that other programs read.

One document per recording, one per line. Keys, their order and their meaning are stable;
README lists the metrics. A quantity that could not be measured is ``null`` with a reason,
never 0 and never NaN (which JSON does not know, RFC 8259 section 6).
"""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from importlib.metadata import version
from typing import Any

from imujump.model import (
    METRIC_NAMES,
    Analysis,
    Attempt,
    Estimate,
    GaitEvent,
    SensorReport,
    Step,
)

TIME_DECIMALS = 6
"""Decimals of an instant in seconds (own choice: a microsecond lies far below any clock
error here, and a fixed count keeps it late in an hour's recording)."""

SIGNIFICANT_DIGITS = 6
"""Digits of a measured value (own choice: more than any sigma supports, so that rounding
never shows)."""

NO_REASON = "could not be measured"
"""Stands beside a missing value whose reason was not given, and beside NaN or infinity."""


def document(analysis: Analysis, path: str) -> dict[str, Any]:
    """Build the JSON document of one recording.

    Parameters
    ----------
    analysis : Analysis
        What the pipeline found.
    path : str
        The recording's path as the user knows it.

    Returns
    -------
    dict
        Plain lists, strings and numbers in the contract's order; SI units, times in
        seconds from the recording's first sample.

    Raises
    ------
    KeyError
        If an attempt lacks one of :data:`imujump.model.METRIC_NAMES`.
    """
    return {
        "imujump": version("imujump"),
        "recording": {
            "path": path,
            "started_utc": _utc(analysis.started_utc),
            "duration_s": _instant(analysis.duration_s),
            "sensors": [_sensor(sensor) for sensor in analysis.sensors],
            "warnings": list(analysis.warnings),
            "marks": [
                {"time_s": _instant(mark.time_s), "text": mark.text} for mark in analysis.marks
            ],
        },
        "attempts": [attempt_document(attempt) for attempt in analysis.attempts],
    }


def stated(estimate: Estimate) -> Estimate:
    """Give an estimate as it is told to a reader, by whatever output.

    Value and sigma are rounded; NaN and infinity become a missing value; a missing value has
    no sigma and always a reason.

    >>> stated(Estimate(float("nan"), 0.1, None, "mean"))
    Estimate(value=None, sigma=None, reason='could not be measured', method='mean')
    """
    value = _number(estimate.value)
    if value is None:
        return Estimate(None, None, estimate.reason or NO_REASON, estimate.method)
    return Estimate(value, _number(estimate.sigma), estimate.reason or None, estimate.method)


def line(analysis: Analysis, path: str) -> str:
    r"""Write one recording's document as a single line of ASCII, newline included.

    ASCII (other characters as ``\u`` escapes, RFC 8259 section 7) reads the same under
    every console encoding.
    """
    return json.dumps(document(analysis, path), allow_nan=False) + "\n"


def _sensor(sensor: SensorReport) -> dict[str, Any]:
    return {
        "placement": str(sensor.placement),
        "rate_hz": _number(sensor.rate_hz),
        "missing_s": _instant(sensor.missing_s),
        "clipped_samples": int(sensor.clipped_samples),
    }


def attempt_document(attempt: Attempt) -> dict[str, Any]:
    """Build an attempt's part of the document."""
    return {
        "attempt": attempt.number,
        "start_s": _instant(attempt.start_s),
        "end_s": _instant(attempt.end_s),
        "take_off_style": _text(attempt.take_off_style),
        "take_off_side": _text(attempt.take_off_side),
        "valid": bool(attempt.valid),
        "reasons": list(attempt.reasons),
        "events": [_event(event) for event in attempt.events],
        "steps": [_step(step) for step in attempt.steps],
        "metrics": {name: _estimate(attempt.metrics[name]) for name in METRIC_NAMES},
    }


def _event(event: GaitEvent) -> dict[str, Any]:
    return {
        "kind": str(event.kind),
        "side": str(event.side),
        "time_s": _instant(event.time_s),
        "sigma_s": _number(event.sigma_s),
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "n": step.number,
        "side": str(step.side),
        "strike_s": _instant(step.strike_s),
        "length_m": _estimate(step.length_m),
        "time_s": _estimate(step.time_s),
        "contact_s": _estimate(step.contact_s),
        "speed_mps": _estimate(step.speed_mps),
    }


def _estimate(estimate: Estimate) -> dict[str, Any]:
    told = stated(estimate)
    return {
        "value": told.value,
        "sigma": told.sigma,
        "reason": told.reason,
        "method": told.method,
    }


def _number(value: float | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{SIGNIFICANT_DIGITS}g}") + 0.0  # + 0.0 turns -0.0 into 0.0


def _instant(time_s: float) -> float | None:
    return round(float(time_s), TIME_DECIMALS) + 0.0 if math.isfinite(time_s) else None


def _utc(started: datetime | None) -> str | None:
    if started is None:
        return None
    if started.tzinfo is None:
        started = started.replace(tzinfo=UTC)
    return started.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _text(word: str | None) -> str | None:
    return None if word is None else str(word)
