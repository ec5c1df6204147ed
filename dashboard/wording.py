"""Every label, choice and sentence of the page, and the numbers as they are shown."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from imujump.wording import METRICS, PHASES, capital, sentence

TASKS = {
    "one_foot": "One-foot approach jump",
    "two_foot": "Two-foot approach jump",
    "standing": "Standing jump",
}
SURFACES = ("Sports hall floor", "Sprung floor", "Track", "Grass", "Sand", "Other")
SHOES = ("Indoor shoes", "Running shoes", "Spikes", "Barefoot", "Other")

CUES = (
    "Faster in",
    "Low into plant",
    "Quick last step",
    "Reach high",
    "Drive the knee",
    "Land softly",
)
SEEN = ("Arms late", "Arms good", "Looked down", "Head up", "Trunk forward", "Trunk back")
INVALID = ("Run-through", "Missed plant", "Loose sensor", "Off balance")

LARGE_DEFAULT = "height_flight_m"
SMALL_DEFAULT = ("approach_speed_mps", "take_off_contact_s", "last_step_ratio")

PAIN_CAUTION = (
    "Pain or a recent injury: stop, and let a clinician decide. "
    "This page measures; it clears nobody."
)
PAIN_NOTED = "Pain was noted. Stop jumping; what comes next is for a clinician, not for this page."

USUAL_SIGMA: Mapping[str, float] = {
    "approach_speed_mps": 0.05,
    "peak_speed_mps": 0.06,
    "plant_speed_mps": 0.06,
    "take_off_speed_mps": 0.08,
    "speed_loss_mps": 0.09,
    "last_step_m": 0.06,
    "penultimate_step_m": 0.06,
    "last_step_ratio": 0.09,
    "last_step_s": 0.010,
    "penultimate_step_s": 0.010,
    "penultimate_contact_s": 0.016,
    "lowering_m": 0.016,
    "plant_lowering_m": 0.017,
    "plant_sink_m": 0.02,
    "plant_interval_s": 0.010,
    "take_off_contact_s": 0.011,
    "flight_s": 0.013,
    "height_flight_m": 0.018,
    "take_off_vertical_mps": 0.09,
    "height_velocity_m": 0.025,
    "pelvis_rise_m": 0.02,
    "reactive_ratio": 0.18,
}
"""Standard deviation of a usual measurement: a little above what the demo recordings give."""

DOUBT = 1.5
"""An uncertainty this many times the usual one is worse than usual (own choice)."""


def metric_choices() -> list[dict[str, str]]:
    """List the metrics that can be shown, in the order of the jump."""
    ordered = sorted(METRICS.items(), key=lambda item: PHASES.index(item[1].phase))
    return [
        {"name": name, "label": capital(words.label), "phase": words.phase}
        for name, words in ordered
    ]


def shown_number(name: str, estimate: Mapping[str, Any] | None) -> dict[str, Any]:
    """Give a metric as a page shows it: display units, uncertainty, and a sign if it is poor.

    Parameters
    ----------
    name : str
        The metric's name in the JSON contract.
    estimate : mapping or None
        Its estimate there.

    Returns
    -------
    dict
        ``value`` and ``sigma`` in ``unit``, None when missing; ``doubt`` one sentence when
        the measurement is worse than usual, else None.
    """
    words = METRICS[name]
    value = estimate["value"] if estimate else None
    sigma = estimate["sigma"] if estimate else None
    reason = estimate["reason"] if estimate else None
    step = 10.0**-words.decimals
    doubt = None
    if value is None:
        doubt = sentence(reason or "could not be measured")
    elif reason:
        doubt = sentence(reason)
    elif sigma is None:
        doubt = "The uncertainty is not known."
    elif name in USUAL_SIGMA and sigma > DOUBT * USUAL_SIGMA[name]:
        doubt = "Measured less surely than usual."
    return {
        "name": name,
        "label": capital(words.label),
        "meaning": words.meaning,
        "unit": words.unit.symbol,
        "decimals": words.decimals,
        "value": None if value is None else value * words.unit.per_si,
        "sigma": None if sigma is None else max(sigma * words.unit.per_si, step if sigma else 0),
        "doubt": doubt,
    }


def stop_hint(count: int, limit_cm: str, only_measured: bool) -> str:
    """Word the hint that a set might end; the decision is the coach's."""
    told = f"The last {count} attempts stayed below {limit_cm} cm. End the set? You decide."
    if only_measured:
        told += " (Margin from the measurement's error: too few sessions for the athlete's own.)"
    return told
