"""Bodies whose motion is drawn to be known."""

from __future__ import annotations

import numpy as np

from imujump.model import FloatArray, Placement, Side
from imujump.pipeline.body import Body
from imujump.pipeline.contacts import Contact
from imujump.pipeline.strapdown import Strapdown

STEP_S = 0.005
GRAVITY = 9.80665
UP = np.array((0.0, 0.0, 1.0))


def path(position: FloatArray, gravity: float = GRAVITY) -> Strapdown:
    """Upright sensor on a given path, its velocity and force by central differences."""
    velocity = np.gradient(position, STEP_S, axis=0)
    accel = np.gradient(velocity, STEP_S, axis=0)
    n = len(position)
    rot = np.broadcast_to(np.eye(3), (n, 3, 3))
    force = accel + gravity * UP
    return Strapdown(STEP_S, rot, force, accel, velocity, position, np.zeros((n, 3)))


def body(**positions: FloatArray) -> Body:
    paths = {Placement(name): path(position) for name, position in positions.items()}
    levers = {p: (0.0 if p is Placement.PELVIS else -0.1) * UP for p in paths}
    return Body(
        STEP_S, paths, levers, dict.fromkeys(paths, UP), np.array((1.0, 0, 0)), {}, {}, None
    )


def thrown(starts_s: list[float], rise_mps: float, seconds: float) -> FloatArray:
    """Path (n, 3) that rests, and is thrown upwards at given instants, each after a push."""
    n = round(seconds / STEP_S)
    accel = np.zeros(n)
    for start_s in starts_s:
        push, fly = 0.25, 2.0 * rise_mps / GRAVITY
        a, b = round((start_s - push) / STEP_S), round(start_s / STEP_S)
        c, d = round((start_s + fly) / STEP_S), round((start_s + fly + push) / STEP_S)
        accel[a:b] = rise_mps / push
        accel[b:c] = -GRAVITY
        accel[c:d] = rise_mps / push
    velocity = np.cumsum(accel) * STEP_S
    position = np.zeros((n, 3))
    position[:, 2] = np.cumsum(velocity) * STEP_S
    return position


def contact(side: Side, strike_s: float | None, toe_off_s: float | None) -> Contact:
    strike = None if strike_s is None else strike_s / STEP_S
    toe_off = None if toe_off_s is None else toe_off_s / STEP_S
    return Contact(side, strike, 0.005, toe_off, 0.005)


L, R = Side.LEFT, Side.RIGHT

RUN_UP = [
    contact(L, None, 1.0),
    contact(R, None, 1.3),
    contact(L, 1.4, 1.6),
    contact(R, 1.7, 1.88),
    contact(L, 1.98, 2.15),
]
