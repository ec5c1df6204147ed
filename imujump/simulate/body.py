"""Body measures of a simulated athlete and where the sensors sit on it."""

from __future__ import annotations

from dataclasses import dataclass

from imujump.model import Placement, Side

THIGH_PER_STATURE = 0.245
SHANK_PER_STATURE = 0.246
ANKLE_HEIGHT_PER_STATURE = 0.039
HIP_HALF_WIDTH_PER_STATURE = 0.050
BALL_PER_STATURE = 0.072
HEEL_PER_STATURE = 0.028
"""Segment lengths as fractions of stature: thigh, shank and ankle height after the segment
table in Winter, Biomechanics and Motor Control of Human Movement (from memory); half the
distance between the hip joints, and ankle to ball and to heel along the sole, are our own
choice within the usual proportions of the pelvis and foot."""

LEG_MASS_SHARE = 0.161
LEG_CENTRE_FROM_HIP = 0.447
"""One leg's share of body mass, and its mass centre as a fraction of hip to ankle (Winter,
same table, from memory)."""


@dataclass(frozen=True, slots=True)
class Body:
    """Measures of one athlete, metres.

    The body is modelled as a rigid pelvis carrying the rest of the body above it, two legs
    of two rigid segments, and two feet. Of the mass, each leg counts ``LEG_MASS_SHARE`` on
    the line from hip to ankle; all else keeps a fixed place above the middle of the hips
    unless the arms raise it. So a swinging leg moves the pelvis against the centre of mass.
    """

    stature_m: float = 1.80

    def __post_init__(self) -> None:
        if not 1.2 <= self.stature_m <= 2.3:
            raise ValueError(f"stature_m is {self.stature_m}, must lie within 1.2 and 2.3")

    @property
    def thigh_m(self) -> float:
        """Hip joint to knee joint."""
        return THIGH_PER_STATURE * self.stature_m

    @property
    def shank_m(self) -> float:
        """Knee joint to ankle joint."""
        return SHANK_PER_STATURE * self.stature_m

    @property
    def leg_m(self) -> float:
        """Hip joint to ankle joint, leg straight."""
        return self.thigh_m + self.shank_m

    @property
    def ankle_height_m(self) -> float:
        """Ankle joint above the ground, foot flat."""
        return ANKLE_HEIGHT_PER_STATURE * self.stature_m

    @property
    def ball_m(self) -> float:
        """Ankle to the ball of the foot, along the sole."""
        return BALL_PER_STATURE * self.stature_m

    @property
    def heel_m(self) -> float:
        """Ankle to the heel's contact, along the sole."""
        return HEEL_PER_STATURE * self.stature_m

    @property
    def hip_half_m(self) -> float:
        """Half the distance between the hip joints."""
        return HIP_HALF_WIDTH_PER_STATURE * self.stature_m

    @property
    def standing_hip_m(self) -> float:
        """Height of the hips in quiet standing; the knees are bent by about 15 degrees."""
        return self.ankle_height_m + 0.99 * self.leg_m

    @property
    def ankle_behind_m(self) -> float:
        """How far the ankles stand behind the hips in quiet standing."""
        return 0.02 * self.stature_m

    @property
    def leg_coupling_ratio(self) -> float:
        """Pelvis shift against the centre of mass per shift of one ankle."""
        share = LEG_MASS_SHARE * LEG_CENTRE_FROM_HIP
        return share / (1.0 - 2.0 * share)

    def sensor_offset_m(self, placement: Placement) -> tuple[float, float, float]:
        """Sensor position in its segment: from the middle of the hips, or from the ankle.

        Axes x forward, y left, z up along the segment. The shank sensor sits on the outer
        side 10 cm above the ankle, the pelvis sensor on the sacrum.
        """
        if placement is Placement.PELVIS:
            return (-0.055 * self.stature_m, 0.0, 0.03 * self.stature_m)
        lateral = 0.025 * self.stature_m
        return (0.0, lateral if placement is Placement.LEFT_SHANK else -lateral, 0.10)


def side_sign(side: Side) -> float:
    """Return +1 for the left, -1 for the right: the sign of y on that side."""
    return 1.0 if side is Side.LEFT else -1.0
