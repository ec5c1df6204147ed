"""The script of a motion: when which foot stands where, and the knots of the body's path."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from imujump.model import Side, TakeOffStyle
from imujump.simulate.body import Body, side_sign

Vector = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Stance:
    """One contact of a foot with the ground.

    The ankle stands over (``x_m``, ``y_m``) while the foot is flat, pointing along
    ``yaw_rad``. ``strike_s`` is ``None`` for a foot on the ground since the start,
    ``toe_off_s`` for one that stays. Positive ``strike_pitch_rad`` lands on the ball with
    the heel raised, negative on the heel; the foot is flat ``settle_s`` later. The sole
    gives way for ``impact_s`` after the strike, taking up ``impact_mps`` of downward speed and
    ``slide_mps`` of forward speed.
    The heel rises over the last ``rise_s``, to ``rise_rad`` at toe-off (``None``: as far as
    the leg must reach).
    """

    side: Side
    x_m: float
    y_m: float
    yaw_rad: float
    strike_s: float | None = None
    toe_off_s: float | None = None
    strike_pitch_rad: float = 0.0
    settle_s: float = 0.05
    impact_mps: float = 0.0
    impact_s: float = 0.02
    slide_mps: float = 0.0
    rise_s: float = 0.1
    rise_rad: float | None = None


@dataclass(frozen=True, slots=True)
class Knot:
    """State of the centre of mass: position, velocity, acceleration in world axes.

    The height is that of the hips which the standing posture would give (see
    :class:`imujump.simulate.motion.Motion`).
    """

    time_s: float
    position_m: Vector
    velocity_mps: Vector
    acceleration_mps2: Vector


@dataclass(frozen=True, slots=True)
class Turn:
    """Pelvis angles (world yaw, forward pitch, roll) and yaw rate at an instant."""

    time_s: float
    yaw_rad: float
    pitch_rad: float
    roll_rad: float
    yaw_rate_radps: float = 0.0


@dataclass(frozen=True, slots=True)
class Via:
    """A point the swinging ankle passes: horizontal offset from the hips, world height.

    With ``on_way`` the horizontal place is left to the swing's own smooth course.
    """

    side: Side
    time_s: float
    x_m: float
    y_m: float
    z_m: float
    on_way: bool = False


@dataclass(frozen=True, slots=True)
class Shock:
    """Upward velocity that an impact gives the body within ``length_s``, m/s."""

    time_s: float
    length_s: float
    impulse_mps: float


@dataclass(frozen=True, slots=True)
class JumpMark:
    """Programmed instants of one approach jump."""

    style: TakeOffStyle
    side: Side
    start_s: float
    still_from_s: float
    plant_s: float
    toe_off_s: float
    landing_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Label:
    """What the athlete does in a span of the motion, such as ``walk``."""

    what: str
    start_s: float
    end_s: float


@dataclass(slots=True, eq=False)
class Script:
    """A motion being written, block by block, from standing to standing.

    Each block writes in its own axes: origin on the ground under the standing hips, x along
    the heading. :meth:`arrive` moves the origin for the next block.

    Parameters
    ----------
    body : Body
        The athlete's measures.
    stance_half_m : float
        Half the distance between the ankles in standing.
    """

    body: Body
    stance_half_m: float = 0.11
    time_s: float = 0.0
    heading_rad: float = 0.0
    x_m: float = 0.0
    y_m: float = 0.0
    knots: list[Knot] = field(default_factory=list)
    turns: list[Turn] = field(default_factory=list)
    arms: list[tuple[float, float]] = field(default_factory=list)
    vias: list[Via] = field(default_factory=list)
    shocks: list[Shock] = field(default_factory=list)
    jumps: list[JumpMark] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    stances: dict[Side, list[Stance]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        z = self.body.standing_hip_m
        self.stances = {Side.LEFT: [], Side.RIGHT: []}
        for side in Side:
            x, y = self.world(-self.body.ankle_behind_m, side_sign(side) * self.stance_half_m)
            self.stances[side].append(Stance(side, x, y, self.heading_rad))
        self.knot(self.time_s, (0.0, 0.0, z))
        self.turn(self.time_s)

    def world(self, x_m: float, y_m: float) -> tuple[float, float]:
        """Turn a point of the block's axes into world axes."""
        vx, vy, _ = self.world_vector((x_m, y_m, 0.0))
        return self.x_m + vx, self.y_m + vy

    def world_vector(self, vector: Vector) -> Vector:
        """Turn a vector of the block's axes into world axes."""
        c, s = math.cos(self.heading_rad), math.sin(self.heading_rad)
        return (c * vector[0] - s * vector[1], s * vector[0] + c * vector[1], vector[2])

    def knot(
        self,
        time_s: float,
        position_m: Vector,
        velocity_mps: Vector = (0.0, 0.0, 0.0),
        acceleration_mps2: Vector = (0.0, 0.0, 0.0),
    ) -> None:
        """Add a state of the centre of mass in the block's axes."""
        x, y = self.world(position_m[0], position_m[1])
        self.knots.append(
            Knot(
                time_s,
                (x, y, position_m[2]),
                self.world_vector(velocity_mps),
                self.world_vector(acceleration_mps2),
            )
        )

    def turn(
        self,
        time_s: float,
        yaw_rad: float = 0.0,
        pitch_rad: float = 0.0,
        roll_rad: float = 0.0,
        yaw_rate_radps: float = 0.0,
    ) -> None:
        """Add pelvis angles; yaw counts from the block's heading, pitch from standing."""
        self.turns.append(
            Turn(time_s, self.heading_rad + yaw_rad, pitch_rad, roll_rad, yaw_rate_radps)
        )

    def strike(
        self,
        side: Side,
        time_s: float,
        x_m: float,
        y_m: float,
        *,
        yaw_rad: float = 0.0,
        pitch_rad: float = 0.0,
        settle_s: float = 0.05,
        impact_mps: float = 0.0,
        impact_s: float = 0.02,
        slide_mps: float = 0.0,
    ) -> None:
        """Set a foot down, its ankle to stand over (``x_m``, ``y_m``) of the block's axes."""
        last = self.stances[side][-1]
        if last.toe_off_s is None or time_s <= last.toe_off_s:
            raise ValueError(f"time_s is {time_s}: the {side} foot is on the ground")
        x, y = self.world(x_m, y_m)
        self.stances[side].append(
            Stance(
                side,
                x,
                y,
                self.heading_rad + yaw_rad,
                time_s,
                None,
                strike_pitch_rad=pitch_rad,
                settle_s=settle_s,
                impact_mps=impact_mps,
                impact_s=impact_s,
                slide_mps=slide_mps,
            )
        )

    def lift(self, side: Side, time_s: float, rise_s: float, rise_rad: float | None = None) -> None:
        """Take a foot off the ground, its heel rising over the last ``rise_s``."""
        last = self.stances[side][-1]
        if last.toe_off_s is not None:
            raise ValueError(f"time_s is {time_s}: the {side} foot is in the air")
        self.stances[side][-1] = replace(last, toe_off_s=time_s, rise_s=rise_s, rise_rad=rise_rad)

    def via(self, side: Side, time_s: float, x_m: float, y_m: float, z_m: float) -> None:
        """Lead the swinging ankle past a point offset from the hips, at world height z."""
        vx, vy, _ = self.world_vector((x_m, y_m, 0.0))
        self.vias.append(Via(side, time_s, vx, vy, z_m))

    def raise_ankle(self, side: Side, time_s: float, z_m: float) -> None:
        """Lead the swinging ankle through a height, its course over ground left free."""
        self.vias.append(Via(side, time_s, 0.0, 0.0, z_m, on_way=True))

    def shock(self, time_s: float, length_s: float, impulse_mps: float) -> None:
        """Pass an impact on to the body."""
        self.shocks.append(Shock(time_s, length_s, impulse_mps))

    def arrive(self, time_s: float, x_m: float, y_m: float, turn_rad: float = 0.0) -> None:
        """End a block in quiet standing over a point, the heading changed by ``turn_rad``."""
        self.x_m, self.y_m = self.world(x_m, y_m)
        self.heading_rad += turn_rad
        self.time_s = time_s
        self.knot(time_s, (0.0, 0.0, self.body.standing_hip_m))
        self.turn(time_s)
        self.arms.append((time_s, 0.0))
