"""One foot as it strikes and leaves the floor: a transition table over facts of its path.

Rule 1: only :data:`TABLE` says what follows what. Rule 2: facts are read from the path so far,
and never from how it arrived. Rule 3: an event is told once, at the instant it is certain; what
the detector had to see after it is its look-ahead.

    phase      fact            next phase   told
    ---------  --------------  -----------  -----------
    FLOOR      LEFT            LEAVING
    LEAVING    UNLOADED        AIR          toe-off
    LEAVING    GONE            AIR          toe-off
    LEAVING    STAYED          FLOOR
    FLOOR      STRUCK_ANEW     FLOOR        foot strike
    LEAVING    STRUCK_ANEW     FLOOR        foot strike
    AIR        STRUCK          FLOOR        foot strike
    AIR        RESTED          FLOOR
    (any)      LOST            FLOOR

``STAYED`` is a foot that stands still after all. ``STRUCK_ANEW`` is a strike of a foot whose
leaving was missed, ``RESTED`` a rest whose strike was.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from enum import Enum, auto
from typing import NamedTuple

from imujump.model import EventKind
from imujump.pipeline.early_path import GRID_S, Instant, Triple
from imujump.pipeline.early_strike import LONGEST_LOOK, Strike, spread_mps, strike

SETTLE_S, SETTLE_PULL_S, REST_PULL_S = 0.06, 0.015, 0.06
"""A foot that has just come down is taken to come to rest within 60 ms; how fast its remaining
speed is then taken for drift, and how fast in any later quiet moment (own choice)."""

QUIET_MPS, SETTLING_MPS, SLOW_MPS, RESTING_MPS = 0.05, 0.15, 0.4, 0.15
"""Change of the ankle's velocity within 25 ms below which a foot rests: one known to be nearly at
rest (below 0.4 m/s), and one that has not yet come to rest (below 0.15 m/s) since it came down. A
heel that rises slowly changes by 0.1 m/s (own choice, seen in simulated and walked steps)."""

QUIET_STEPS, STILL_STEPS, STILL_MPS = 6, 40, 0.06
"""Spans, in grid steps, over which that and standing still are judged."""

RESTED_STEPS, RESTED_MPS = 24, 0.12
"""A foot whose velocity stays the same for 0.12 s is on the floor (own choice: a swinging foot
changes by 1 m/s and more)."""

SHORTEST_FLOOR_S = 0.1
"""Least time between a strike and leaving (own choice: sprinters' contacts last 0.08 s)."""

BALL_PATH_M, LEAVING_MPS, BALL_LAG_S = 0.12, 0.5, 0.005
"""A foot is leaving when its ankle has gone this far from its rest and is this fast: about the
way around the ball of the foot, see :mod:`imujump.pipeline.leaving`."""

BURST_MPS2, BURST_MPS, BURST_ONSET_MPS2, BURST_STEPS = 85.0, 1.0, 20.0, 6
"""Or when it is flung off the floor; the toe-off is then where the burst begins (own choice)."""

FLUNG_MPS2, FLUNG_MPS = 30.0, 0.5
"""While the body flies, a foot that is flung off less hard has left as well: nothing but the leg
moves it then (own choice: first steps from standing)."""

UNLOADED_MPS2, UNLOAD_BEFORE_STEPS, UNLOAD_AFTER_STEPS, UNLOAD_LAG_S = 7.0, 14, 3, 0.013
"""Specific force of the pelvis below which it flies, where its fall is looked for around the
leaving, and by how much the toe-off lags it (own choice, seen in simulated runs)."""

ANEW_MPS, ANEW_S = 1.5, 0.1
"""A foot thought to be on the floor is looked at for a new strike when it is this fast, this long
after its last one (own choice)."""

STOOD_S = 0.6
"""A foot that came down longer ago stood: who sets off falls before it leaves (own choice: contacts
of a run last 0.1 to 0.3 s)."""

CARRIED_MPS2 = 6.0
"""A pelvis that reads less is in flight, or nearly (own choice)."""

BURST_SIGMA_S, UNLOADED_SIGMA_S, PATH_SIGMA_S = 0.010, 0.013, 0.020
"""Standard deviation of a toe-off by its witness, as measured on simulated runs (see
``python -m tests.capture_runs.early_score``)."""

Load = Callable[[int], float | None]
"""Specific force of the pelvis at a grid instant of this foot's time, None when not known."""


class Phase(Enum):
    """What a foot is doing."""

    FLOOR = auto()
    LEAVING = auto()
    AIR = auto()


class Fact(Enum):
    """What has just become certain."""

    LEFT = auto()
    UNLOADED = auto()
    GONE = auto()
    STAYED = auto()
    STRUCK = auto()
    STRUCK_ANEW = auto()
    RESTED = auto()
    LOST = auto()


TABLE: dict[tuple[Phase, Fact], tuple[Phase, EventKind | None]] = {
    (Phase.FLOOR, Fact.LEFT): (Phase.LEAVING, None),
    (Phase.LEAVING, Fact.UNLOADED): (Phase.AIR, EventKind.TOE_OFF),
    (Phase.LEAVING, Fact.GONE): (Phase.AIR, EventKind.TOE_OFF),
    (Phase.LEAVING, Fact.STAYED): (Phase.FLOOR, None),
    (Phase.FLOOR, Fact.STRUCK_ANEW): (Phase.FLOOR, EventKind.FOOT_STRIKE),
    (Phase.LEAVING, Fact.STRUCK_ANEW): (Phase.FLOOR, EventKind.FOOT_STRIKE),
    (Phase.AIR, Fact.STRUCK): (Phase.FLOOR, EventKind.FOOT_STRIKE),
    (Phase.AIR, Fact.RESTED): (Phase.FLOOR, None),
    **{(phase, Fact.LOST): (Phase.FLOOR, None) for phase in Phase},
}


class FootEvent(NamedTuple):
    """A strike or toe-off in the foot's own device time, and the last instant it took to know."""

    kind: EventKind
    time_s: float
    sigma_s: float
    seen_until_s: float


class _Leaving(NamedTuple):
    """Since which grid instant a foot is leaving, and when it left as far as it itself tells."""

    since: int
    time_s: float
    sigma_s: float
    flung: bool = False


class Foot:
    """Follows one foot along the table.

    Parameters
    ----------
    load : callable
        Specific force of the pelvis at this foot's grid instants.
    """

    def __init__(self, load: Load) -> None:
        self.phase = Phase.FLOOR
        self._load = load
        self._recent: list[Instant] = []
        self._forget()

    def _forget(self) -> None:
        self._recent.clear()
        self._rest_mps: Triple = (0.0, 0.0, 0.0)
        self._path_m: Triple = (0.0, 0.0, 0.0)
        self._struck = -(1 << 60)
        self._left_s = -math.inf
        self._peak_mps = 0.0
        self._settled = True
        self._still = False
        self._leaving: _Leaving | None = None

    def lose(self) -> None:
        """Begin anew: the sensor's stream was broken."""
        self._move(Fact.LOST)
        self._forget()

    def take(self, now: Instant) -> FootEvent | None:
        """Take the next instant of the ankle's path; return what has become certain by it."""
        recent = self._recent
        if not recent:
            self._rest_mps = now.velocity_mps
        recent.append(now)
        if len(recent) > LONGEST_LOOK:
            del recent[0]
        if len(recent) < STILL_STEPS:
            return None
        if now.number % 4 == 0:
            self._still = spread_mps(recent[-STILL_STEPS:]) < 0.5 * STILL_MPS
        velocity = _minus(now.velocity_mps, self._rest_mps)
        speed_mps = _size(velocity)
        if self.phase is Phase.AIR:
            self._peak_mps = max(self._peak_mps, speed_mps)
            return self._in_air(now)
        if self._still:
            if self.phase is Phase.LEAVING:
                self._move(Fact.STAYED)
            self._rest_at(now)
            return None
        return self._on_floor(now, velocity, speed_mps)

    def _move(self, fact: Fact) -> EventKind | None:
        """Follow the table."""
        self.phase, kind = TABLE[self.phase, fact]
        return kind

    def _on_floor(self, now: Instant, velocity: Triple, speed_mps: float) -> FootEvent | None:
        age_s = (now.number - self._struck) * GRID_S
        self._path_m = _plus(self._path_m, velocity, GRID_S)
        self._pull(velocity, speed_mps, age_s)
        if age_s > ANEW_S and speed_mps > ANEW_MPS:
            found = strike(self._recent, self._rest_mps, self._peak_mps, self._load, anew=True)
            if found is not None:
                return self._strike(Fact.STRUCK_ANEW, found, now)
        if self.phase is Phase.FLOOR and age_s > SHORTEST_FLOOR_S:
            self._leaving = self._left(now, speed_mps)
            if self._leaving is not None:
                self._move(Fact.LEFT)
        return None if self._leaving is None else self._toe_off(self._leaving, now)

    def _pull(self, velocity: Triple, speed_mps: float, age_s: float) -> None:
        """Take what is left of a resting foot's speed for drift."""
        settling = age_s < SETTLE_S
        if speed_mps < RESTING_MPS and not settling:
            self._settled = True
        change_mps = spread_mps(self._recent[-QUIET_STEPS:])
        resting = change_mps < QUIET_MPS and speed_mps < SLOW_MPS
        if settling or resting or (not self._settled and change_mps < SETTLING_MPS):
            share = GRID_S / (SETTLE_PULL_S if settling else REST_PULL_S)
            self._rest_mps = _plus(self._rest_mps, velocity, share)
            self._path_m = _plus(self._path_m, self._path_m, -share)

    def _left(self, now: Instant, speed_mps: float) -> _Leaving | None:
        """Tell whether the foot is leaving the floor."""
        if _size(self._path_m) > BALL_PATH_M and speed_mps > LEAVING_MPS:
            return _Leaving(now.number, now.number * GRID_S + BALL_LAG_S, PATH_SIGMA_S)
        accel_mps2, load = self._accel_mps2(-1), self._load(now.number)
        flung = load is not None and load < UNLOADED_MPS2
        flung = flung and speed_mps > FLUNG_MPS and accel_mps2 > FLUNG_MPS2
        if not flung and (speed_mps < BURST_MPS or accel_mps2 < BURST_MPS2):
            return None
        back = 1
        while back <= BURST_STEPS and self._accel_mps2(-back) > BURST_ONSET_MPS2:
            back += 1
        return _Leaving(now.number, self._recent[-back].number * GRID_S, BURST_SIGMA_S, flung)

    def _accel_mps2(self, at: int) -> float:
        """Size of the ankle's acceleration over the two grid steps up to an instant."""
        now, before = self._recent[at], self._recent[at - 2]
        return _size(_minus(now.velocity_mps, before.velocity_mps)) / (2.0 * GRID_S)

    def _toe_off(self, leaving: _Leaving, now: Instant) -> FootEvent | None:
        unloaded_s = self._unloaded_s(leaving.since - UNLOAD_BEFORE_STEPS, now.number)
        if unloaded_s is not None:
            fact, time_s, sigma_s = Fact.UNLOADED, unloaded_s + UNLOAD_LAG_S, UNLOADED_SIGMA_S
            if leaving.flung or (leaving.since - self._struck) * GRID_S > STOOD_S:
                time_s = max(time_s, leaving.time_s)
        elif now.number - leaving.since < UNLOAD_AFTER_STEPS and self._load(now.number) is not None:
            return None
        else:
            fact, time_s, sigma_s = Fact.GONE, leaving.time_s, leaving.sigma_s
        kind = self._move(fact)
        assert kind is not None
        self._leaving, self._left_s, self._peak_mps = None, time_s, 0.0
        return FootEvent(kind, time_s, sigma_s, now.number * GRID_S)

    def _unloaded_s(self, first: int, last: int) -> float | None:
        """When the pelvis first began to fly, if it did.

        Swinging limbs load it again a few hundredths of a second later.
        """
        before: float | None = None
        for number in range(first, last + 1):
            load = self._load(number)
            if load is not None and before is not None and before >= UNLOADED_MPS2 > load:
                return (number - 1 + (before - UNLOADED_MPS2) / (before - load)) * GRID_S
            before = load
        return None

    def _in_air(self, now: Instant) -> FootEvent | None:
        load = self._load(now.number)
        carried = load is None or load > CARRIED_MPS2
        looked = now.number % 4 == 0 and carried
        if looked and spread_mps(self._recent[-RESTED_STEPS:]) < RESTED_MPS:
            self._move(Fact.RESTED)
            self._rest_at(now)
            self._struck = now.number - RESTED_STEPS
            return None
        air_s = now.number * GRID_S - self._left_s
        found = strike(self._recent, self._rest_mps, self._peak_mps, self._load, air_s=air_s)
        return None if found is None else self._strike(Fact.STRUCK, found, now)

    def _strike(self, fact: Fact, found: Strike, now: Instant) -> FootEvent:
        kind = self._move(fact)
        assert kind is not None
        self._struck = round(found.time_s / GRID_S)
        self._rest_mps, self._path_m = found.rest_mps, (0.0, 0.0, 0.0)
        self._settled, self._leaving = False, None
        return FootEvent(kind, found.time_s, found.sigma_s, now.number * GRID_S)

    def _rest_at(self, now: Instant) -> None:
        self._rest_mps, self._path_m, self._leaving = now.velocity_mps, (0.0, 0.0, 0.0), None


def _minus(a: Triple, b: Triple) -> Triple:
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def _plus(a: Triple, b: Triple, share: float) -> Triple:
    return a[0] + share * b[0], a[1] + share * b[1], a[2] + share * b[2]


def _size(a: Triple) -> float:
    return math.sqrt(a[0] * a[0] + a[1] * a[1] + a[2] * a[2])
