"""Where lost samples hide what happened: events and numbers that can't be told there."""

from __future__ import annotations

from collections.abc import Iterable

from imujump.model import Placement
from imujump.pipeline.body import Window
from imujump.pipeline.gap_filling import LONG_GAP_S
from imujump.pipeline.stillness import spans

SHADE_S, SHADE_GROWTH = 0.025, 1.5
"""Samples missing within this of an event make its time unknown; a long gap throws a longer shade,
by so much of what it exceeds :data:`imujump.pipeline.gap_filling.LONG_GAP_S` (own choice: its
bridge bends the motion about it; beside gaps of 150 ms strikes were found 0.16 s off)."""

BLIND_S = 0.1
"""A gap as long as this can hide a contact, or a limb's swing (own choice: sprinters' contacts last
0.08 s and more)."""

SWING_S = 0.5
"""After a gap as long as that a foot's path is uncertain until it stands again (own choice: a slow
swing; strikes were found 90 ms late 0.3 s after a gap)."""


def hidden(window: Window, placement: Placement, index: float) -> bool:
    """Whether a sensor's lost samples hide an event at a sample number."""
    h = window.step_s
    for first, last in spans(window.sensors[placement].missing, 1):
        gap_s = (last - first + 1) * h
        shade_s = SHADE_S + SHADE_GROWTH * max(gap_s - LONG_GAP_S, 0.0)
        after_s = max(shade_s, SWING_S) if gap_s >= BLIND_S else shade_s
        if first - shade_s / h <= index <= last + after_s / h:
            return True
    return False


def blind_s(window: Window, placements: Iterable[Placement], first: float, last: float) -> float:
    """Length of the longest gap between two sample numbers in which all these sensors are lost.

    Seconds; 0 when it is too short to hide a contact.
    """
    missing = None
    for placement in placements:
        own = window.sensors[placement].missing
        missing = own if missing is None else missing & own
    if missing is None:
        return 0.0
    gaps = spans(missing, max(round(BLIND_S / window.step_s), 1))
    lengths = [(b - a + 1) * window.step_s for a, b in gaps if b >= first and a <= last]
    return max(lengths, default=0.0)
