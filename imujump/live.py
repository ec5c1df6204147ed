"""A session while it happens: what is captured goes to the recorder and the engine at once.

Whatever comes is stamped and recorded first. Foot events are found on the event loop, as soon as
they are certain. The engine, whose work on a closing attempt takes some tenths of a second, has
a thread of its own, so that the next steps do not wait for it; it gets the same samples in the
same order as an analysis of the recorded file, and so gives the same attempts to the last bit.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from types import TracebackType
from typing import Protocol, Self

from imujump.capture.events import CapturedPacket, CaptureEvent, SensorState
from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.engine_thread import EngineThread
from imujump.model import (
    Analysis,
    Attempt,
    ClockReading,
    Mark,
    RecordingInfo,
    SampleBatch,
    SensorInfo,
)
from imujump.pipeline.early import EarlyEvent, EarlySpeed, EarlySteps
from imujump.pipeline.engine import Engine
from imujump.pipeline.revision import KnownEvent, Standing, revised
from imujump.recording.format import StatusChange
from imujump.recording.in_order import SampleOrder
from imujump.recording.keeper import KeeperState, RecordingKeeper
from imujump.recording.packets import sample_count
from imujump.recording.row_file import RecordedSensor
from imujump.sensor_tally import SensorTally

EVENTS_SHOWN = 60
"""Foot events in a snapshot: those of a long run-up with its jump (own choice)."""

ATTEMPTS_SHOWN = 12
"""Attempts in a snapshot: a set (own choice)."""

EVENTS_KEPT = 512
"""Events that a subscriber can lag behind without missing one (own choice)."""

EVENTS_REVISABLE = 2000
"""Events that an attempt to come may still revise: minutes of running (own choice)."""

NEWS_S = 0.2
"""Packets alone make a new snapshot this often; everything else does at once (own choice)."""


@dataclass(frozen=True, slots=True)
class Told:
    """A foot event as it was told, or told anew.

    ``early`` says what it took to know it, None when it comes from a closed attempt or when the
    speed of its step has become known;
    ``published_s`` is session time when it was told, None without a clock.
    """

    known: KnownEvent
    early: EarlyEvent | None = None
    published_s: float | None = None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The session at an instant; never changed, replaced by the next.

    ``version`` counts snapshots, ``time_s`` is session time of the last thing captured.
    ``events`` are the newest foot events, withdrawn ones left out; ``attempts`` the newest
    attempts, ``attempt_count`` all of them; ``preview`` is the next one, not final, while its
    window is still open. ``recording`` is None when nothing is recorded.
    """

    version: int = 0
    time_s: float = 0.0
    recording: KeeperState | None = None
    sensors: tuple[SensorState, ...] = ()
    events: tuple[KnownEvent, ...] = ()
    attempts: tuple[Attempt, ...] = ()
    attempt_count: int = 0
    preview: Attempt | None = None
    marks: int = 0
    warnings: tuple[str, ...] = ()
    finished: bool = False


@dataclass(frozen=True, slots=True)
class Update:
    """What a subscriber gets: the newest snapshot, events since the last, how many it missed."""

    snapshot: Snapshot
    events: tuple[Told, ...]
    missed: int


class LiveSource(Protocol):
    """Where captured things come from: a crew of sensors or a replayed recording."""

    @property
    def recorded_sensors(self) -> Sequence[RecordedSensor]:
        """The sensors as a recording enters them."""
        ...

    @property
    def states(self) -> tuple[SensorState, ...]:
        """How each sensor is doing now; empty when the source does not know."""
        ...

    def __aiter__(self) -> AsyncIterator[CaptureEvent]:
        """Yield what was captured in the order of its stamps."""
        ...


class LiveSession:
    """Recorder, engine and foot events of a running session; an asynchronous context manager.

    Parameters
    ----------
    source : LiveSource
        What is captured.
    keeper : RecordingKeeper, optional
        Where it is recorded; without it nothing is.
    started_utc : datetime, optional
        The session's start, the same as the keeper's.
    gravity_mps2 : float
        Local gravity.
    now_s : callable, optional
        Session time now, for the time at which events are told.

    Notes
    -----
    :meth:`follow` runs to the end of the source; then :attr:`analysis` is complete. All methods
    belong to the event loop's thread.
    """

    def __init__(
        self,
        source: LiveSource,
        keeper: RecordingKeeper | None = None,
        started_utc: datetime | None = None,
        gravity_mps2: float = STANDARD_GRAVITY_MPS2,
        now_s: Callable[[], float] | None = None,
    ) -> None:
        self.analysis: Analysis | None = None
        self._source, self._keeper, self._now_s = source, keeper, now_s
        sensors = source.recorded_sensors
        self._profiles = {each.placement: each.profile for each in sensors}
        self._order = SampleOrder([(each.placement, each.profile) for each in sensors])
        info = RecordingInfo(tuple(map(sensor_info, sensors)), started_utc)
        self._early = EarlySteps(info)
        self._tallies = {each.placement: SensorTally(each) for each in sensors}
        self._engine = EngineThread(
            Engine(info, gravity_mps2), self._attempts_closed, self._previewed
        )
        self._known: deque[KnownEvent] = deque(maxlen=EVENTS_REVISABLE)
        self._next_number = 1
        self._marks: list[Mark] = []
        self._told: deque[Told] = deque(maxlen=EVENTS_KEPT)
        self._told_count = 0
        self._preview: Attempt | None = None
        self._snapshot = Snapshot(recording=keeper.state if keeper else None)
        self._news_due_s = 0.0
        self._changed = asyncio.Event()

    async def __aenter__(self) -> Self:
        self._engine.start()
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        await self._end()

    async def follow(self) -> Analysis:
        """Take everything the source yields and return the finished analysis."""
        async for event in self._source:
            self.take(event)
            if self._engine.behind:
                await asyncio.to_thread(self._engine.catch_up)
        await self._end()
        assert self.analysis is not None
        return self.analysis

    def take(self, event: CaptureEvent) -> None:
        """Record one captured thing and hand it on."""
        if self._keeper is not None:
            self._keeper.append(event)
        time_s = _stamp_s(event)
        if isinstance(event, CapturedPacket):
            count = sample_count(self._profiles[event.placement], len(event.data))
            self._tallies[event.placement].count(event.arrival_s, count or 0)
        elif isinstance(event, StatusChange):
            self._note(event)
        entries = self._order.take(event)
        self._engine.put(entries, time_s)
        found: list[EarlyEvent] = []
        for entry in entries:
            if isinstance(entry, SampleBatch):
                found += self._early.push(entry)
        found += self._early.advance(time_s)
        self._tell([self._numbered(each) for each in found])
        sped = self._sped(self._early.new_speeds())
        self._tell(sped)
        if found or sped or time_s >= self._news_due_s:
            self._renew(time_s=time_s)

    def now_s(self) -> float:
        """Session time now, as nearly as it is known."""
        return self._now_s() if self._now_s else self._snapshot.time_s

    def mark(self, text: str = "", time_s: float | None = None) -> Mark:
        """Set a mark at this instant, or at one remembered from before."""
        mark = Mark(self.now_s() if time_s is None else time_s, text)
        if self._keeper is not None:
            self._keeper.append(mark)
        self._marks.append(mark)
        self._renew(marks=self._snapshot.marks + 1)
        return mark

    def snapshot(self) -> Snapshot:
        """The session now."""
        return self._snapshot

    async def updates(self) -> AsyncIterator[Update]:
        """Yield the newest snapshot now and whenever there is a newer one, until the end.

        Nothing is queued for who asks: a slow one finds the newest snapshot, the latest events
        and how many it missed.
        """
        version, count = -1, self._told_count
        while True:
            if self._snapshot.version == version:
                if self._snapshot.finished:
                    return
                await self._changed.wait()
            fresh = min(self._told_count - count, len(self._told))
            events = tuple(self._told[-n] for n in range(fresh, 0, -1))
            missed = self._told_count - count - fresh
            version, count = self._snapshot.version, self._told_count
            yield Update(self._snapshot, events, missed)

    # --- the end --------------------------------------------------------------------------

    async def _end(self) -> None:
        if self.analysis is not None or not self._engine.running:
            return
        rest = self._order.finish()
        self._engine.put(rest, self._snapshot.time_s)
        found: list[EarlyEvent] = []
        for entry in rest:
            if isinstance(entry, SampleBatch):
                found += self._early.push(entry)
        found += self._early.finish()
        self._tell([self._numbered(each) for each in found])
        self.analysis = await self._engine.finish(tuple(self._order.warnings()), tuple(self._marks))
        self._add_attempts(self.analysis.attempts[self._snapshot.attempt_count :])
        self._renew(warnings=self._warnings(*self.analysis.warnings), finished=True)

    # --- events and attempts --------------------------------------------------------------

    def _numbered(self, early: EarlyEvent) -> Told:
        known = KnownEvent(self._next_number, early.event, Standing.EARLY)
        self._next_number += 1
        self._known.append(known)
        return Told(known, early, self._now_s() if self._now_s else None)

    def _sped(self, speeds: Sequence[EarlySpeed]) -> list[Told]:
        """Enter the speeds of steps whose strikes have been told."""
        told = []
        for each in speeds:
            for at in range(len(self._known) - 1, -1, -1):
                known = self._known[at]
                if known.event == each.strike:
                    if known.standing is Standing.EARLY:
                        self._known[at] = replace(known, speed_mps=each.speed_mps)
                        now_s = self._now_s() if self._now_s else None
                        told.append(Told(self._known[at], None, now_s))
                    break
        return told

    def _tell(self, events: Sequence[Told]) -> None:
        self._told.extend(events)
        self._told_count += len(events)

    def _attempts_closed(self, attempts: tuple[Attempt, ...], fault: str | None) -> None:
        if fault is not None:
            self._renew(warnings=self._warnings(fault))
        # The end of the session may have been quicker than the thread's message.
        known = self._snapshot.attempt_count
        self._add_attempts([each for each in attempts if each.number > known])

    def _previewed(self, attempt: Attempt | None) -> None:
        if attempt is None or attempt.number > self._snapshot.attempt_count:
            self._preview = attempt
            self._renew()

    def _add_attempts(self, attempts: Sequence[Attempt]) -> None:
        for attempt in attempts:
            changed = revised(self._known, attempt, self._next_number)
            by_number = {each.number: each for each in changed}
            kept = [by_number.pop(each.number, each) for each in self._known]
            added = [each for each in changed if each.number in by_number]
            self._next_number += len(added)
            self._known = deque((*kept, *added), EVENTS_REVISABLE)
            now_s = self._now_s() if self._now_s else None
            self._tell([Told(each, None, now_s) for each in changed])
            self._preview = None
            shown = (*self._snapshot.attempts, attempt)[-ATTEMPTS_SHOWN:]
            self._renew(attempts=shown, attempt_count=attempt.number)

    # --- snapshots ------------------------------------------------------------------------

    def _note(self, row: StatusChange) -> None:
        tally = self._tallies.get(row.placement) if row.placement is not None else None
        if tally is not None:
            tally.note(row)

    def _warnings(self, *texts: str) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*self._snapshot.warnings, *texts)))

    def _renew(
        self,
        *,
        time_s: float | None = None,
        attempts: tuple[Attempt, ...] | None = None,
        attempt_count: int | None = None,
        marks: int | None = None,
        warnings: tuple[str, ...] | None = None,
        finished: bool = False,
    ) -> None:
        old = self._snapshot
        time_s = old.time_s if time_s is None else time_s
        standing = [each for each in self._known if each.standing is not Standing.WITHDRAWN]
        standing.sort(key=lambda each: each.event.time_s)
        states = self._source.states or tuple(
            tally.state(time_s) for tally in self._tallies.values()
        )
        self._snapshot = Snapshot(
            version=old.version + 1,
            time_s=time_s,
            recording=self._keeper.state if self._keeper else None,
            sensors=states,
            events=tuple(standing[-EVENTS_SHOWN:]),
            attempts=old.attempts if attempts is None else attempts,
            attempt_count=old.attempt_count if attempt_count is None else attempt_count,
            preview=None if finished else self._preview,
            marks=old.marks if marks is None else marks,
            warnings=old.warnings if warnings is None else warnings,
            finished=finished,
        )
        self._news_due_s = time_s + NEWS_S
        self._changed.set()
        self._changed = asyncio.Event()


def sensor_info(sensor: RecordedSensor) -> SensorInfo:
    """What the engine is told of a recorded sensor."""
    return SensorInfo(
        placement=sensor.placement,
        sensor_id=sensor.serial,
        rate_hz=sensor.profile.rate_hz,
        tick_s=sensor.profile.tick_s,
        accel_range_mps2=sensor.profile.accel_range_mps2,
        gyro_range_radps=sensor.profile.gyro_range_radps,
    )


def _stamp_s(event: CaptureEvent) -> float:
    if isinstance(event, CapturedPacket):
        return event.arrival_s
    return event.received_s if isinstance(event, ClockReading) else event.time_s
