"""An attempt as it looks before its window closes, for a page that cannot wait for the stand.

The stand after the jump shows how far the motion has drifted. Without it contacts, flight and
speeds hardly change, heights above the floor do; those are left out until it has been seen. On
the demo recordings and the open recordings of people a preview differs from the final result by
0.6 of its standard deviations in approach speed (root mean square), by 0.1 in contact time and by
0.7 in flight-time height, but by 1 to 2.6 in lowering and pelvis rise.
"""

from __future__ import annotations

from dataclasses import replace

from imujump.model import Attempt, Estimate

PREVIEW_S = 0.8
"""It comes this long after the last weightless moment (own choice: both feet have landed)."""

WITHHELD = ("lowering_m", "plant_lowering_m", "plant_sink_m", "pelvis_rise_m")

WHY = "comes when the stand after the jump has been seen"


def as_preview(attempt: Attempt, number: int) -> Attempt:
    """Number an attempt and leave out what the stand after it would change much."""
    metrics = dict(attempt.metrics)
    for name in WITHHELD:
        if metrics[name].value is not None:
            metrics[name] = Estimate(None, None, WHY, metrics[name].method)
    return replace(attempt, number=number, metrics=metrics)
