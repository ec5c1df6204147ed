"""Motion of one ankle as its sensor's samples arrive, on an even grid of time.

Causal and scalar: each sample is worked on once, in order, by plain numbers, so that the result
never depends on how samples were cut into batches. No mounting is asked for: where the athlete
stands, the accelerometer shows which way the shank points, and the ankle lies below. Velocities
drift; only their differences within a quarter of a second are used.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.pipeline.body import SHANK_LEVER_M
from imujump.pipeline.early_stand import StandJudge
from imujump.pipeline.windows import FILTER_DELAY_SAMPLES

Triple = tuple[float, float, float]
Quaternion = tuple[float, float, float, float]

GRID_S = 0.005
"""Step of the grid: as fine as the slowest usual sensor samples (own choice)."""

LOOK_S, LOOKS = 0.1, 3
"""Stillness is judged over the last three spans of a tenth of a second, as offline."""

FIRST_TILT_S = 1.0
"""Who does not stand still at first is levelled by the mean of this time (own choice: about one
stride of a walk)."""

LONGEST_BRIDGE_S = 0.1
"""A longer gap loses the foot; a shorter one is bridged by a straight line (own choice)."""

FREE_TILT_S, ANCHORED_S = 6.0, 15.0
"""Without a stand for 15 s the specific force sets the tilt right, slowly (own choice)."""


class Instant(NamedTuple):
    """A sensor at ``number`` grid steps of its device time.

    ``velocity_mps`` (world, drifting) is that of the ankle below a shank sensor, ``up`` the
    shank's direction from ankle to knee, ``force_mps2`` the mean size of the specific force over
    the grid step that ends here.
    """

    number: int
    velocity_mps: Triple
    up: Triple
    force_mps2: float


class ShankPath:
    """Dead reckoning of one sensor, sample by sample, told on the grid.

    Movement is told at the time it happened: the delay of the sensor's own low-pass is taken off.
    """

    def __init__(self, rate_hz: float) -> None:
        self._step_s = 1.0 / rate_hz
        self._delay_s = FILTER_DELAY_SAMPLES / rate_hz
        self._look_n = max(2, round(LOOK_S * rate_hz))
        self._restart()

    def _restart(self) -> None:
        self._time_s = -math.inf
        self._row: tuple[float, ...] = ()
        self._levelled = False
        self._since_still_s = math.inf
        self._q: Quaternion = (1.0, 0.0, 0.0, 0.0)
        self._bias: Triple = (0.0, 0.0, 0.0)
        self._scale = 1.0
        self._upward: Triple = (0.0, 0.0, 0.0)
        self._axis: Triple = (0.0, 0.0, 1.0)
        self._v: Triple = (0.0, 0.0, 0.0)
        self._force = 0.0
        self._told_force = 0.0
        self._before: tuple[float, Triple, Triple, float] | None = None
        self._sums = [0.0] * 8
        self._count = 0
        self._looks: list[tuple[float, ...]] = []
        self._judge = StandJudge()

    def take(self, time_s: float, row: tuple[float, ...]) -> list[Instant] | None:
        """Take in a sample (accelerometer x y z, gyroscope x y z) at a device time.

        Returns
        -------
        list of Instant or None
            Grid instants that have become known, in order, none left out since the last None.
            None when the sensor was lost: a gap longer than 0.1 s ends here.
        """
        gap_s = time_s - self._time_s
        if gap_s <= 1.5 * self._step_s:
            return self._follow(time_s, row)
        lost = math.isinf(gap_s)
        if gap_s > LONGEST_BRIDGE_S:
            self._restart()
            self._time_s, self._row = time_s, row
            self._look(row)
            return [] if lost else None
        before_s, before, found = self._time_s, self._row, []
        missing = round(gap_s / self._step_s) - 1
        for k in range(1, missing + 1):
            share = k / (missing + 1)
            bridged = tuple(a + share * (b - a) for a, b in zip(before, row, strict=True))
            found += self._follow(before_s + share * gap_s, bridged)
        return found + self._follow(time_s, row)

    def _follow(self, time_s: float, row: tuple[float, ...]) -> list[Instant]:
        h = time_s - self._time_s
        old, self._row, self._time_s = self._row, row, time_s
        bx, by, bz = self._bias
        gx, gy = 0.5 * (old[3] + row[3]) - bx, 0.5 * (old[4] + row[4]) - by
        gz = 0.5 * (old[5] + row[5]) - bz
        self._q = turned(self._q, 0.5 * h * gx, 0.5 * h * gy, 0.5 * h * gz)
        self._look(row)
        q, s = self._q, self._scale
        fx, fy, fz = rotated(q, (s * row[0], s * row[1], s * row[2]))
        if not self._levelled:
            ux, uy, uz = self._upward
            self._upward = (ux + h * fx, uy + h * fy, uz + h * fz)
            return []
        vx, vy, vz = self._v
        self._v = (vx + h * fx, vy + h * fy, vz + h * (fz - STANDARD_GRAVITY_MPS2))
        self._force += h * math.sqrt(fx * fx + fy * fy + fz * fz)
        self._since_still_s += h
        if self._since_still_s > ANCHORED_S:
            bound = 0.5 * h / FREE_TILT_S / STANDARD_GRAVITY_MPS2
            self._q = _product((1.0, bound * fy, -bound * fx, 0.0), self._q)
        wx, wy, wz = row[3] - bx, row[4] - by, row[5] - bz
        ax, ay, az = self._axis
        turning = (az * wy - ay * wz, ax * wz - az * wx, ay * wx - ax * wy)
        up, across = rotated(q, self._axis), rotated(q, turning)
        vx, vy, vz = self._v
        lever = -SHANK_LEVER_M
        ankle = (vx + lever * across[0], vy + lever * across[1], vz + lever * across[2])
        return self._tell((time_s - self._delay_s, ankle, up, self._force))

    def _tell(self, now: tuple[float, Triple, Triple, float]) -> list[Instant]:
        """Grid instants since the sample before, on straight lines between both."""
        before, self._before = self._before, now
        if before is None:
            self._told_force = now[3]
            return []
        found = []
        first, last = math.floor(before[0] / GRID_S) + 1, math.floor(now[0] / GRID_S)
        for number in range(first, last + 1):
            share = (number * GRID_S - before[0]) / (now[0] - before[0])
            force = before[3] + share * (now[3] - before[3])
            found.append(
                Instant(
                    number,
                    _between(before[1], now[1], share),
                    _between(before[2], now[2], share),
                    (force - self._told_force) / GRID_S,
                )
            )
            self._told_force = force
        return found

    def _look(self, row: tuple[float, ...]) -> None:
        """Judge stillness, and learn bias, scale and vertical where there is any."""
        sums = self._sums
        for i in range(6):
            sums[i] += row[i]
        sums[6] += row[0] * row[0] + row[1] * row[1] + row[2] * row[2]
        sums[7] += row[3] * row[3] + row[4] * row[4] + row[5] * row[5]
        self._count += 1
        if self._count < self._look_n:
            return
        looks = self._looks
        looks.append(tuple(total / self._count for total in sums))
        self._sums, self._count = [0.0] * 8, 0
        if not self._levelled and len(looks) * LOOK_S > FIRST_TILT_S - 0.5 * LOOK_S:
            self._stand(_mean(looks), still=False)
        if self._levelled:
            del looks[:-LOOKS]
        if len(looks) < LOOKS:
            return
        mean = _mean(looks[-LOOKS:])
        if self._judge.stands(mean):
            self._stand(mean, still=True)

    def _stand(self, mean: tuple[float, ...], *, still: bool) -> None:
        """Take the mean specific force for the vertical; of a stand also bias and scale.

        The looks of a stand are averaged: who sets off leans before it shows as movement.
        """
        size = math.sqrt(mean[0] ** 2 + mean[1] ** 2 + mean[2] ** 2) or 1.0
        up: Triple = (mean[0] / size, mean[1] / size, mean[2] / size)
        if still:
            judge = self._judge
            self._bias, self._scale = judge.bias_radps, STANDARD_GRAVITY_MPS2 / judge.size_mps2
            self._axis = judge.up
            self._since_still_s = 0.0
            share, level = judge.share, levelling(rotated(self._q, up))
            level = (1.0 + share * (level[0] - 1.0), share * level[1], share * level[2], 0.0)
        else:
            self._axis = up
            x, y, z = self._upward
            size = math.sqrt(x * x + y * y + z * z) or 1.0
            level = levelling((x / size, y / size, z / size))
        # The shortest turn to level keeps the heading.
        self._q = _product(level, self._q)
        self._levelled = True


def _mean(looks: list[tuple[float, ...]]) -> tuple[float, ...]:
    return tuple(sum(column) / len(looks) for column in zip(*looks, strict=True))


def _between(a: Triple, b: Triple, share: float) -> Triple:
    return (
        a[0] + share * (b[0] - a[0]),
        a[1] + share * (b[1] - a[1]),
        a[2] + share * (b[2] - a[2]),
    )


def _product(p: Quaternion, q: Quaternion) -> Quaternion:
    """Unit quaternion of turn q (first) and p, scalar first."""
    a, b, c, d = p
    e, f, g, h = q
    w = a * e - b * f - c * g - d * h
    x = a * f + b * e + c * h - d * g
    y = a * g - b * h + c * e + d * f
    z = a * h + b * g - c * f + d * e
    size = 1.0 / math.sqrt(w * w + x * x + y * y + z * z)
    return w * size, x * size, y * size, z * size


def turned(q: Quaternion, x: float, y: float, z: float) -> Quaternion:
    """Attitude after a small turn by twice (x, y, z) about sensor axes."""
    return _product(q, (1.0 - 0.5 * (x * x + y * y + z * z), x, y, z))


def rotated(q: Quaternion, v: Triple) -> Triple:
    """Vector of sensor axes in world axes."""
    a, b, c, d = q
    x, y, z = v
    tx, ty, tz = 2.0 * (c * z - d * y), 2.0 * (d * x - b * z), 2.0 * (b * y - c * x)
    return (
        x + a * tx + c * tz - d * ty,
        y + a * ty + d * tx - b * tz,
        z + a * tz + b * ty - c * tx,
    )


def levelling(up: Triple) -> Quaternion:
    """Shortest turn of a unit vector to z."""
    x, y, z = up
    if z < -1.0 + 1e-9:
        return 0.0, 1.0, 0.0, 0.0
    w = math.sqrt(0.5 * (1.0 + z))
    return w, 0.5 * y / w, -0.5 * x / w, 0.0
