"""A session while it happens: what is captured goes to the recorder and the engine at once.

Whatever comes is stamped and recorded first. Foot events are found on the event loop, as soon as
they are certain. The engine, whose work on a closing attempt takes some tenths of a second, has
a thread of its own, so that the next steps do not wait for it; it gets the same samples in the
same order as an analysis of the recorded file, and so gives the same attempts to the last bit.
"""

from __future__ import annotations

import asyncio
import contextlib
import queue
import threading
from collections import deque
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from types import TracebackType
from typing import Protocol, Self

from imujump.capture.events import CapturedPacket, CaptureEvent, SensorState
from imujump.constants import STANDARD_GRAVITY_MPS2
from imujump.model import (
    Analysis,
    Attempt,
    ClockReading,
    Mark,
    RecordingInfo,
    SampleBatch,
    SensorInfo,
)
from imujump.pipeline.early import EarlyEvent, EarlySteps
from imujump.pipeline.engine import Engine
from imujump.pipeline.revision import KnownEvent, Standing, revised
from imujump.recording.format import StatusChange, StatusKind
from imujump.recording.in_order import SampleOrder
from imujump.recording.keeper import KeeperState, RecordingKeeper
from imujump.recording.packets import sample_count
from imujump.recording.row_file import RecordedSensor

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

RATE_SPAN_S = 3.0
"""Span over which a sensor's rate is measured (own choice)."""

MOST_WAITING = 2000
"""Captured things that may wait for the engine before a faster source has to (own choice)."""

WAIT_S = 0.005


@dataclass(frozen=True, slots=True)
class Told:
    """A foot event as it was told, or told anew.

    ``early`` says what it took to know it, None when it comes from a closed attempt;
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
    attempts, ``attempt_count`` all of them. ``recording`` is None when nothing is recorded.
    """

    version: int = 0
    time_s: float = 0.0
    recording: KeeperState | None = None
    sensors: tuple[SensorState, ...] = ()
    events: tuple[KnownEvent, ...] = ()
    attempts: tuple[Attempt, ...] = ()
    attempt_count: int = 0
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
        self._tallies = {each.placement: _Tally(each) for each in sensors}
        self._engine = _EngineThread(Engine(info, gravity_mps2), self._attempts_closed)
        self._known: deque[KnownEvent] = deque(maxlen=EVENTS_REVISABLE)
        self._next_number = 1
        self._told: deque[Told] = deque(maxlen=EVENTS_KEPT)
        self._told_count = 0
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
            if self._engine.waiting > MOST_WAITING:
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
        if found or time_s >= self._news_due_s:
            self._renew(time_s=time_s)

    def now_s(self) -> float:
        """Session time now, as nearly as it is known."""
        return self._now_s() if self._now_s else self._snapshot.time_s

    def mark(self, text: str = "", time_s: float | None = None) -> Mark:
        """Set a mark at this instant, or at one remembered from before."""
        mark = Mark(self.now_s() if time_s is None else time_s, text)
        if self._keeper is not None:
            self._keeper.append(mark)
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
        self.analysis = await self._engine.finish(tuple(self._order.warnings()))
        self._add_attempts(self.analysis.attempts[self._snapshot.attempt_count :])
        self._renew(warnings=self._warnings(*self.analysis.warnings), finished=True)

    # --- events and attempts --------------------------------------------------------------

    def _numbered(self, early: EarlyEvent) -> Told:
        known = KnownEvent(self._next_number, early.event, Standing.EARLY)
        self._next_number += 1
        self._known.append(known)
        return Told(known, early, self._now_s() if self._now_s else None)

    def _tell(self, events: Sequence[Told]) -> None:
        self._told.extend(events)
        self._told_count += len(events)

    def _attempts_closed(self, attempts: tuple[Attempt, ...], fault: str | None) -> None:
        if fault is not None:
            self._renew(warnings=self._warnings(fault))
        # The end of the session may have been quicker than the thread's message.
        known = self._snapshot.attempt_count
        self._add_attempts([each for each in attempts if each.number > known])

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
            marks=old.marks if marks is None else marks,
            warnings=old.warnings if warnings is None else warnings,
            finished=finished,
        )
        self._news_due_s = time_s + NEWS_S
        self._changed.set()
        self._changed = asyncio.Event()


class _Tally:
    """Counts of one sensor, for a source that keeps none."""

    def __init__(self, sensor: RecordedSensor) -> None:
        self._state = SensorState(sensor.serial, sensor.serial, sensor.placement, True)
        self._recent: deque[tuple[float, int]] = deque()

    def count(self, arrival_s: float, samples: int) -> None:
        self._recent.append((arrival_s, samples))
        self._state = replace(
            self._state, linked=True, packets=self._state.packets + 1, last_arrival_s=arrival_s
        )

    def note(self, row: StatusChange) -> None:
        if row.kind is StatusKind.DROP:
            self._state = replace(self._state, linked=False)
        elif row.kind is StatusKind.BATTERY:
            with contextlib.suppress(ValueError):
                charge = int("".join(filter(str.isdigit, row.detail)))
                self._state = replace(self._state, battery_percent=charge)

    def state(self, now_s: float) -> SensorState:
        while self._recent and self._recent[0][0] < now_s - RATE_SPAN_S:
            self._recent.popleft()
        rate_hz = None
        if len(self._recent) > 1:
            # The first packet's samples were measured before the span began.
            span_s = self._recent[-1][0] - self._recent[0][0]
            samples = sum(count for _, count in self._recent) - self._recent[0][1]
            rate_hz = samples / span_s if span_s > 0.0 else None
        return replace(self._state, rate_hz=rate_hz)


class _EngineThread:
    """The engine in a thread of its own, fed through a queue."""

    def __init__(
        self, engine: Engine, closed: Callable[[tuple[Attempt, ...], str | None], None]
    ) -> None:
        self._engine, self._closed = engine, closed
        self._work: queue.SimpleQueue[tuple[list[SampleBatch | ClockReading], float] | None] = (
            queue.SimpleQueue()
        )
        self._thread = threading.Thread(target=self._run, name="engine", daemon=True)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._fault: str | None = None
        self.running = False

    @property
    def waiting(self) -> int:
        """How much waits for the engine."""
        return self._work.qsize()

    def catch_up(self) -> None:
        """Wait until little waits for the engine."""
        while self.waiting > MOST_WAITING // 2 and self._thread.is_alive():
            self._thread.join(WAIT_S)

    def start(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._thread.start()
        self.running = True

    def put(self, entries: list[SampleBatch | ClockReading], time_s: float) -> None:
        """Hand on what is now in order, all that was captured until ``time_s``."""
        self._work.put((entries, time_s))

    async def finish(self, warnings: tuple[str, ...]) -> Analysis:
        """Let the engine do what waits, end it and return its analysis."""
        self._work.put(None)
        await asyncio.to_thread(self._thread.join)
        self.running = False
        known = self._engine.info.warnings
        fresh = tuple(text for text in warnings if text not in known)
        self._engine.info = replace(self._engine.info, warnings=(*known, *fresh))
        return await asyncio.to_thread(self._engine.finish)

    def _run(self) -> None:
        while (work := self._work.get()) is not None:
            if self._fault is not None:
                continue
            try:
                attempts = self._step(*work)
            except Exception as error:
                # Whatever goes wrong in the analysis, the recording goes on.
                self._fault = (
                    f"the analysis stopped ({type(error).__name__}: {error}); the recording goes "
                    "on, analyse the file afterwards and report this."
                )
                self._send((), self._fault)
                continue
            if attempts:
                self._send(attempts, None)

    def _step(
        self, entries: list[SampleBatch | ClockReading], time_s: float
    ) -> tuple[Attempt, ...]:
        attempts: list[Attempt] = []
        for entry in entries:
            if isinstance(entry, ClockReading):
                self._engine.read_clock(entry)
            else:
                attempts += self._engine.push(entry)
        # Stamps do not repeat: until this one everything is there.
        attempts += self._engine.advance(time_s)
        return tuple(attempts)

    def _send(self, attempts: tuple[Attempt, ...], fault: str | None) -> None:
        assert self._loop is not None
        with contextlib.suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(self._closed, attempts, fault)


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
