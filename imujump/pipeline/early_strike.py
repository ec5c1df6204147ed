"""Whether and when a foot has just come down, from its ankle's velocity over the last moments.

Dead-reckoned velocity drifts, so it is looked at from its end: a foot that rests now shows how
fast it came. The instant is that of the floor's push on the falling ankle, as offline (see
:mod:`imujump.pipeline.touchdown`); after a flight it cannot lie before the load on the pelvis
begins to rise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from imujump.pipeline.early_path import GRID_S, Instant, Triple

LONGEST_LOOK = 48
"""Grid instants that are kept: 0.24 s."""

CALM_STEPS, CALM_MPS = 3, 0.4
"""A foot that has come down changes its velocity by less than this within the last 15 ms (own
choice: a swinging one mostly by more)."""

NEAR_RISE_MPS, NEAR_MPS, NEAR_SHARE = 0.35, 0.9, 0.15
"""Its velocity, from where it last rested, is then near zero: within drift, which grows with the
speed of the swing, and less upwards, where gravity is known (own choice)."""

FAR_MPS, FAR_SHARE, FAR_STEPS, FAR_CALM_MPS, FAR_LOAD_MPS2 = 0.7, 0.3, 6, 0.2, 8.0
"""Or farther from zero, if it is calmer and the body is carried."""

ASTRAY_MPS, ASTRAY_STEPS, ASTRAY_CALM_MPS = 1.5, 10, 0.25
ASTRAY_LOAD_MPS2, ASTRAY_PUSH_MPS2 = 10.0, 20.0
"""Or anywhere, after a clipped impact, if the foot was pushed hard, is calm and the body loaded."""

OVER_STEPS, OVER_CALM_MPS, OVER_RADPS, OVER_LEAN = 5, 0.2, 2.5, 0.5
"""Sooner so, if the upright shank turns forward over it (own choice: where feet had come down it
turned by 3.4 to 12 rad/s, in the swing when the other foot struck by less than 1.7)."""

MOVED_STEPS, MOVED_MPS, FALL_STEPS, FALL_MPS = 30, 0.6, 16, 0.25
"""Before, it was this much faster, and was falling (own choice)."""

SHORTEST_AIR_S = 0.1
"""Least time between leaving and a strike that is not a hard push under a shank that turns forward
(own choice: swings last 0.25 s and more, but a slide is taken for a leaving)."""

SWING_S, GLIDE_MPS = 0.2, 1.5
"""Or it came in level after a whole swing, faster still, and the upright shank turns forward over
it (own choice: people set down feet that fall by less than 0.25 m/s; swings last 0.25 s)."""

LEAN = 0.5
"""A foot comes down with its knee no further ahead of its ankle than this part of the shank's
length (own choice, 30°: in recorded and simulated runs shanks strike within 28° of the vertical;
that of a leg in swing leans more when the other strikes and jerks it)."""

FLYING_MPS2, FLYING_STEPS, CARRIED_MPS2, CARRY_LAG_S = 4.0, 12, 8.0, 0.022
"""A pelvis below 4 m/s² within the last 60 ms was flying. Then the foot is down only when the
pelvis reads 8 m/s² again, which it does some 18 ms after touchdown (own choice; 7 to 24 ms in
simulated runs)."""

RESTS_MPS = 0.4
"""Or, before that, a foot that comes to rest as slow as this, hard pushed, under a shank that turns
forward over it (own choice: soft landings load the pelvis late)."""

LOADED_MPS2 = 5.0
"""A pelvis that was not flying reads more than this (own choice)."""

PUSH_STEPS, PUSH_MPS2, LAST_PUSH_SHARE, PUSH_LAG_S = 14, 8.0, 0.5, -0.003
"""Where the floor's push is looked for, how much the ankle's acceleration must grow within 10 ms,
and by how much the touch comes before it grows fastest (see :mod:`imujump.pipeline.touchdown`).
The last growth counts that is half as large as the largest (own choice): a swinging leg that is
braked looks like a push, but only the floor's is followed by rest."""

SETTLED_M, SETTLING_S = 0.04, 0.025
"""Once touching, an ankle comes down by less than this and than it falls in 35 ms, as offline."""

SLOW_MPS, SLOW_LAG_S = 0.7, 0
"""Where no push shows, the foot struck when its speed fell below this, or a little before (own
choice)."""

PUSH_SIGMA_S, RISE_SIGMA_S, SLOW_SIGMA_S = 0.006, 0.009, 0.020
"""Standard deviation of a strike by its witness, as measured on simulated runs (see
``python -m tests.capture_runs.early_score``)."""

Load = Callable[[int], float | None]


class Strike(NamedTuple):
    """A foot strike and the ankle's velocity once it rests, which is its drift."""

    time_s: float
    sigma_s: float
    rest_mps: Triple


def spread_mps(recent: Sequence[Instant]) -> float:
    """Largest distance of the ankle's velocity from its mean over some instants."""
    mean = _mean(recent)
    return max(_distance(instant.velocity_mps, mean) for instant in recent)


def strike(
    recent: Sequence[Instant],
    rest_mps: Triple,
    peak_mps: float,
    load: Load,
    *,
    air_s: float = math.inf,
    anew: bool = False,
) -> Strike | None:
    """Tell whether a foot has just come down.

    Parameters
    ----------
    recent : sequence of Instant
        The last quarter of a second of its ankle.
    rest_mps : (3,)
        The ankle's drifting velocity where it last rested.
    peak_mps : float
        Its highest speed since then.
    load : callable
        Specific force of the pelvis.
    air_s : float
        How long ago it left the floor; just after that only a hard push tells.
    anew : bool
        Whether the foot is thought to be on the floor; then only a hard push tells.
    """
    calm = recent[-CALM_STEPS:]
    now_mps = _mean(calm)
    if max(_distance(instant.velocity_mps, now_mps) for instant in calm) > CALM_MPS:
        return None
    number = recent[-1].number
    loaded = load(number)
    off = (now_mps[0] - rest_mps[0], now_mps[1] - rest_mps[1], now_mps[2] - rest_mps[2])
    lean, turning_radps = _lean(recent, now_mps)
    over = turning_radps > OVER_RADPS and abs(lean) < OVER_LEAN
    over = over and spread_mps(recent[-OVER_STEPS:]) <= OVER_CALM_MPS
    young = air_s < SHORTEST_AIR_S
    astray = anew or young or not _near(recent, off, peak_mps, loaded)
    if astray and not _astray(recent, off, loaded, over=over, anew=anew):
        return None
    if young and not over:
        return None
    rests = over and not young and math.hypot(*off) < RESTS_MPS
    carried_s = -math.inf if loaded is None else _carried_s(number, load)
    if carried_s is None and not rests:
        return None
    last = len(recent) - 1
    speeds = [_distance(instant.velocity_mps, now_mps) for instant in recent]
    rises = [instant.velocity_mps[2] - now_mps[2] for instant in recent]
    moved_mps = max(speeds[max(last - MOVED_STEPS, 0) : last - 2])
    if moved_mps < MOVED_MPS:
        return None
    if min(rises[last - FALL_STEPS : last - 2]) > -FALL_MPS:
        # Or it came in level.
        if astray or not over or off[2] > NEAR_RISE_MPS:
            return None
        if air_s < SWING_S or moved_mps < GLIDE_MPS:
            return None
    if lean > LEAN:
        return None
    pushed = _push(rises, ASTRAY_PUSH_MPS2 if astray else PUSH_MPS2)
    if pushed is not None:
        time_s, sigma_s = recent[pushed].number * GRID_S - PUSH_LAG_S, PUSH_SIGMA_S
        if rests:
            carried_s = -math.inf
    elif astray or carried_s is None:
        return None
    else:
        time_s, sigma_s = _slow_s(recent, speeds), SLOW_SIGMA_S
    if carried_s is not None and time_s < carried_s - CARRY_LAG_S:
        time_s, sigma_s = carried_s - CARRY_LAG_S, max(sigma_s, RISE_SIGMA_S)
    return Strike(time_s, sigma_s, now_mps)


def _lean(recent: Sequence[Instant], now_mps: Triple) -> tuple[float, float]:
    """How far the shank leans the way the foot came (sine), and how fast it leans further."""
    fastest = max(
        recent,
        key=lambda each: math.hypot(
            each.velocity_mps[0] - now_mps[0], each.velocity_mps[1] - now_mps[1]
        ),
    ).velocity_mps
    x, y = fastest[0] - now_mps[0], fastest[1] - now_mps[1]
    size = max(math.hypot(x, y), 1e-9)
    now, up = recent[-1].up, recent[-1 - CALM_STEPS].up
    before = (up[0] * x + up[1] * y) / size
    return before, ((now[0] * x + now[1] * y) / size - before) / (CALM_STEPS * GRID_S)


def _near(recent: Sequence[Instant], off: Triple, peak_mps: float, loaded: float | None) -> bool:
    """Whether a velocity is that of a foot at rest, but for drift."""
    if (
        abs(off[2]) < NEAR_RISE_MPS
        and math.hypot(off[0], off[1]) < NEAR_MPS + NEAR_SHARE * peak_mps
    ):
        return True
    return (
        math.hypot(*off) < FAR_MPS + FAR_SHARE * peak_mps
        and (loaded is None or loaded > FAR_LOAD_MPS2)
        and spread_mps(recent[-FAR_STEPS:]) < FAR_CALM_MPS
    )


def _astray(
    recent: Sequence[Instant], off: Triple, loaded: float | None, *, over: bool, anew: bool
) -> bool:
    """Whether a foot may rest although its velocity is far from zero."""
    if anew and math.hypot(*off) < ASTRAY_MPS:
        return False
    carried = loaded is None or loaded >= ASTRAY_LOAD_MPS2
    if not carried:
        return False
    return over or spread_mps(recent[-ASTRAY_STEPS:]) <= ASTRAY_CALM_MPS


def _carried_s(number: int, load: Load) -> float | None:
    """Since when the body is carried: long ago, after a flight just now, or not (None)."""
    loads = [load(k) for k in range(number - FLYING_STEPS, number + 1)]
    known = [CARRIED_MPS2 + 1.0 if each is None else each for each in loads]
    lowest = min(known)
    if lowest >= FLYING_MPS2:
        return -math.inf if known[-1] >= LOADED_MPS2 else None
    after = len(known) - 1 - known[::-1].index(lowest)
    for k in range(after, len(known)):
        if known[k] >= CARRIED_MPS2:
            return (number - FLYING_STEPS + k) * GRID_S
    return None


def _push(rises_mps: Sequence[float], least_mps2: float) -> int | None:
    """Index at which the floor's push on the falling ankle grows fastest."""
    last = len(rises_mps) - 1
    first = max(last - PUSH_STEPS, 4)
    left_m, growth = 0.0, [0.0] * (last + 1)
    for j in range(last, first - 1, -1):
        left_m += GRID_S * max(-rises_mps[j], 0.0)
        if j > last - 2:
            continue
        fall_mps = -min(rises_mps[j - 2 : j + 1])
        if fall_mps > FALL_MPS and left_m < min(SETTLED_M, SETTLING_S * fall_mps):
            bend = rises_mps[j + 2] - 2.0 * rises_mps[j] + rises_mps[j - 2]
            growth[j] = bend / (2.0 * GRID_S)
    top = max(growth)
    if top <= least_mps2:
        return None
    least = LAST_PUSH_SHARE * top
    return max(
        j
        for j in range(first, last - 1)
        if growth[j] >= least and growth[j - 1] <= growth[j] >= growth[j + 1]
    )


def _slow_s(recent: Sequence[Instant], speeds_mps: Sequence[float]) -> float:
    """When the ankle became slow."""
    j = len(recent) - 2
    while j > 1 and speeds_mps[j] < SLOW_MPS:
        j -= 1
    share = (speeds_mps[j] - SLOW_MPS) / max(speeds_mps[j] - speeds_mps[j + 1], 1e-9)
    return (recent[j].number + min(max(share, 0.0), 1.0)) * GRID_S + SLOW_LAG_S


def _mean(recent: Sequence[Instant]) -> Triple:
    n = len(recent)
    x = y = z = 0.0
    for instant in recent:
        v = instant.velocity_mps
        x, y, z = x + v[0], y + v[1], z + v[2]
    return x / n, y / n, z / n


def _distance(a: Triple, b: Triple) -> float:
    return math.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)
