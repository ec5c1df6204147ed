"""Recordings in which no attempt can be found, and why."""

from __future__ import annotations

from collections.abc import Collection

from imujump.model import Placement

LEAST_RECORDING_S = 5.0
"""A shorter recording without an attempt is told to be too short (own choice)."""


def why_hopeless(
    sensors: Collection[Placement], duration_s: float, *, found: bool
) -> tuple[str, ...]:
    """Sentence on a recording in which no attempt can be found; none for any other.

    Parameters
    ----------
    sensors : collection of Placement
        Sensors that the recording lists.
    duration_s : float
        Its length.
    found : bool
        Whether an attempt was found, or told about.
    """
    if not sensors:
        return ("the recording lists no sensor; record with at least one.",)
    if len(sensors) == 1 and Placement.PELVIS not in sensors:
        return (
            "one shank sensor alone cannot tell a jump from a long step; wear one on the "
            "pelvis or on the other shank as well.",
        )
    if found or not 0.0 < duration_s < LEAST_RECORDING_S:
        return ()
    return (
        f"the recording lasts {duration_s:.1f} s, too short for a stand and an approach jump; "
        "record from 3 s of standing before the run-up until 2 s after the landing.",
    )
