"""Where a sampled signal passes a level."""

from __future__ import annotations

import numpy as np

from imujump.model import FloatArray


def crossing(values: FloatArray, start: int, level: float, step: int) -> float:
    """First place, walking from ``start`` by ``step`` (1 or -1), where values reach ``level``.

    Linear between samples; the array's end when they never do.

    Examples
    --------
    >>> crossing(np.array((0.0, 1.0, 3.0)), 0, 2.0, 1)
    1.5
    """
    ahead = values[start:] if step > 0 else values[start::-1]
    above = ahead[1:] >= level
    if not above.any():
        return float(len(values) - 1 if step > 0 else 0)
    k = int(np.argmax(above))
    here, there = float(ahead[k]), float(ahead[k + 1])
    share = (level - here) / (there - here) if there > here else 0.0
    return start + step * (k + min(max(share, 0.0), 1.0))
