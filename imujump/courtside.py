"""A capture for the courtside page: the session, a signal strip, the sensor check, a door.

Runs in a process of its own, so that neither the page's server nor a browser can disturb the
sensors: ``python -m imujump.courtside WISH`` with the wish as JSON. Viewers attach by the
capture's loopback door and may come and go.
"""

from __future__ import annotations

import asyncio
import json
import signal
import sys
import threading
import time
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import AsyncExitStack, suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from imujump.capture.events import CapturedPacket, CaptureEvent, SensorState
from imujump.capture.one_capture import OneCapture
from imujump.capture.viewer_service import ViewerService
from imujump.capture_job import EndableSource, Wish, opened_source
from imujump.contract import attempt_document
from imujump.errors import ImuJumpError
from imujump.live import LiveSession, Update, sensor_info
from imujump.live_view import event_message, state_message
from imujump.model import Attempt, SampleBatch
from imujump.recording.in_order import SampleOrder
from imujump.recording.keeper import RecordingKeeper
from imujump.recording.row_file import RecordedSensor
from imujump.sensor_watch import SensorWatch
from imujump.signal_strip import SignalStrip

EVENTS_TOLD = 30
"""Foot events in a state (own choice: a run-up; it is sent many times a second)."""

STRIP_EVERY_S = 0.05
"""Points of the strip are told this often (own choice)."""


@dataclass(frozen=True, slots=True)
class CourtsideWish:
    """What to capture, in words that JSON can say.

    Attributes
    ----------
    source : str
        ``sensors``, ``emulated`` or ``recording``.
    played : str or None
        The recording that is replayed, or worn by emulated sensors.
    speed : float
        Pace of a replay.
    recording : str or None
        The new recording; nothing is recorded without.
    lock_folder : str or None
        Where the lock lies; the system's folder for temporary files by default.
    """

    source: str
    played: str | None = None
    speed: float = 1.0
    recording: str | None = None
    lock_folder: str | None = None

    @property
    def wish(self) -> Wish:
        """The same for the capture."""
        played = None if self.played is None else Path(self.played)
        if self.source == "recording":
            return Wish(replay=played, speed=self.speed)
        if self.source == "emulated":
            return Wish(emulate=True, emulate_file=played)
        return Wish()

    def to_json(self) -> str:
        """Return the wish as JSON."""
        return json.dumps(asdict(self))

    @classmethod
    def from_json(cls, text: str) -> CourtsideWish:
        """Read a wish from JSON."""
        return cls(**json.loads(text))


class _Tapped:
    """A source whose events somebody else sees as well."""

    def __init__(self, source: EndableSource) -> None:
        self._source = source
        self.taken: Callable[[CaptureEvent], None] | None = None

    @property
    def recorded_sensors(self) -> Sequence[RecordedSensor]:
        return self._source.recorded_sensors

    @property
    def states(self) -> tuple[SensorState, ...]:
        return self._source.states

    async def __aiter__(self) -> AsyncIterator[CaptureEvent]:
        async for event in self._source:
            yield event
            if self.taken is not None:
                self.taken(event)
            # A replay that cannot hold its pace would never let viewers be told.
            await asyncio.sleep(0)


class Courtside:
    """Tells viewers of a running session; see :func:`run`."""

    def __init__(self, session: LiveSession, source: EndableSource, service: ViewerService) -> None:
        self._session, self._source, self._service = session, source, service
        sensors = source.recorded_sensors
        infos = tuple(map(sensor_info, sensors))
        self._order = SampleOrder([(each.placement, each.profile) for each in sensors])
        self._strip = SignalStrip(infos)
        self._watch = SensorWatch(infos)
        self._points: dict[str, list[tuple[float, float]]] = {}
        self._strip_due_s = 0.0
        self._told_attempts = 0
        self._told_preview: Attempt | None = None

    async def tell(self) -> None:
        """Tell viewers of everything new, until the session has ended."""
        async for update in self._session.updates():
            self._publish(update)

    def receive(self, message: Mapping[str, Any]) -> None:
        """Take a viewer's word."""
        if isinstance(message.get("mark"), str):
            self._session.mark(message["mark"])
        elif isinstance(message.get("attempts_from"), int):
            self._tell_attempts(message["attempts_from"])
        elif message.get("check") == "begin":
            self._watch.begin()
        elif message.get("check") == "end":
            self._service.tell({"check": self._watch.end(self._session.snapshot().sensors)})
        elif message.get("stop"):
            self._source.end()

    def draw(self, event: CaptureEvent) -> None:
        """Enter what was captured into strip and sensor check."""
        for entry in self._order.take(event):
            if isinstance(entry, SampleBatch):
                self._watch.take(entry)
                points = self._strip.take(entry)
                if points:
                    self._points.setdefault(str(entry.placement), []).extend(points)
        if isinstance(event, CapturedPacket) and event.arrival_s >= self._strip_due_s:
            self._strip_due_s = event.arrival_s + STRIP_EVERY_S
            self._publish_strip()

    def _publish_strip(self) -> None:
        if self._points:
            self._service.tell({"strip": self._points})
            self._points = {}

    def _publish(self, update: Update) -> None:
        snapshot = update.snapshot
        state = state_message(snapshot)
        state["events"] = state["events"][-EVENTS_TOLD:]
        del state["attempts"]
        state["now_s"] = round(snapshot.time_s - (self._strip.zero_s or 0.0), 3)
        self._service.publish(state)
        for told in update.events:
            foot = event_message(told)
            if told.early is not None:
                # On the clock that all processes of this computer share, for measuring delays.
                ago_s = self._session.now_s() - told.early.held_s
                foot["arrived_host_s"] = round(time.perf_counter() - ago_s, 6)
            self._service.tell({"foot": foot})
        if snapshot.preview is not self._told_preview:
            self._told_preview = snapshot.preview
            preview = None if snapshot.preview is None else _document(snapshot.preview)
            self._service.tell({"preview": preview})
        if snapshot.attempt_count > self._told_attempts:
            first = self._told_attempts + 1
            self._told_attempts = snapshot.attempt_count
            self._tell_attempts(first)

    def _tell_attempts(self, first: int) -> None:
        for attempt in self._session.snapshot().attempts:
            if attempt.number >= first:
                self._service.tell({"attempt": _document(attempt)})


def _document(attempt: Attempt) -> dict[str, Any]:
    flight = {"toe_off_s": attempt.toe_off_s, "landing_s": attempt.landing_s}
    return {**attempt_document(attempt), **flight}


async def run(wish: CourtsideWish, stop: asyncio.Event) -> None:
    """Capture until the source ends, a viewer says so or ``stop`` is set.

    Raises
    ------
    ImuJumpError
        If another capture runs, or source or recording cannot be used.
    """
    async with AsyncExitStack() as stack:
        folder = None if wish.lock_folder is None else Path(wish.lock_folder)
        lock = stack.enter_context(OneCapture(wish.wish.adapter, folder))
        source, now_s = await stack.enter_async_context(opened_source(wish.wish))
        started_utc = datetime.now(UTC)
        keeper = None
        if wish.recording is not None:
            keeper = RecordingKeeper(Path(wish.recording), source.recorded_sensors, started_utc)
            stack.push_async_callback(asyncio.to_thread, keeper.close)
        tapped = _Tapped(source)
        session = LiveSession(tapped, keeper, started_utc, now_s=now_s)
        page: list[Courtside] = []
        service = await stack.enter_async_context(
            ViewerService(lambda message: page[0].receive(message))
        )
        page.append(Courtside(session, source, service))
        tapped.taken = page[0].draw
        lock.open_door(service.port, service.key)

        async def end_when_told() -> None:
            await stop.wait()
            source.end()

        async with session:
            telling = asyncio.create_task(page[0].tell())
            ending = asyncio.create_task(end_when_told())
            try:
                await session.follow()
                await telling
                # Whoever looks on sees the end before the door closes.
                await asyncio.sleep(0.1)
            finally:
                for task in (telling, ending):
                    task.cancel()
                await asyncio.gather(telling, ending, return_exceptions=True)


async def _main(wish: CourtsideWish) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        with suppress(NotImplementedError):
            loop.add_signal_handler(number, stop.set)
    await run(wish, stop)


def main() -> None:
    """Read the wish from the command line and capture."""
    sys.setswitchinterval(1e-3)
    threading.current_thread().name = "capture"
    try:
        asyncio.run(_main(CourtsideWish.from_json(sys.argv[1])))
    except (ImuJumpError, ValueError, OSError) as error:
        sys.stderr.write(f"{error}\n")
        sys.exit(1)


if __name__ == "__main__":
    main()
