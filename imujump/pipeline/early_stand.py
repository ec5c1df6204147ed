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

Triple = tuple[float, float, float]

FIRST_SHARE, FIRST_RADPS = 0.06, 0.1
"""The first stand reads gravity within 6 %, and turns by less than 6°/s: error of scale, offset and
bias of the sensors in use (own choice)."""

SAME_MPS2, SAME_RADPS = 0.15, 0.05
"""Any later one reads the same within this (own choice: 1.5 % of gravity, 3°/s; sway of standing
people stays below)."""

SURE_LOOKS = 10
"""Whoever reads otherwise for a second, quietly, stands as well (own choice: no glide is as even
for so long); the sensor was moved."""


LONG_SHARE, SHORT_SHARE = 0.1, 0.2
"""A new look counts at least this much against all before and against those of the same stand:
means over about a second and half a second (own choice, as far back as who sets off leans)."""


class StandJudge:
    """Judges the looks at one sensor, a tenth of a second each, in order.

    Attributes
    ----------
    size_mps2 : float
        Size of the specific force in stands.
    bias_radps : (3,)
        Rate in stands.
    up : (3,)
        Direction of the specific force in stands, sensor axes.
    share : float
        How much the last look counts among those of its stand.
    """

    def __init__(self) -> None:
        self.size_mps2 = STANDARD_GRAVITY_MPS2
        self.bias_radps = self.up = (0.0, 0.0, 0.0)
        self.share = 1.0
        self._known = self._other = self._standing = 0

    def stands(self, means: Sequence[float]) -> bool:
        """Tell whether the last looks are those of a stand; if so, learn from them.

        Parameters
        ----------
        means : sequence of float
            Means over them: specific force x y z, rate x y z, square of the force, of the rate.
        """
        square = means[0] ** 2 + means[1] ** 2 + means[2] ** 2
        if means[6] - square >= STILL_ACCEL_MPS2**2 or means[7] >= STILL_RATE_RADPS**2:
            self._other = self._standing = 0
            return False
        size_mps2, rate_radps = math.sqrt(square), (means[3], means[4], means[5])
        off_mps2 = abs(size_mps2 - self.size_mps2)
        turn_radps = math.dist(rate_radps, self.bias_radps)
        if self._known:
            same = off_mps2 < SAME_MPS2 and turn_radps < SAME_RADPS
        else:
            same = off_mps2 < FIRST_SHARE * STANDARD_GRAVITY_MPS2 and turn_radps < FIRST_RADPS
        self._other = 0 if same else self._other + 1
        if 0 < self._other < SURE_LOOKS:
            return False
        self._known = self._known + 1 if same else 1
        self._standing += 1
        self.share = max(1.0 / self._standing, SHORT_SHARE)
        share = max(1.0 / self._known, LONG_SHARE)
        self.size_mps2 += share * (size_mps2 - self.size_mps2)
        self.bias_radps = _towards(self.bias_radps, rate_radps, share)
        up = _towards(self.up, (means[0], means[1], means[2]), share / size_mps2, 1.0 - share)
        size = math.hypot(*up) or 1.0
        self.up = up[0] / size, up[1] / size, up[2] / size
        return True


def _towards(a: Triple, b: Triple, share: float, rest: float | None = None) -> Triple:
    left = 1.0 - share if rest is None else rest
    return left * a[0] + share * b[0], left * a[1] + share * b[1], left * a[2] + share * b[2]
