"""Sentences about standing-jump tests, the gain of the approach, foot styles and sides."""

from __future__ import annotations

from imujump.answers_in_words import amount, count, limits
from imujump.sessions.interval import Interval
from imujump.sessions.ratios import Asymmetry, Ratio, gain_percent
from imujump.sessions.standing_jump import Power, PowerFormula
from imujump.wording import Wording, sentence

FORMULAS = {
    PowerFormula.SAYERS: "peak power, Sayers",
    PowerFormula.SAYERS_COUNTER_MOVEMENT: "peak power, Sayers, counter-movement",
    PowerFormula.HARMAN_PEAK: "peak power, Harman",
    PowerFormula.HARMAN_MEAN: "mean power, Harman",
    PowerFormula.WOMEN_PEAK: "peak power, from a sample of women",
    PowerFormula.LEWIS_MEAN: "mean power, Lewis",
}

POWER_CAUTION = (
    "Power from height and mass describes samples of adults, not one person; "
    "compare an athlete with themselves, by one formula."
)
SIDE_CAUTION = (
    "No size of a side difference is known to matter by itself: "
    '"15 %" lacks prospective support (Bishop, 2018, doi 10.1519/SSC.0000000000000371).'
)
STYLE_CAUTION = (
    "Flight time misses that the body is higher at a one-foot take-off: "
    "reach may be alike where flight heights differ."
)


def power_sentence(power: Power) -> str:
    """Say the power of a jump in watts and watts per kilogram."""
    name = FORMULAS[power.formula]
    if power.watts is None or power.per_kg is None:
        return sentence(f"{name}: {power.reason}")
    whole = _with_sigma(power.watts.value, power.watts.sigma, 0)
    each = _with_sigma(power.per_kg.value, power.per_kg.sigma, 1)
    told = f"{name}: {whole} W, {each} W/kg"
    if not power.with_regression_error:
        told += "; the formula's own error is not known and comes on top"
    return sentence(told)


def _with_sigma(value: float, sigma: float | None, decimals: int) -> str:
    if sigma is None:
        return f"{value:.{decimals}f}"
    return f"{value:.{decimals}f} ± {max(sigma, 10.0**-decimals):.{decimals}f}"


def gain_sentence(ratio: Ratio | None, wording: Wording) -> str:
    """Say what the approach gains over the standing jump."""
    if ratio is None:
        return "Approach and standing jumps of the same session are needed to tell the gain."
    return _compared(ratio, wording, "With approach against standing")


def style_sentence(ratio: Ratio | None, wording: Wording) -> str:
    """Say how two-foot jumps compare with one-foot jumps; the ratio is two-foot over one-foot."""
    if ratio is None:
        return "One-foot and two-foot jumps of the same session are needed to compare them."
    return _compared(ratio, wording, "Two-foot against one-foot")


def counter_movement_sentence(ratio: Ratio | None) -> str:
    """Say the ratio of counter-movement to squat jump."""
    if ratio is None:
        return "Counter-movement and squat jumps of the same session are needed."
    told = f"Counter-movement over squat jump: {ratio.value:.2f}"
    if ratio.interval is not None:
        told += f" (likely {ratio.interval.low:.2f} to {ratio.interval.high:.2f})"
    return told + "."


def side_sentence(found: Asymmetry | None, wording: Wording) -> str:
    """Say how take-offs from the left compare with those from the right."""
    if found is None:
        return "Take-offs from both feet in the same session are needed to compare sides."
    return _compared(found.ratio, wording, "Left against right")


def _compared(ratio: Ratio, wording: Wording, what: str) -> str:
    difference = ratio.difference
    if difference.value is None or difference.interval is None or ratio.interval is None:
        return f"{what}: too few attempts to tell an error; two of each kind in a session help."
    percent = f"{gain_percent(ratio.value):+.1f} %"
    span = Interval(gain_percent(ratio.interval.low), gain_percent(ratio.interval.high))
    seen = (
        f"{difference.second} and {count(difference.first, 'attempt')}, "
        f"{count(difference.pairs, 'session')}"
    )
    told = (
        f"{what}: {amount(difference.value, wording)} "
        f"(likely {limits(difference.interval, wording)}), "
        f"{percent} (likely {span.low:.1f} to {span.high:.1f} %); {seen}."
    )
    if ratio.told:
        return told
    if difference.more_attempts is None:
        return f"{told} Not distinguishable."
    more = count(difference.more_attempts, "more attempt")
    return f"{told} Not yet distinguishable; about {more} would settle it if it stays like this."
