"""Whether a quiet moment is a stand: who glides into the run can be as quiet.

Only a stand shows the vertical and the gyroscope's bias. A body that is carried evenly along a
bend or speeds up evenly spreads as little over three tenths of a second, but is pulled by more or
less than gravity, or turns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.pipeline.stillness import STILL_ACCEL_MPS2, STILL_RATE_RADPS

FIRST_SHARE, FIRST_RADPS = 0.06, 0.1
"""The first stand reads gravity within 6 %, and turns by less than 6°/s: error of scale, offset and
bias of the sensors in use (own choice)."""

SAME_MPS2, SAME_RADPS = 0.15, 0.05
"""Any later one reads the same within this (own choice: 1.5 % of gravity, 3°/s; sway of standing
people stays below)."""

SURE_LOOKS = 10
"""Whoever is quiet for a second stands, whatever was read before (own choice: no glide is as even
for so long)."""


class StandJudge:
    """Judges the looks at one sensor, a tenth of a second each, in order."""

    def __init__(self) -> None:
        self._size_mps2: float | None = None
        self._rate_radps: Sequence[float] = (0.0, 0.0, 0.0)
        self._quiet = 0

    def stands(self, means: Sequence[float]) -> bool:
        """Tell whether the last looks are those of a stand.

        Parameters
        ----------
        means : sequence of float
            Means over them: specific force x y z, rate x y z, square of the force, of the rate.
        """
        square = means[0] ** 2 + means[1] ** 2 + means[2] ** 2
        if means[6] - square >= STILL_ACCEL_MPS2**2 or means[7] >= STILL_RATE_RADPS**2:
            self._quiet = 0
            return False
        self._quiet += 1
        size_mps2, rate_radps = math.sqrt(square), means[3:6]
        turn_radps = math.dist(rate_radps, self._rate_radps)
        if self._size_mps2 is None:
            off_mps2 = abs(size_mps2 - STANDARD_GRAVITY_MPS2)
            same = off_mps2 < FIRST_SHARE * STANDARD_GRAVITY_MPS2 and turn_radps < FIRST_RADPS
        else:
            same = abs(size_mps2 - self._size_mps2) < SAME_MPS2 and turn_radps < SAME_RADPS
        if not same and self._quiet < SURE_LOOKS:
            return False
        self._size_mps2, self._rate_radps = size_mps2, rate_radps
        return True
