"""Speed of the hips over a step while the athlete still runs: dead reckoning from the last stand.

The stand gives the vertical, the gyroscope's bias and speed zero; from there the pelvis sensor is
followed sample by sample. Nothing corrects the drift before the attempt is over, so a speed is
told only for some seconds, and only while the vertical speed stays near zero, as a runner's does:
what was clipped or knocked loose shows there first. The attempt's own speeds later take the place
of these.

Told for 74 of 77 steps of the demo recordings, 65 of 66 of the open kinematic ones, 52 of 54 of the
rigid-body ones and 62 of 103 of people (whose touchdowns are told early less often); from the final
speed of the same step they lie 0.02, 0.03, 0.14 and 0.10 m/s apart (root mean square). What is
farther off is a first step whose touchdown was told wrong (up to 0.6), or a body whose pelvis is
shaken beyond what its sensor follows.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import deque
from collections.abc import Sequence

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.pipeline.early_path import (
    LOOK_S,
    LOOKS,
    Quaternion,
    Triple,
    levelling,
    rotated,
    turned,
)
from imujump.pipeline.early_stand import StandJudge
from imujump.pipeline.windows import FILTER_DELAY_SAMPLES

ONSET_LOOKS, STAND_LOOKS = 5, 10
"""The last half second of a stand is left out, since who sets off leans forward before it shows as
movement, and at most the second before that is taken (own choice: with the half second in, speeds
of people erred by 0.36 instead of 0.06 m/s)."""

LONGEST_S = 6.0
"""So long after a stand speeds are told (own choice: a long run-up; 0.2° of tilt then make 0.2
m/s)."""

LEVEL_MPS = 0.5
"""Mean vertical speed of the hips over a step above which the path is lost (own choice: who lowers
the hips by 15 cm in a step of 0.3 s moves at this speed)."""

LONGEST_BRIDGE_S = 0.03
"""A longer gap loses the path until the next stand, as an attempt's gaps of this length are hardly
noticed."""

KEPT_LEGS = 40
"""Ways between two stands that are kept: more than any batch of packets holds (own choice)."""

_Row = tuple[float, tuple[float, ...]]


class _Leg:
    """The way since a stand: where the hips were when, from ``from_s`` on, at rest until then."""

    def __init__(self, from_s: float, stand: Sequence[float]) -> None:
        self.from_s = from_s
        self._time_s, self._rate = from_s, (stand[3], stand[4], stand[5])
        force = (stand[0], stand[1], stand[2])
        size = math.sqrt(sum(f * f for f in force)) or 1.0
        self._bias = self._rate
        self._scale = STANDARD_GRAVITY_MPS2 / size
        self._q: Quaternion = levelling((force[0] / size, force[1] / size, force[2] / size))
        self._v: Triple = (0.0, 0.0, 0.0)
        self._a: Triple = (0.0, 0.0, 0.0)
        self._times_s, self._places_m = [from_s], [(0.0, 0.0, 0.0)]

    @property
    def until_s(self) -> float:
        return self._times_s[-1]

    def follow(self, time_s: float, row: tuple[float, ...]) -> None:
        h = time_s - self._time_s
        self._time_s, old, self._rate = time_s, self._rate, (row[3], row[4], row[5])
        if time_s - self.from_s > LONGEST_S:
            return
        turns = zip(old, self._rate, self._bias, strict=True)
        x, y, z = (0.25 * h * (a + b - 2.0 * c) for a, b, c in turns)
        self._q = turned(self._q, x, y, z)
        s = self._scale
        fx, fy, fz = rotated(self._q, (s * row[0], s * row[1], s * row[2]))
        before, self._a = self._a, (fx, fy, fz - STANDARD_GRAVITY_MPS2)
        v = self._v
        self._v = _on(v, before, self._a, h)
        self._times_s.append(time_s)
        self._places_m.append(_on(self._places_m[-1], v, self._v, h))

    def place_m(self, time_s: float) -> Triple:
        after = max(1, bisect_left(self._times_s, time_s))
        before_s, after_s = self._times_s[after - 1], self._times_s[after]
        share = (time_s - before_s) / (after_s - before_s)
        a, b = self._places_m[after - 1], self._places_m[after]
        x, y, z = (p + share * (q - p) for p, q in zip(a, b, strict=True))
        return x, y, z


class HipPath:
    """Dead reckoning of the pelvis sensor, sample by sample.

    Parameters
    ----------
    rate_hz : float
        The sensor's rate.
    """

    def __init__(self, rate_hz: float) -> None:
        self._step_s = 1.0 / rate_hz
        self._delay_s = FILTER_DELAY_SAMPLES / rate_hz
        self._look_n = max(2, round(LOOK_S * rate_hz))
        self._legs: deque[_Leg] = deque(maxlen=KEPT_LEGS)
        self._last_s = self._judged_s = -math.inf
        self._lose()

    def _lose(self) -> None:
        self._judge = StandJudge()
        self._leg: _Leg | None = None
        self._rows: list[_Row] = []
        self._recent: deque[tuple[float, ...]] = deque(maxlen=LOOKS)
        # Means of the present stand's looks, and the rows of its last ones.
        self._stand: deque[tuple[float, ...]] = deque(maxlen=ONSET_LOOKS + STAND_LOOKS)
        self._onset: deque[list[_Row]] = deque(maxlen=ONSET_LOOKS)

    @property
    def known_until_s(self) -> float:
        """Device time until which the way is known, or that there is none."""
        return (self._judged_s if self._leg is None else self._last_s) - self._delay_s

    def take(self, time_s: float, row: tuple[float, ...]) -> None:
        """Take in a sample (accelerometer x y z, gyroscope x y z) at a device time."""
        if time_s - self._last_s > max(LONGEST_BRIDGE_S, 1.5 * self._step_s):
            self._lose()
        self._last_s = time_s
        self._rows.append((time_s, row))
        if self._leg is not None:
            self._leg.follow(time_s, row)
        if len(self._rows) >= self._look_n:
            self._look()

    def speed_mps(self, from_s: float, until_s: float) -> float | None:
        """Mean horizontal speed between two device times; None when it is not known."""
        begin_s, end_s = from_s + self._delay_s, until_s + self._delay_s
        for leg in reversed(self._legs):
            if leg.from_s <= begin_s < end_s <= leg.until_s:
                ways = zip(leg.place_m(begin_s), leg.place_m(end_s), strict=True)
                x, y, z = ((b - a) / (end_s - begin_s) for a, b in ways)
                return math.hypot(x, y) if abs(z) < LEVEL_MPS else None
        return None

    def _look(self) -> None:
        """Judge a tenth of a second: whether the athlete stands or has set off."""
        rows, self._rows = self._rows, []
        n, self._judged_s = len(rows), self._last_s
        means = [sum(row[i] for _, row in rows) / n for i in range(6)]
        force = sum(r[0] ** 2 + r[1] ** 2 + r[2] ** 2 for _, r in rows) / n
        rate = sum(r[3] ** 2 + r[4] ** 2 + r[5] ** 2 for _, r in rows) / n
        self._recent.append((*means, force, rate))
        looks = [sum(column) / len(self._recent) for column in zip(*self._recent, strict=True)]
        if len(self._recent) == LOOKS and self._judge.stands(looks):
            if not self._stand:
                self._stand.extend(self._recent)
            else:
                self._stand.append(self._recent[-1])
            self._leg = None
        elif self._stand:
            self._set_off([*self._onset, rows])
            self._stand.clear()
        self._onset.append(rows)

    def _set_off(self, onset: list[list[_Row]]) -> None:
        """Begin a way where the trusted part of the stand ends."""
        stand = list(self._stand)
        end = max(LOOKS, len(stand) - ONSET_LOOKS)
        trusted = stand[max(0, end - STAND_LOOKS) : end]
        mean = [sum(column) / len(trusted) for column in zip(*trusted, strict=True)]
        rows = [row for look in onset[-(len(stand) - end + 1) :] for row in look]
        self._leg = _Leg(rows[0][0] - self._step_s, mean)
        self._legs.append(self._leg)
        for time_s, row in rows:
            self._leg.follow(time_s, row)


def _on(value: Triple, before: Triple, now: Triple, h: float) -> Triple:
    """Integrate over a time h by the trapezoid."""
    x, y, z = (v + 0.5 * h * (a + b) for v, a, b in zip(value, before, now, strict=True))
    return x, y, z
