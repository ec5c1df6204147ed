"""Path of one foot: fixed on the ground in contact, swinging between contacts.

In contact the sole turns about the heel after a heel strike and about the ball at push-off;
heel and ball never move while they carry. The ankle also sinks by a few millimetres in the
first instants after a strike, as heel pad and shoe give way: this is the impact a shank
sensor feels.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from imujump.model import BoolArray, FloatArray, IntArray
from imujump.simulate.body import Body
from imujump.simulate.curve import Curve, quintic_coefficients, quintic_curve, through_points
from imujump.simulate.jet import Jet, cos, dot, sin, softplus, sqrt, stack
from imujump.simulate.script import Stance, Via

HipPath = Callable[[FloatArray], Jet]

REACH_SHARE = 0.985
"""The heel rises until hip and ankle are within this share of the leg's length at toe-off
(own choice: a knee bent by 20 degrees, as in running)."""

RISE_LIMIT_RAD = (0.50, 1.25)
"""Least and greatest heel rise at toe-off where none is asked for (own choice)."""

SWING_REACH_SHARE = 0.975
SWING_SOFTNESS_SHARE = 0.020
"""A swinging ankle stays within this share of the leg's length of the hip, and is drawn in
softly before (own choice: people do not lock the knee in the swing)."""

SOLE_GIVE_SHARE = 0.45
"""Sole compression as a share of impact speed times impact time; 0.4 and more keeps the
ankle's deceleration of one sign (own choice, because it gives a single smooth burst)."""

PUSH_RATE_SHARE = 2.1
SETTLE_RATE_SHARE = 1.6
"""Foot turning rate at toe-off and at a strike, relative to the mean over the heel's rise
and the foot's settling; up to 2.5 the turn keeps its direction (own choice)."""


class Foot:
    """Where one ankle is at any time.

    Parameters
    ----------
    body : Body
        Gives the foot's lengths.
    stances : sequence of Stance
        Contacts in order; the first without strike, the last without toe-off.
    vias : sequence of Via
        Points on the swings' way.
    hips : callable
        Path of the middle of the hips, (n,) seconds to a jet (n, 3), metres.
    centre : callable
        Path of the body's centre, to which a swinging foot is tied.
    hip_half_y_m : float
        Signed lateral offset of this leg's hip.
    """

    def __init__(
        self,
        body: Body,
        stances: Sequence[Stance],
        vias: Sequence[Via],
        hips: HipPath,
        centre: HipPath,
        hip_half_y_m: float,
    ) -> None:
        self._body = body
        self.stances = tuple(stances)
        self.strike_s = np.array([-math.inf if s.strike_s is None else s.strike_s for s in stances])
        self.toe_off_s = np.array(
            [math.inf if s.toe_off_s is None else s.toe_off_s for s in stances]
        )
        self._place = np.array([[s.x_m, s.y_m] for s in stances])
        self._heading = np.array([s.yaw_rad for s in stances])
        self._check_order()
        self.rise_rad = self._heel_rises(hips, hip_half_y_m)
        self._pitch = self._pitch_curve()
        self._give = self._give_curve()
        self._yaw = self._yaw_curve()
        self._centre = centre
        self._hip_half_y_m = hip_half_y_m
        self._window = self._window_curve()
        self._swing = self._swing_curve(vias)

    def _check_order(self) -> None:
        ordered = np.all(self.toe_off_s > self.strike_s) and np.all(
            self.strike_s[1:] > self.toe_off_s[:-1]
        )
        if not ordered or np.isfinite(self.toe_off_s[-1]) or np.isfinite(self.strike_s[0]):
            raise ValueError("stances must be in order, from the ground to the ground")

    def _heel_rises(self, hips: HipPath, hip_half_y_m: float) -> FloatArray:
        leaving = len(self.stances) - 1
        asked = np.array([math.nan if s.rise_rad is None else s.rise_rad for s in self.stances])
        if leaving == 0:
            return asked
        ball, up = self._body.ball_m, self._body.ankle_height_m
        rise = np.linspace(*RISE_LIMIT_RAD, 40)
        forward = ball - ball * np.cos(rise) + up * np.sin(rise)
        height = ball * np.sin(rise) + up * np.cos(rise)
        heading = self._heading[:-1]
        hip = hips(self.toe_off_s[:-1]).value
        hip_x = hip[:, 0] - hip_half_y_m * np.sin(heading)
        hip_y = hip[:, 1] + hip_half_y_m * np.cos(heading)
        dx = hip_x[:, None] - self._place[:-1, 0, None] - np.cos(heading)[:, None] * forward
        dy = hip_y[:, None] - self._place[:-1, 1, None] - np.sin(heading)[:, None] * forward
        distance = np.sqrt(dx**2 + dy**2 + (hip[:, 2, None] - height) ** 2)
        within = distance <= REACH_SHARE * self._body.leg_m
        first = np.where(within.any(axis=1), within.argmax(axis=1), distance.argmin(axis=1))
        found = np.append(rise[first], math.nan)
        return np.where(np.isnan(asked), found, asked)

    def _pitch_curve(self) -> Curve:
        rows: list[tuple[float, float, float]] = []
        for i, s in enumerate(self.stances):
            begin, end = self.strike_s[i], self.toe_off_s[i]
            settle, rise = s.settle_s, s.rise_s
            if settle + rise > 0.98 * (end - begin):
                shrink = 0.98 * (end - begin) / (settle + rise)
                settle, rise = settle * shrink, rise * shrink
            if s.strike_s is not None:
                pitch = s.strike_pitch_rad
                rows.append((begin, pitch, -SETTLE_RATE_SHARE * pitch / settle))
                rows.append((begin + settle, 0.0, 0.0))
            if s.toe_off_s is not None:
                angle = float(self.rise_rad[i])
                rows.append((end - rise, 0.0, 0.0))
                rows.append((end, angle, PUSH_RATE_SHARE * angle / rise))
        return _scalar_curve(rows)

    def _give_curve(self) -> Curve:
        """Forward and upward displacement of the sole's upper side."""
        rows: list[tuple[float, FloatArray, FloatArray]] = []
        rest = np.zeros(2)
        for s, end in zip(self.stances, self.toe_off_s, strict=True):
            if s.strike_s is None:
                if math.isfinite(end):
                    rows.append((float(end), rest, rest))
                continue
            length = min(s.impact_s, 0.9 * (end - s.strike_s))
            speed = np.array([s.slide_mps, -s.impact_mps])
            rows.append((s.strike_s, -SOLE_GIVE_SHARE * length * speed, speed))
            rows.append((s.strike_s + length, rest, rest))
            if math.isfinite(end):
                rows.append((float(end), rest, rest))
        return _curve(rows)

    def _yaw_curve(self) -> Curve:
        rows: list[tuple[float, float, float]] = []
        for i, heading in enumerate(self._heading):
            rows += [
                (float(t), float(heading), 0.0)
                for t in (self.strike_s[i], self.toe_off_s[i])
                if math.isfinite(t)
            ]
        return _scalar_curve(rows, float(self._heading[0]))

    def _swing_curve(self, vias: Sequence[Via]) -> Curve | None:
        """Swings as paths from the body's centre, so that a leg moves along with the body."""
        count = len(self.stances) - 1
        if count == 0:
            return None
        leave, land = self.toe_off_s[:-1], self.strike_s[1:]
        start = self._in_contact(leave, np.arange(count)) - self._centre(leave)
        end = self._in_contact(land, np.arange(1, count + 1)) - self._centre(land)
        direct = quintic_coefficients(
            land - leave,
            (start.value, start.rate, start.second),
            (end.value, end.rate, end.second),
        )
        passing: list[list[Via]] = [[] for _ in range(count)]
        for via in sorted(vias, key=lambda v: v.time_s):
            i = int(np.searchsorted(leave, via.time_s)) - 1
            if i < 0 or not leave[i] < via.time_s < land[i]:
                raise ValueError(f"a point at {via.time_s:.3f} s lies in no swing of that foot")
            passing[i].append(via)
        breaks: list[FloatArray] = []
        pieces: list[FloatArray] = []
        for i in range(count):
            if i and leave[i] > land[i - 1]:
                breaks.append(land[i - 1 : i])
                pieces.append(np.zeros((6, 1, 3)))
            at = np.array([v.time_s for v in passing[i]])
            points = (at - leave[i])[:, None] ** np.arange(5, -1, -1) @ direct[:, i]
            height = self._centre(at).value[:, 2]
            for row, via in enumerate(passing[i]):
                if not via.on_way:
                    points[row, :2] = (via.x_m, via.y_m)
                points[row, 2] = via.z_m - height[row]
            spline = through_points(
                np.concatenate([[leave[i]], at, [land[i]]]),
                np.vstack([start.value[i], points, end.value[i]]),
                (start.rate[i], start.second[i]),
                (end.rate[i], end.second[i]),
            )
            breaks.append(spline.x[:-1])
            pieces.append(spline.c)
        breaks.append(land[-1:])
        return Curve(np.concatenate(breaks), np.concatenate(pieces, axis=1))

    def _in_contact(self, time_s: FloatArray, stance: IntArray) -> Jet:
        body = self._body
        pitch, give = self._pitch(time_s).part(0), self._give(time_s)
        c, s = cos(pitch), sin(pitch)
        on_ball = pitch.value > 0.0
        up = body.ankle_height_m
        ball = c * -body.ball_m + s * up + body.ball_m
        heel = c * body.heel_m + s * up - body.heel_m
        forward = ball.where(on_ball, heel) + give.part(0)
        height = (s * body.ball_m + c * up).where(on_ball, s * -body.heel_m + c * up)
        height = height + give.part(1)
        heading = self._heading[stance]
        return stack(
            [
                forward * np.cos(heading) + self._place[stance, 0],
                forward * np.sin(heading) + self._place[stance, 1],
                height,
            ]
        )

    def stance_index(self, time_s: FloatArray) -> IntArray:
        """Return the number of the last stance begun at each time."""
        return np.searchsorted(self.strike_s, time_s, side="right") - 1

    def in_contact(self, time_s: FloatArray) -> BoolArray:
        """Tell whether the foot is on the ground."""
        held: BoolArray = time_s <= self.toe_off_s[self.stance_index(time_s)]
        return held

    def ankle(self, time_s: FloatArray) -> Jet:
        """Path of the ankle joint, world axes, metres."""
        stance = self.stance_index(time_s)
        contact = self._in_contact(time_s, stance)
        if self._swing is None:
            return contact
        swing = self._within_reach(time_s, self._swing(time_s)) + self._centre(time_s)
        return contact.where(time_s <= self.toe_off_s[stance], swing)

    def _within_reach(self, time_s: FloatArray, path: Jet) -> Jet:
        """Draw a swinging foot in where its smooth course would lead beyond the leg's length."""
        side = self._hip_side(time_s)
        reach = path - side
        distance = sqrt(dot(reach, reach))
        soft = SWING_SOFTNESS_SHARE * self._body.leg_m
        over = softplus((distance - SWING_REACH_SHARE * self._body.leg_m) / soft) * soft
        draw = over * self._window(time_s).part(0) / distance
        return path - reach.scaled(draw)

    def _hip_side(self, time_s: FloatArray) -> Jet:
        """Hip from the middle of the hips."""
        heading = self.heading(time_s)
        return stack([sin(heading) * -1.0, cos(heading), heading * 0.0]) * self._hip_half_y_m

    def _window_curve(self) -> Curve:
        """Switch for the limit of reach: 0 in contact, 1 in swing, smooth between."""
        rows: list[tuple[float, float, float]] = []
        for leave, land in zip(self.toe_off_s[:-1], self.strike_s[1:], strict=True):
            ramp = min(0.090, 0.3 * (land - leave))
            rows += [(leave, 0.0, 0.0), (leave + ramp, 1.0, 0.0)]
            rows += [(land - ramp, 1.0, 0.0), (land, 0.0, 0.0)]
        return _scalar_curve(rows)

    def heading(self, time_s: FloatArray) -> Jet:
        """Direction in which the foot points, radians."""
        return self._yaw(time_s).part(0)

    def foot_pitch_rad(self, time_s: FloatArray) -> FloatArray:
        """Pitch of the foot (n,): positive with the heel, negative with the toes raised."""
        pitch: FloatArray = self._pitch(time_s).value[:, 0]
        return pitch

    def carrying_point(self, time_s: FloatArray) -> FloatArray:
        """Point of the sole that carries, worked back from ankle and foot pitch (n, 3).

        Heel or ball, whichever the foot turns about; the ball while flat. NaN in the air.
        The sole's give counts as part of the leg.
        """
        pitch = self._pitch(time_s).value[:, 0]
        yaw = self.heading(time_s).value
        along = np.where(pitch >= 0.0, self._body.ball_m, -self._body.heel_m)
        down = -self._body.ankle_height_m
        give = self._give(time_s).value
        forward = along * np.cos(pitch) + down * np.sin(pitch) - give[:, 0]
        point = self.ankle(time_s).value + np.stack(
            [
                forward * np.cos(yaw),
                forward * np.sin(yaw),
                -along * np.sin(pitch) + down * np.cos(pitch) - give[:, 1],
            ],
            axis=1,
        )
        return np.where(self.in_contact(time_s)[:, None], point, math.nan)


def _scalar_curve(rows: list[tuple[float, float, float]], rest: float = 0.0) -> Curve:
    if len(rows) < 2:
        rows = [(0.0, rest, 0.0), (1.0, rest, 0.0)]
    return _curve([(t, np.array([value]), np.array([rate])) for t, value, rate in rows])


def _curve(rows: list[tuple[float, FloatArray, FloatArray]]) -> Curve:
    """Through values and rates at instants, without acceleration there; one of equal instants."""
    if len(rows) < 2:
        rows = [(t, rows[0][1] if rows else np.zeros(2), np.zeros(2)) for t in (0.0, 1.0)]
    time = np.array([t for t, _, _ in rows])
    keep = np.append(np.diff(time) > 1e-9, True)
    value, rate = (np.array([row[k] for row in rows])[keep] for k in (1, 2))
    return quintic_curve(time[keep], value, rate, np.zeros_like(value))
