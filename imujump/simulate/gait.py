"""Supports and flights of running: the centre of mass from contact to contact.

Every contact gives the body a force that starts and ends at zero and never pulls. The
vertical force is one hump whose timing is set by ``late``: the centre of the impulse as a
share of the contact, 0.5 for a symmetric hump; 0.4 to 0.6 keeps the force pushing.
"""

from __future__ import annotations

import math

from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import Side
from imujump.simulate.body import side_sign
from imujump.simulate.script import Script

G = STANDARD_GRAVITY_MPS2

EARLIEST_SHARE, LATEST_SHARE = 0.4, 0.6
"""Limits of ``late``: a force u(1-u)(a + b u) over the contact, u from 0 to 1, stays
positive just between them (its impulse's centre is 2/5 for u(1-u)², 3/5 for u²(1-u))."""

IMPACT_S = 0.022
"""Time in which the sole takes up a strike (own choice: about 20 ms, as in the set
``kinematic`` of the open virtual recordings)."""

SLIDE_SHARE, SINK_MPS = 0.35, 0.5
"""An ankle arrives with this part of the body's forward speed, and sinks faster than the body falls
(own choice: between a foot that stands still as it lands, for which a nearly straight leg would
have to be pulled back within hundredths of a second, and one that does not slow down at all)."""

PUSH_START_S = 0.62
"""Standing to first toe-off (own choice; 0.72 s in the set ``kinematic`` of the open virtual
recordings)."""


def hump_rise_m(down_mps: float, up_mps: float, contact_s: float, late: float) -> float:
    """Rise of the centre of mass over a contact whose impulse is centred at ``late``."""
    gained = up_mps - down_mps + G * contact_s
    return down_mps * contact_s - 0.5 * G * contact_s**2 + gained * contact_s * (1.0 - late)


def hump_centre(down_mps: float, up_mps: float, contact_s: float, rise_m: float) -> float:
    """Share of the contact at which the impulse must be centred for a given rise."""
    gained = up_mps - down_mps + G * contact_s
    return 1.0 - (rise_m - down_mps * contact_s + 0.5 * G * contact_s**2) / (gained * contact_s)


def contact_time_s(speed_mps: float) -> float:
    """Ground contact of a running step; own line within published 0.10 to 0.20 s.

    Runners on a treadmill average 0.201 s at 3.8 m/s and 0.167 s at 5.4 m/s (Alcantara et
    al. 2021, 10.7717/peerj.11199, means of the open table); jumpers in a run-up are held to
    be quicker (general literature), so the line lies 0.02 s lower.
    """
    return min(0.24, max(0.105, 0.262 - 0.021 * speed_mps))


class Runner:
    """Writes supports and flights into a script, keeping the state at the next strike."""

    def __init__(self, script: Script, *, width_m: float = 0.10, pitch_rad: float = 0.12) -> None:
        self.script = script
        self.half_m = 0.5 * width_m
        self.pitch_rad = pitch_rad
        self.stand_z_m = script.body.standing_hip_m
        self.time_s = script.time_s
        self.x_m = self.y_m = 0.0
        self.z_m = self.stand_z_m
        self.vx_mps = self.vy_mps = self.vz_mps = 0.0
        self.twist_rad = 0.0

    def start(
        self,
        push: Side,
        speed_mps: float,
        flight_s: float,
        next_height_m: float,
        duration_s: float = PUSH_START_S,
    ) -> None:
        """Push off from standing with foot ``push``; the other foot will strike first."""
        script, t0 = self.script, self.script.time_s
        script.knot(t0 + 1e-3, (0.0, 0.0, self.stand_z_m))
        script.turn(t0 + 1e-3)
        t1 = t0 + duration_s
        toe_z = self.stand_z_m - 0.03
        up = (self.stand_z_m + next_height_m - toe_z) / flight_s + 0.5 * G * flight_s
        x = 0.41 * speed_mps * duration_s
        sway = 0.02 * side_sign(push)
        script.knot(t1, (x, sway, toe_z), (speed_mps, 0.0, up), (0.0, 0.0, -G))
        script.turn(t1, 0.06 * side_sign(push), self.pitch_rad, 0.0)
        script.lift(push.other, t0 + 0.42 * duration_s, 0.16, 0.55)
        script.lift(push, t1, 0.22)
        self.time_s, self.x_m, self.y_m, self.z_m = t1, x, sway, toe_z
        self.vx_mps, self.vy_mps, self.vz_mps = speed_mps, 0.0, up
        self.fly(flight_s)

    def fly(self, flight_s: float) -> None:
        """Move the state along a free flight."""
        self.time_s += flight_s
        self.x_m += self.vx_mps * flight_s
        self.y_m += self.vy_mps * flight_s
        self.z_m += self.vz_mps * flight_s - 0.5 * G * flight_s**2
        self.vz_mps -= G * flight_s

    def strike(
        self,
        side: Side,
        x_m: float,
        y_m: float,
        *,
        time_s: float | None = None,
        pitch_rad: float = -0.25,
        settle_s: float = 0.045,
        yaw_rad: float = 0.0,
        lift_m: float | None = None,
        impact_mps: float | None = None,
    ) -> None:
        """Set a foot down, swinging it over the ground by ``lift_m`` on its way."""
        t = self.time_s if time_s is None else time_s
        left = self.script.stances[side][-1].toe_off_s
        led = any(v.side is side and left is not None and v.time_s > left for v in self.script.vias)
        if lift_m is not None and left is not None and not led:
            up = self.script.body.ankle_height_m + lift_m
            self.script.raise_ankle(side, left + 0.42 * (t - left), up)
        speed = max(0.25, -self.vz_mps) if impact_mps is None else impact_mps
        self.script.strike(
            side,
            t,
            x_m,
            y_m,
            yaw_rad=yaw_rad,
            pitch_rad=pitch_rad,
            settle_s=settle_s,
            impact_mps=speed,
            impact_s=IMPACT_S,
            slide_mps=SLIDE_SHARE * max(0.0, self.vx_mps),
        )

    def knot(self, acceleration_z_mps2: float = -G) -> None:
        """Write the present state as a knot."""
        self.script.knot(
            self.time_s,
            (self.x_m, self.y_m, self.z_m),
            (self.vx_mps, self.vy_mps, self.vz_mps),
            (0.0, 0.0, acceleration_z_mps2),
        )

    def support(
        self,
        side: Side,
        *,
        contact_s: float,
        flight_s: float,
        speed_out_mps: float,
        lead_m: float,
        next_height_m: float,
        late: float = 0.5,
        strike_pitch_rad: float = -0.25,
        lift_m: float | None = None,
        tilt_rad: float | None = None,
        impact_ratio: float = 1.0,
    ) -> None:
        """Run over one foot and fly to the next strike.

        Parameters
        ----------
        side : Side
            The foot that carries.
        contact_s, flight_s : float
            Contact, and flight after it.
        speed_out_mps : float
            Forward speed at toe-off.
        lead_m : float
            Ankle ahead of the hips at the strike.
        next_height_m : float
            Hip height at the next strike, against standing.
        late : float
            Centre of the vertical impulse.
        strike_pitch_rad : float
            Foot pitch at the strike, negative for heel first.
        lift_m : float, optional
            Height of the foot's swing before the strike.
        tilt_rad : float, optional
            Pelvis pitch in this contact.
        impact_ratio : float
            How hard the sole strikes, against the usual.
        """
        s, script = side_sign(side), self.script
        swing_lift = 0.06 + 0.062 * self.vx_mps if lift_m is None else lift_m
        self.strike(
            side,
            self.x_m + lead_m,
            s * self.half_m,
            pitch_rad=strike_pitch_rad,
            lift_m=swing_lift,
            impact_mps=impact_ratio * (SINK_MPS + max(0.0, -self.vz_mps)),
        )
        self.knot()
        self.impact()
        t0, ti = self.time_s, contact_s
        step_s = contact_s + flight_s
        pitch = self.pitch_rad if tilt_rad is None else tilt_rad
        script.turn(t0, self.twist_rad - 0.07 * s, pitch)
        self.twist_rad *= 0.75
        yaw_rate = 0.07 * s * math.pi / step_s
        script.turn(t0 + 0.5 * ti, self.twist_rad, pitch + 0.02, 0.05 * s, yaw_rate)
        self.twist_rad *= 0.75
        # The flight to the next strike and the hump's timing fix rise and vertical speed.
        drop = self.stand_z_m + next_height_m - self.z_m
        free = drop / flight_s + 0.5 * G * flight_s
        share = ti * (1.0 - late)
        rise = (self.vz_mps * ti - 0.5 * G * ti**2 + (free - self.vz_mps + G * ti) * share) / (
            1.0 + share / flight_s
        )
        up = free - rise / flight_s
        braking = 0.008 * self.vx_mps * contact_s
        self.x_m += 0.5 * (self.vx_mps + speed_out_mps) * ti - braking
        side_speed = -0.08 * s
        self.y_m = -0.5 * side_speed * flight_s
        self.z_m += rise
        self.time_s = t0 + ti
        self.vx_mps, self.vy_mps, self.vz_mps = speed_out_mps, side_speed, up
        self.knot()
        script.lift(side, self.time_s, 0.48 * ti)
        self.fly(flight_s)

    def impact(self, share: float = 0.10, time_s: float | None = None) -> None:
        """Pass the strike on to the body: the legs' part of the speed they lose, and more."""
        at = self.time_s if time_s is None else time_s
        self.script.shock(at + 0.004, 0.030, share * max(0.25, -self.vz_mps))

    def stop(self, side: Side) -> None:
        """Come to rest from a slow run: ``side`` strikes now, both feet end side by side."""
        script, s = self.script, side_sign(side)
        v, t0, x0, z0, vz0 = self.vx_mps, self.time_s, self.x_m, self.z_m, self.vz_mps
        total_s = 1.15
        x_end = x0 + 0.45 * v * total_s
        final_x = x_end - script.body.ankle_behind_m
        half = script.stance_half_m
        lead = min(0.30, 0.2 * v)
        self.strike(side, x0 + lead, s * self.half_m, lift_m=0.06 + 0.06 * v)
        self.knot()
        self.impact()
        script.turn(t0, self.twist_rad - 0.05 * s, 0.6 * self.pitch_rad)
        deep = 0.13
        bottom = min(z0 + 0.4 * vz0 * deep, self.stand_z_m - 0.04)
        x, vx, ax = _ease_out(x0, v, x_end, total_s, deep)
        script.knot(
            t0 + deep,
            (x, 0.6 * self.y_m, bottom),
            (vx, 0.0, 0.0),
            (ax, 0.0, 6.0),
        )
        x, vx, ax = _ease_out(x0, v, x_end, total_s, 0.45)
        script.knot(t0 + 0.45, (x, 0.0, self.stand_z_m - 0.025), (vx, 0.0, 0.08), (ax, 0.0, 0.0))
        script.turn(t0 + 0.5, 0.3 * self.twist_rad + 0.03 * s, 0.3 * self.pitch_rad)
        self.strike(side.other, final_x, -s * half, time_s=t0 + 0.44, lift_m=0.12, impact_mps=0.3)
        script.lift(side, t0 + 0.56, 0.22, 0.7)
        self.strike(side, final_x, s * half, time_s=t0 + 1.02, lift_m=0.10, impact_mps=0.25)
        script.arrive(t0 + total_s + 0.25, x_end, 0.0)


def _ease_out(
    start_m: float, speed_mps: float, end_m: float, total_s: float, at_s: float
) -> tuple[float, float, float]:
    """Position, speed and acceleration at an instant of a quintic that comes to rest."""
    u, h = at_s / total_s, total_s
    gap, v = end_m - start_m, speed_mps * h
    a3, a4, a5 = 10 * gap - 6 * v, -15 * gap + 8 * v, 6 * gap - 3 * v
    return (
        start_m + v * u + a3 * u**3 + a4 * u**4 + a5 * u**5,
        (v + 3 * a3 * u**2 + 4 * a4 * u**3 + 5 * a5 * u**4) / h,
        (6 * a3 * u + 12 * a4 * u**2 + 20 * a5 * u**3) / h**2,
    )
