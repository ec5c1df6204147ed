"""The conditions of the matrix: how the figure moves, how the sensors are worn, what to expect."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from scipy.spatial.transform import Rotation

from .subjects import Movement
from .wearing import Loss, Phase, Role, Wearing

SHANKS = (Role.PLANT, Role.OTHER)
ALL = tuple(Role)
DIAGONAL = math.sqrt(0.5)


@dataclass(frozen=True, slots=True)
class Condition:
    """One row of the matrix.

    ``warning`` is a part of the sentence that must be told; without it there must be none.
    ``unseen_plant`` says that the plant cannot be told, so that style and side stay open.
    """

    group: str
    name: str
    wearing: Wearing = field(default_factory=Wearing)
    movement: Movement = Movement.PLAIN
    warning: str | None = None
    unseen_plant: bool = False


NOT_SIMULATED = {
    "soft floor, push-off": "the floor gives way at strikes only; that it also gives back at the "
    "push-off needs a body that reacts to it, which the figure is not. The runner's ground could "
    "be softened, but its gait is tuned to the usual one",
    "forefoot strike of the runner": "it has point feet, so it has no other strike",
    "legs of the runner swapped": "it moves in a plane, so nothing in it tells left from right",
    "strap ringing at 8 Hz with little damping": "on a spring that soft the sensor swings by 6 "
    "to 11 cm over the shank (at 25 Hz by 1 to 2 cm), which no strap lets it; the row of 8 Hz "
    "with the usual damping is beyond life already",
    "strap that slips during the jump": "no model of when and how far a strap slips",
}
"""What the matrix leaves out, and why."""


def conditions() -> Iterator[Condition]:
    """All conditions in the order of the table."""
    yield Condition("usual", "200 Hz, ±32 g, one clock")
    for rate_hz in (50, 100, 200, 400, 800):
        yield Condition("rate", f"{rate_hz} Hz", Wearing(rate_hz=rate_hz))
    for limit_g in (8, 16, 32):
        yield Condition("range", f"±{limit_g} g", Wearing(accel_range_g=float(limit_g)))
    yield from _mountings()
    for ring_hz in (8.0, 15.0, 25.0):
        rung = dict.fromkeys(SHANKS, ring_hz)
        yield Condition("strap", f"shanks ring at {ring_hz:.0f} Hz", Wearing(ring_hz=rung))
    for ring_hz in (15.0, 25.0):
        rung = dict.fromkeys(SHANKS, ring_hz)
        worn = Wearing(ring_hz=rung, ring_damping_ratio=0.15)
        yield Condition("strap", f"shanks ring at {ring_hz:.0f} Hz, damped 0.15", worn)
    worn = Wearing(ring_hz={Role.PELVIS: 8.0})
    yield Condition("strap", "pelvis rings at 8 Hz", worn)
    yield Condition("drift", "1 °/s and 10 mg a minute", Wearing(
        gyro_drift_dps_per_min=1.0, accel_drift_mg_per_min=10.0))  # fmt: skip
    yield Condition("drift", "6 °/s and 60 mg a minute", Wearing(
        gyro_drift_dps_per_min=6.0, accel_drift_mg_per_min=60.0))  # fmt: skip
    yield from _gaps()
    yield Condition("missing", "plant shank not worn", Wearing(without=Role.PLANT),
                    unseen_plant=True)  # fmt: skip
    yield Condition("missing", "other shank not worn", Wearing(without=Role.OTHER),
                    unseen_plant=True)  # fmt: skip
    yield Condition("wrong way", "legs swapped", Wearing(swapped=True), warning="swapped")
    for role in Role:
        turn = {role: Rotation.from_rotvec([math.pi, 0.0, 0.0])}
        yield Condition(
            "wrong way", f"{role} upside down", Wearing(turned=turn), warning="upside down"
        )
    yield Condition("clocks", "own clocks, radio jitter", Wearing(own_clocks=True))
    for role in Role:
        for late_s in (-0.020, 0.020):
            yield Condition(
                "clocks", f"{role} {1e3 * late_s:+.0f} ms, untold", Wearing(late_s={role: late_s})
            )
    yield Condition("standing", "fidgeting, then 0.8 s still", movement=Movement.SHORT_STAND)
    yield Condition(
        "standing",
        "fidgeting, then 0.3 s still",
        movement=Movement.FIDGETING,
        warning="nobody stood still",
    )
    yield Condition("floor", "strikes sink in over 60 ms", movement=Movement.SOFT_FLOOR)
    yield Condition("foot", "forefoot strikes", movement=Movement.FOREFOOT)


def _mountings() -> Iterator[Condition]:
    def turned(twist_deg: float, tilt_deg: float) -> Wearing:
        """Both shanks turned opposite ways about their length, tilted about x and y alike."""
        found = {}
        for role, sign in zip(SHANKS, (1.0, -1.0), strict=True):
            twist = Rotation.from_euler("z", sign * twist_deg, degrees=True)
            tilt = Rotation.from_rotvec(
                math.radians(tilt_deg) * DIAGONAL * Rotation.identity().apply([sign, 1.0, 0.0])
            )
            found[role] = tilt * twist
        return Wearing(turned=found)

    yield Condition("mounting", "shanks 45° about the shank", turned(45.0, 0.0))
    yield Condition("mounting", "shanks −45° about the shank", turned(-45.0, 0.0))
    yield Condition("mounting", "shanks 20° tilted", turned(0.0, 20.0))
    yield Condition("mounting", "shanks 45° and 20°", turned(45.0, 20.0))
    yield Condition("mounting", "shanks −45° and −20°", turned(-45.0, -20.0))
    for up_m in (0.05, -0.05):
        worn = Wearing(up_m=dict.fromkeys(SHANKS, up_m))
        where = "further up" if up_m > 0.0 else "further down"
        yield Condition("mounting", f"shank sensors 5 cm {where}", worn)


def _gaps() -> Iterator[Condition]:
    for label, roles in (
        ("plant shank", (Role.PLANT,)),
        ("pelvis", (Role.PELVIS,)),
        ("all sensors", ALL),
    ):
        for phase in Phase:
            for length_ms in (20, 60, 150, 300):
                loss = Loss(roles, phase, 1e-3 * length_ms)
                yield Condition(
                    f"gap, {label}", f"{length_ms} ms in the {phase}", Wearing(losses=(loss,))
                )
