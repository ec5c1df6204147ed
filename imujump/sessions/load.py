"""How much was jumped: jumps a session and a week, in bands of height.

Counts and bands of height are the sturdiest measures of load. Weeks are ISO weeks, from Monday;
a week without jumps counts as one. There is no label and no threshold: see
:mod:`imujump.load_in_words` for the sources and how they disagree.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo

from imujump.sessions.readings import finite_value
from imujump.sessions.records import Standing, StoredAttempt

BAND_EDGES = (0.5, 0.7, 0.9)
"""Edges of the bands as shares of the athlete's best (own choice: half, where jumps begin to be
jumps rather than hops, and the last tenth, within the usual 5 % from day to day of a best)."""

RECENT_WEEKS = 4
"""Weeks before, with whose mean a week is compared (own choice: a month)."""


@dataclass(frozen=True, slots=True)
class Jump:
    """One jump; ``height_m`` is None where it was not measured."""

    session_id: int
    at: datetime
    height_m: float | None


@dataclass(frozen=True, slots=True)
class Bands:
    """Jumps by height: below each edge, above the last, and of unknown height.

    ``counts`` has one more entry than there are edges, lowest first.
    """

    counts: tuple[int, ...]
    unknown: int

    @property
    def jumps(self) -> int:
        """All of them."""
        return sum(self.counts) + self.unknown


@dataclass(frozen=True, slots=True)
class SessionLoad:
    """Jumps of a session."""

    session_id: int
    began: datetime
    bands: Bands


@dataclass(frozen=True, slots=True)
class WeekLoad:
    """Jumps of an ISO week.

    Attributes
    ----------
    monday : date
        Its first day.
    sessions : int
        Sessions with a jump.
    bands : Bands
        Jumps by height.
    recent_mean : float or None
        Mean jumps of up to four weeks before, weeks without jumps counted as 0; None for the first
        week.
    change_ratio : float or None
        Jumps over that mean, less 1; None where the mean is 0 or the week is not over.
    over : bool
        Whether the week is over.
    """

    monday: date
    sessions: int
    bands: Bands
    recent_mean: float | None
    change_ratio: float | None
    over: bool

    @property
    def iso(self) -> tuple[int, int]:
        """ISO year and week."""
        told = self.monday.isocalendar()
        return told.year, told.week


def jumps_of(attempts: Iterable[StoredAttempt], height: str = "height_flight_m") -> list[Jump]:
    """List the jumps of one athlete.

    An attempt that does not count for trends has been jumped all the same. Recordings that wait
    for the coach, or were refused, are left out.

    Raises
    ------
    ValueError
        If attempts of several athletes are given.
    """
    held = [a for a in attempts if a.standing is Standing.COUNTED]
    if len({a.athlete_id for a in held}) > 1:
        raise ValueError("attempts are of several athletes, must be of one")
    return [Jump(a.session_id, a.taken_utc, finite_value(a, height)) for a in held]


def best_height(jumps: Sequence[Jump]) -> float | None:
    """Give the greatest height; None if none is known."""
    return max((j.height_m for j in jumps if j.height_m is not None), default=None)


def edges_from_best(best_m: float | None) -> tuple[float, ...]:
    """Edges of the bands in metres; none without a best, and then all jumps are one band.

    >>> edges_from_best(0.5)
    (0.25, 0.35, 0.45)
    """
    if best_m is None or best_m <= 0.0:
        return ()
    return tuple(round(share * best_m, 6) for share in BAND_EDGES)


def bands(jumps: Sequence[Jump], edges_m: Sequence[float]) -> Bands:
    """Count jumps by height; a height on an edge belongs above it."""
    counts, unknown = [0] * (len(edges_m) + 1), 0
    for jump in jumps:
        if jump.height_m is None:
            unknown += 1
        else:
            counts[sum(jump.height_m >= edge for edge in edges_m)] += 1
    return Bands(tuple(counts), unknown)


def session_loads(jumps: Sequence[Jump], edges_m: Sequence[float]) -> tuple[SessionLoad, ...]:
    """Count jumps session by session, oldest first."""
    by_session: dict[int, list[Jump]] = {}
    for jump in jumps:
        by_session.setdefault(jump.session_id, []).append(jump)
    found = [
        SessionLoad(session_id, min(j.at for j in own), bands(own, edges_m))
        for session_id, own in by_session.items()
    ]
    return tuple(sorted(found, key=lambda s: (s.began, s.session_id)))


def week_loads(
    jumps: Sequence[Jump],
    edges_m: Sequence[float],
    today: date | None = None,
    zone: tzinfo = UTC,
) -> tuple[WeekLoad, ...]:
    """Count jumps week by week, oldest first, without a gap.

    Parameters
    ----------
    jumps : sequence of Jump
        Of one athlete.
    edges_m : sequence of float
        Edges of the bands, rising; see :func:`edges_from_best`.
    today : date or None
        The last day to show; the week that it lies in is not over unless it is a Sunday. None ends
        with the last jump, whose week is taken to be over.
    zone : tzinfo
        Where days begin at midnight.
    """
    by_week: dict[date, list[Jump]] = {}
    for jump in jumps:
        by_week.setdefault(_monday(jump.at.astimezone(zone).date()), []).append(jump)
    if not by_week:
        return ()
    last = max(max(by_week), date.min if today is None else _monday(today))
    found: list[WeekLoad] = []
    monday = min(by_week)
    while monday <= last:
        own = by_week.get(monday, [])
        counted = bands(own, edges_m)
        recent = [week.bands.jumps for week in found[-RECENT_WEEKS:]]
        mean = sum(recent) / len(recent) if recent else None
        over = today is None or today >= monday + timedelta(days=6)
        change = counted.jumps / mean - 1.0 if mean and over else None
        sessions = len({jump.session_id for jump in own})
        found.append(WeekLoad(monday, sessions, counted, mean, change, over))
        monday += timedelta(days=7)
    return tuple(found)


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())
