"""Inverse kinematics of one leg: hip and ankle give the shank's attitude."""

from __future__ import annotations

from imujump.simulate.body import Body
from imujump.simulate.jet import Frame, Jet, cos, cross, dot, sin, softplus, sqrt, stack, unit

STRAIGHTEST_SHARE = 0.990
SOFTNESS_SHARE = 0.009
"""The knee never opens past the angle at which hip and ankle are this share of the leg's
length apart, and slows within the softness before it. Where the ankle is farther away, the
thigh makes up the rest (own choice, because a knee locked at a stroke would give endless
accelerations that no person shows)."""


def shank_frame(body: Body, hip: Jet, ankle: Jet, heading: Jet) -> Frame:
    """Attitude of the shank: x forward, y left, z from ankle to knee.

    Parameters
    ----------
    body : Body
        Segment lengths.
    hip, ankle : Jet
        Joint paths (n, 3), metres.
    heading : Jet
        Direction (n,) towards which the knee bends, radians.
    """
    down = ankle - hip
    distance = sqrt(dot(down, down))
    along = unit(down)
    none = Jet.constant(heading.value * 0.0)
    facing = stack([cos(heading), sin(heading), none])
    ahead = unit(facing - along.scaled(dot(facing, along)))
    softness = SOFTNESS_SHARE * body.leg_m
    excess = softplus((distance - STRAIGHTEST_SHARE * body.leg_m) / softness) * softness
    bent = distance - excess
    cosine = (bent * bent + (body.shank_m**2 - body.thigh_m**2)) / (bent * (2.0 * body.shank_m))
    sine = sqrt(1.0 - cosine * cosine)
    z = ahead.scaled(sine) - along.scaled(cosine)
    y = cross(ahead, along)
    return Frame(cross(y, z), y, z)


def thigh_stretch_m(body: Body, hip: Jet, ankle: Jet, shank: Frame) -> Jet:
    """How much longer than its length the thigh would have to be, metres."""
    knee = ankle + shank.z * body.shank_m
    gap = hip - knee
    return sqrt(dot(gap, gap)) - body.thigh_m
