"""What an invented athlete does through a season: levels, changes, scatter, cues, tests."""

from __future__ import annotations

from dataclasses import dataclass, field

from imujump.model import Side, TakeOffStyle


@dataclass(frozen=True, slots=True)
class Level:
    """A quantity through the season.

    It stays at ``start`` until the share ``begins`` of the season, moves evenly by ``change``
    until the share ``ends`` and stays there. ``day`` and ``attempt`` are the standard deviations
    of the athlete's form from session to session and from attempt to attempt.
    """

    start: float
    change: float = 0.0
    begins: float = 0.0
    ends: float = 1.0
    day: float = 0.0
    attempt: float = 0.0

    def at(self, share: float) -> float:
        """Level without scatter at a share of the season, 0 to 1.

        >>> round(Level(0.40, 0.05, begins=0.4, ends=0.6).at(0.5), 3)
        0.425
        """
        moved = (share - self.begins) / (self.ends - self.begins)
        return self.start + self.change * min(1.0, max(0.0, moved))


@dataclass(frozen=True, slots=True)
class Cue:
    """A cue given after the attempt ``after`` of some sessions, and what it changes that day."""

    text: str
    after: int
    height_m: float = 0.0
    last_step_ratio: float = 0.0


@dataclass(frozen=True, slots=True)
class Ladder:
    """Sessions with slow, preferred and fast approaches in mixed order.

    ``sessions`` count from 0. An approach that is x m/s away from ``best_mps`` costs
    ``loss_m_per_mps2`` times x² of height; without one speed does nothing.
    """

    sessions: tuple[int, ...]
    speeds_mps: tuple[float, float, float]
    best_mps: float | None = None
    loss_m_per_mps2: float = 0.0

    def loss_m(self, speed_mps: float) -> float:
        """Height that an approach speed costs."""
        away = 0.0 if self.best_mps is None else speed_mps - self.best_mps
        return self.loss_m_per_mps2 * away**2


@dataclass(frozen=True, slots=True)
class OtherKind:
    """Attempts of another kind at the end of some sessions: other foot, or one foot for two."""

    every: int
    attempts: int
    style: TakeOffStyle
    side: Side
    height_m: float
    approach_speed_mps: float


@dataclass(frozen=True, slots=True)
class Expected:
    """What is built in, and what may rightly be said of it.

    ``question`` is ``trend``, ``standing``, ``growth``, ``cue``, ``speed``, ``drop_off``, ``sides``
    or ``styles``; ``to_be_found`` tells whether the season holds enough to find it. ``size`` is in
    the unit of the metric: over the season, after the cue, from one attempt to the next, left minus
    right, one foot minus two; for ``speed`` the best speed.
    """

    question: str
    metric: str
    size: float
    to_be_found: bool
    words: str


@dataclass(frozen=True, slots=True)
class AthletePlan:
    """One athlete's season.

    Lengths are metres. Heights are those that a flight time gives. ``age`` is that of the year in
    which the season ends; a minor's guardian agreed before it began. ``weekday`` counts from
    Monday, 0. ``loose`` and ``waiting`` are the sessions, counted from 0, with a loose sensor and
    with a recording that the athlete sent. ``new_shoe`` is worn from the middle of the season on.
    """

    name: str
    sport: str
    age: int
    stature: Level
    mass_kg: Level
    style: TakeOffStyle
    side: Side
    height: Level
    speed: Level
    last_step_ratio: Level
    standing: Level
    contact_s: float
    lowering_m: float
    weekday: int
    surface: str
    shoe: str
    expected: tuple[Expected, ...]
    sessions: int = 16
    attempts: int = 6
    steps: int = 5
    new_shoe: str = ""
    drop_off_m: float = 0.0
    cue: Cue | None = None
    cued: tuple[int, ...] = ()
    ladder: Ladder | None = None
    other: OtherKind | None = None
    loose: int | None = None
    waiting: int | None = None
    seen: tuple[str, ...] = field(default=("Arms late", "Arms good"))
