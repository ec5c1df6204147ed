"""A whole motion: pelvis, ankles and shanks at any time, with exact derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import FloatArray, Placement, Side
from imujump.simulate.body import Body, side_sign
from imujump.simulate.curve import Curve, quintic_coefficients, quintic_curve
from imujump.simulate.foot import Foot, HipPath
from imujump.simulate.jet import Frame, Jet
from imujump.simulate.leg import shank_frame, thigh_stretch_m
from imujump.simulate.script import JumpMark, Label, Script, Shock


@dataclass(frozen=True, slots=True, eq=False)
class SensorMotion:
    """What one sensor point does: path in the world (n, 3) and attitude of its segment."""

    position: Jet
    frame: Frame

    def specific_force_mps2(self, gravity_mps2: float = STANDARD_GRAVITY_MPS2) -> FloatArray:
        """Specific force in segment axes (n, 3), m/s²: what an ideal accelerometer reads."""
        return self.frame.into_frame(self.position.second + np.array([0.0, 0.0, gravity_mps2]))

    def angular_rate_radps(self) -> FloatArray:
        """Angular rate in segment axes (n, 3), rad/s: what an ideal gyro reads."""
        return self.frame.angular_rate_radps()


class Motion:
    """An athlete's movement, made of polynomial pieces with continuous acceleration.

    The script's knots give the centre of mass; when no foot carries it falls freely. The
    pelvis follows from it: with both ankles at their standing place under the hips the
    pelvis keeps a fixed place under the centre of mass, and every shift of an ankle away
    from there moves the pelvis the other way by the legs' share of mass.

    Parameters
    ----------
    script : Script
        A finished script, from standing to standing.
    gravity_mps2 : float
        Free fall in flight.
    """

    def __init__(self, script: Script, gravity_mps2: float = STANDARD_GRAVITY_MPS2) -> None:
        self.body: Body = script.body
        self.gravity_mps2 = gravity_mps2
        self.jumps: tuple[JumpMark, ...] = tuple(script.jumps)
        self.labels: tuple[Label, ...] = tuple(script.labels)
        self.duration_s = script.time_s
        self._centre = _CentrePath(script)
        turns = script.turns
        angle = np.array([[t.yaw_rad, t.pitch_rad, t.roll_rad] for t in turns])
        rate = np.array([[t.yaw_rate_radps, 0.0, 0.0] for t in turns])
        self._angles = quintic_curve(
            np.array([t.time_s for t in turns]), angle, rate, np.zeros_like(rate)
        )
        arms = np.array([(script.knots[0].time_s, 0.0), *script.arms])[:, :, None]
        still = np.zeros_like(arms[:, 1])
        self._arms = quintic_curve(arms[:, 0, 0], arms[:, 1], still, still)
        self.feet: dict[Side, Foot] = {}
        self._plant_feet(script, self._centre)
        # Heel rises depend on the pelvis, the pelvis a little on them: a second pass settles.
        first = tuple(self.feet.values())
        self._plant_feet(
            script, lambda t: self._pelvis_origin(t, first[0].ankle(t) + first[1].ankle(t))
        )

    def _plant_feet(self, script: Script, hips: HipPath) -> None:
        self.feet = {
            side: Foot(
                self.body,
                script.stances[side],
                [v for v in script.vias if v.side is side],
                hips,
                self._centre,
                side_sign(side) * self.body.hip_half_m,
            )
            for side in Side
        }

    def _pelvis_origin(self, time_s: FloatArray, ankles: Jet) -> Jet:
        """Path of the middle of the hips, given the sum of both ankles' paths."""
        centre = self._centre(time_s)
        down = self.body.standing_hip_m - self.body.ankle_height_m
        legs = ankles - centre * 2.0
        arms = self._arms(time_s).part(0)
        zero = np.zeros(len(time_s))
        lift = Jet(
            np.stack([zero, zero, arms.value], axis=1),
            np.stack([zero, zero, arms.rate], axis=1),
            np.stack([zero, zero, arms.second], axis=1),
        )
        shift = (legs + np.array([0.0, 0.0, 2.0 * down])) * self.body.leg_coupling_ratio
        return centre - shift - lift

    def centre_of_mass(self, time_s: FloatArray) -> Jet:
        """Path of the centre of mass (n, 3), but for a fixed height above the hips."""
        return self._centre(time_s)

    def pelvis_angles(self, time_s: FloatArray) -> Jet:
        """Pelvis yaw, forward pitch and roll (n, 3), radians; pitch and roll from standing."""
        return self._angles(time_s)

    def pelvis(self, time_s: FloatArray) -> SensorMotion:
        """Middle of the hips and attitude of the pelvis."""
        ankles = self.feet[Side.LEFT].ankle(time_s) + self.feet[Side.RIGHT].ankle(time_s)
        return self._pelvis(time_s, ankles)

    def _pelvis(self, time_s: FloatArray, ankles: Jet) -> SensorMotion:
        angles = self._angles(time_s)
        return SensorMotion(
            self._pelvis_origin(time_s, ankles),
            Frame.from_angles(angles.part(0), angles.part(1), angles.part(2)),
        )

    def _leg(self, side: Side, time_s: FloatArray) -> tuple[Jet, Jet, Frame]:
        """Hip, ankle and shank of one leg."""
        ankle = self.feet[side].ankle(time_s)
        pelvis = self._pelvis(time_s, ankle + self.feet[side.other].ankle(time_s))
        hip = pelvis.frame.point(
            pelvis.position, (0.0, side_sign(side) * self.body.hip_half_m, 0.0)
        )
        heading = (self._angles(time_s).part(0) + self.feet[side].heading(time_s)) * 0.5
        return hip, ankle, shank_frame(self.body, hip, ankle, heading)

    def shank(self, side: Side, time_s: FloatArray) -> SensorMotion:
        """Ankle and attitude of one shank."""
        _, ankle, frame = self._leg(side, time_s)
        return SensorMotion(ankle, frame)

    def sensor(self, placement: Placement, time_s: FloatArray) -> SensorMotion:
        """Motion of one sensor's place on the body."""
        if placement is Placement.PELVIS:
            segment = self.pelvis(time_s)
        else:
            side = Side.LEFT if placement is Placement.LEFT_SHANK else Side.RIGHT
            segment = self.shank(side, time_s)
        offset = self.body.sensor_offset_m(placement)
        return SensorMotion(segment.frame.point(segment.position, offset), segment.frame)

    def leg_stretch_m(self, side: Side, time_s: FloatArray) -> FloatArray:
        """How much the thigh exceeds its length where the leg is out of reach (n,)."""
        hip, ankle, frame = self._leg(side, time_s)
        return thigh_stretch_m(self.body, hip, ankle, frame).value


class _CentrePath:
    """Path of the centre of mass: quintics between knots, plus impacts within a piece."""

    def __init__(self, script: Script) -> None:
        knots = script.knots
        time = np.array([k.time_s for k in knots])
        bad = np.flatnonzero(np.diff(time) <= 0.0)
        if len(bad):
            raise ValueError(f"knots out of order after {time[bad[0]]:.3f} s")
        state = np.array(
            [[k.position_m, k.velocity_mps, k.acceleration_mps2] for k in knots]
        ).transpose(1, 0, 2)
        start, end = state[:, :-1].copy(), state[:, 1:].copy()
        self._shocks = self._shock_curve(script.shocks, time, end)
        self._smooth = Curve(time, quintic_coefficients(np.diff(time), tuple(start), tuple(end)))

    @staticmethod
    def _shock_curve(shocks: list[Shock], time: FloatArray, end: FloatArray) -> Curve | None:
        """Impacts as a path of their own, taken off the end state of the piece they fall in."""
        if not shocks:
            return None
        breaks: list[float] = []
        pieces: list[FloatArray] = []
        parts: dict[int, list[Shock]] = {}
        for shock in shocks:
            piece = int(np.searchsorted(time, shock.time_s, side="right")) - 1
            parts.setdefault(piece, []).append(shock)
        for piece in sorted(parts):
            until = float(time[piece + 1])
            offset = speed = 0.0
            ordered = sorted(parts[piece], key=lambda s: s.time_s)
            if breaks and breaks[-1] < ordered[0].time_s:
                pieces.append(np.zeros((7, 1, 1)))
            elif breaks and breaks[-1] == ordered[0].time_s:
                breaks.pop()
            for k, shock in enumerate(ordered):
                nxt = ordered[k + 1].time_s if k + 1 < len(ordered) else until
                over = shock.time_s + shock.length_s
                if over >= nxt:
                    raise ValueError(f"the impact at {shock.time_s:.3f} s runs into the next knot")
                h, j = shock.length_s, shock.impulse_mps
                # Acceleration 30 j/h u²(1-u)², u from 0 to 1: smooth at both ends, area j.
                rise = np.array(
                    [j / h**5, -3.0 * j / h**4, 2.5 * j / h**3, 0.0, 0.0, speed, offset]
                )
                breaks.append(shock.time_s)
                pieces.append(rise[:, None, None])
                offset += speed * h + 0.5 * j * h
                speed += j
                coast = np.array([0.0, 0.0, 0.0, 0.0, 0.0, speed, offset])
                breaks.append(over)
                pieces.append(coast[:, None, None])
                offset += speed * (nxt - over)
            breaks.append(until)
            end[0, piece, 2] -= offset
            end[1, piece, 2] -= speed
        # Nothing is left of an impact past the last piece it fell in.
        breaks.append(breaks[-1] + 1.0)
        pieces.append(np.zeros((7, 1, 1)))
        return Curve(np.array(breaks), np.concatenate(pieces, axis=1))

    def __call__(self, time_s: FloatArray) -> Jet:
        path = self._smooth(time_s)
        if self._shocks is None:
            return path
        shock = self._shocks(time_s)
        value, rate, second = path.value.copy(), path.rate.copy(), path.second.copy()
        value[:, 2] += shock.value[:, 0]
        rate[:, 2] += shock.rate[:, 0]
        second[:, 2] += shock.second[:, 0]
        return Jet(value, rate, second)
