"""Comparing attempts with each other and with the truth, in standard deviations."""

from __future__ import annotations

from collections.abc import Mapping

from imujump.model import METRIC_NAMES, Analysis, Attempt, Side


def only_attempt(analysis: Analysis) -> Attempt:
    """Return the one attempt that must be there."""
    assert len(analysis.attempts) == 1, analysis.warnings
    return analysis.attempts[0]


def assert_complete(attempt: Attempt) -> None:
    """Every metric is there, and every missing value says why."""
    assert tuple(attempt.metrics) == METRIC_NAMES
    estimates = {
        **attempt.metrics,
        **{
            f"step {step.number} {name}": getattr(step, name)
            for step in attempt.steps
            for name in ("length_m", "time_s", "contact_s", "speed_mps")
        },
    }
    for name, estimate in estimates.items():
        assert estimate.method, name
        if estimate.value is None:
            assert estimate.sigma is None, name
            assert estimate.reason, name
            assert "\n" not in estimate.reason
        else:
            assert estimate.sigma is not None, name
            assert estimate.sigma > 0.0, name


def against_truth(attempt: Attempt, truth: Mapping[str, float | None]) -> dict[str, float]:
    """Error of every value that has a truth, in its own standard deviations."""
    return {
        name: (e.value - true) / e.sigma
        for name, e in attempt.metrics.items()
        if e.value is not None and e.sigma is not None and (true := truth[name]) is not None
    }


def apart(one: Attempt, other: Attempt, mirrored: bool = False) -> dict[str, float]:
    """Difference of two attempts' values in the first's standard deviations.

    With ``mirrored`` the other's sides are swapped and its turn counts the other way.
    """
    found = {}
    for name, estimate in one.metrics.items():
        twin = other.metrics[other_leg(name) if mirrored else name]
        assert (estimate.value is None) == (twin.value is None), name
        assert estimate.reason == twin.reason, name
        if estimate.value is not None:
            assert estimate.sigma is not None
            assert twin.value is not None
            value = -twin.value if mirrored and name == "turn_rad" else twin.value
            found[name] = (value - estimate.value) / estimate.sigma
    return found


def other_leg(name: str) -> str:
    """Name of the metric of the other leg, or of neither."""
    for side in Side:
        if f"_{side}_" in name:
            return name.replace(f"_{side}_", f"_{side.other}_")
    return name


def worst(apart_by: Mapping[str, float]) -> float:
    """Largest absolute difference."""
    return max(abs(value) for value in apart_by.values())
