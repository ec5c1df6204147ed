"""Answers to a coach's questions in short English sentences, numbers in display units."""

from __future__ import annotations

from imujump.answers_in_words import amount, count, limits
from imujump.display_units import CENTIMETRES, METRES_PER_SECOND, display_value
from imujump.sessions.best_speed import SpeedAnswer, SpeedVerdict
from imujump.sessions.cues import CueAnswer
from imujump.sessions.paired import Difference
from imujump.sessions.with_height import Companion, HeightAnswer
from imujump.wording import METRICS, Wording, capital

LADDER_ADVICE = (
    "Try a ladder: slow, preferred and fast approaches in mixed order, at least three of each."
)
CUE_CAUTION = (
    "A cue follows a bad attempt, and the next is often better anyway. So the attempt before "
    "each cue is left out, and a difference counts only if it shows with that attempt as well."
)
GOES_WITH = "What goes with height need not make it: change one thing and look again."


def cue_sentences(answer: CueAnswer, wording: Wording) -> tuple[str, ...]:
    """Say whether attempts after a cue differ from those before it."""
    difference = answer.difference
    if difference.value is None or difference.interval is None:
        return (
            "Too few attempts around this cue: two before it and two after it "
            "in a session are needed.",
        )
    name = wording.label
    size = f"{amount(difference.value, wording)} (likely {limits(difference.interval, wording)})"
    seen = (
        f"{count(difference.first, 'attempt')} before and {difference.second} after, "
        f"{count(answer.sessions, 'session')}, {count(answer.athletes, 'athlete')}"
    )
    if answer.told:
        told = f"After the cue {name} differs by {size}: {seen}."
    else:
        told = f"After the cue: no difference in {name} can be told yet, {size}: {seen}."
        if not difference.told:
            told += _more(difference)
    sentences = [told, CUE_CAUTION]
    if not difference.general:
        sentences.append("This holds for these sessions; whether it helps in others is open.")
    if answer.drift_removed is not None and answer.drift_interval is not None:
        sentences.append(
            "With a steady drift over the session taken out: "
            f"{amount(answer.drift_removed, wording)} "
            f"(likely {limits(answer.drift_interval, wording)})."
        )
    return tuple(sentences)


def _more(difference: Difference) -> str:
    if difference.more_attempts is None:
        return " If it stays this small, no reasonable number of attempts will settle it."
    more = count(difference.more_attempts, "more attempt")
    return f" If it stays like this, about {more} would settle it."


def speed_sentences(answer: SpeedAnswer) -> tuple[str, ...]:
    """Say at which approach speed the athlete jumps highest, or what to try."""
    tried = ""
    if answer.slowest_mps is not None and answer.fastest_mps is not None:
        tried = f"between {_speed(answer.slowest_mps)} and {_speed(answer.fastest_mps)} m/s"
    seen = f"{count(answer.n, 'attempt')}, {count(answer.sessions, 'session')}"
    sentences = [_speed_verdict(answer, tried, seen)]
    if answer.verdict is not SpeedVerdict.OPTIMUM:
        sentences.append(LADDER_ADVICE + _rungs(answer))
    if not answer.order_told:
        sentences.append(
            "Speed followed the order of the attempts, so warming up or tiring may look like speed."
        )
    return tuple(sentences)


def _speed_verdict(answer: SpeedAnswer, tried: str, seen: str) -> str:
    verdict = answer.verdict
    if verdict is SpeedVerdict.OPTIMUM and answer.best_mps is not None and answer.interval:
        low, high = _speed(answer.interval.low), _speed(answer.interval.high)
        return f"Jumps highest near {_speed(answer.best_mps)} m/s (likely {low} to {high}): {seen}."
    if verdict is SpeedVerdict.FASTER_IS_HIGHER:
        return f"The faster the higher {tried}, {_gain(answer)}: {seen}. No optimum shows yet."
    if verdict is SpeedVerdict.SLOWER_IS_HIGHER:
        return f"The slower the higher {tried}, {_gain(answer)}: {seen}. No optimum shows yet."
    if verdict is SpeedVerdict.TOO_NARROW:
        return f"Speeds {tried} lie too close together to tell: {seen}."
    if verdict is SpeedVerdict.TOO_UNSURE:
        return f"Speeds {tried} are measured too unsurely for their spread: {seen}."
    if verdict is SpeedVerdict.TOO_FEW:
        return f"Too few attempts for this question: {seen}."
    return f"Height does not surely depend on approach speed {tried}: {seen}."


def _gain(answer: SpeedAnswer) -> str:
    if answer.slope_s is None or answer.slope_interval is None:
        return ""
    # Metres of height for each metre a second: shown for a tenth of a metre a second.
    per_tenth = (answer.slope_s, answer.slope_interval.low, answer.slope_interval.high)
    value, low, high = (display_value(each / 10.0, CENTIMETRES, 1) for each in per_tenth)
    return f"{value} cm (likely {low} to {high}) for each 0.1 m/s"


def _rungs(answer: SpeedAnswer) -> str:
    if len(answer.ladder_mps) != 3:
        return ""
    slow, middle, fast = (_speed(each) for each in answer.ladder_mps)
    return f" For example {middle}, {fast}, {slow}, {slow}, {middle}, {fast} m/s and so on."


def _speed(value_mps: float) -> str:
    return display_value(value_mps, METRES_PER_SECOND, 1)


def height_sentences(answer: HeightAnswer) -> tuple[str, ...]:
    """Say what goes with height in these attempts."""
    if not answer.companions:
        return (f"Too few attempts to tell what goes with height: {count(answer.n, 'attempt')}.",)
    told = [c for c in answer.companions if c.told]
    sentences = [companion_sentence(each) for each in told]
    if not told:
        sentences.append(
            f"None of {count(len(answer.companions), 'metric')} surely goes with height here."
        )
    if any(each.few for each in answer.companions):
        sentences.append("Few data: a first finding is often too large and may not last.")
    return (*sentences, GOES_WITH)


def companion_sentence(companion: Companion) -> str:
    """Say how one metric goes with height."""
    wording = METRICS[companion.metric]
    step = display_value(companion.step, wording.unit, wording.decimals)
    unit = f" {wording.unit.symbol}" if wording.unit.symbol else ""
    value, low, high = (
        display_value(each, CENTIMETRES, 1)
        for each in (
            companion.height_m,
            companion.height_interval.low,
            companion.height_interval.high,
        )
    )
    weak = ""
    if companion.true_share is not None and companion.true_share < 0.8:
        weak = " Errors of measurement weaken this relation."
    return (
        f"{capital(wording.label)} goes with height: {step}{unit} more, "
        f"{value} cm (likely {low} to {high}) higher; r {companion.correlation:.2f} "
        f"({companion.interval.low:.2f} to {companion.interval.high:.2f}), "
        f"{count(companion.n, 'attempt')}.{weak}"
    )
