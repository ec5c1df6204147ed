"""All sensors of a session in one event loop: one scanner, connects one after another.

Two programs, or two scans at once, on one adapter disturb each other; so a single task here
owns the radio: it scans only while a sensor is sought, pauses the scan to connect, and gives
each sensor its turn.
"""

from __future__ import annotations

import asyncio
import random
from collections import deque
from collections.abc import Coroutine, Sequence
from types import TracebackType
from typing import Any, Self

from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from imujump.capture.connection import SensorLink
from imujump.capture.events import CapturedPacket, CaptureEvent, HostClock, SensorState
from imujump.capture.finding import FoundSensor, Radio, scanning
from imujump.capture.link_care import care_for
from imujump.capture.link_state import LinkEvent, LinkState, Timings
from imujump.errors import BluetoothError, ImuJumpError
from imujump.model import Placement
from imujump.recording.row_file import RecordedSensor


class Crew:
    """Captures all sensors of a session; an asynchronous context manager and iterator.

    Parameters
    ----------
    sensors : sequence of FoundSensor
        Each with a placement, each placement once; see
        :func:`imujump.capture.finding.chosen_sensors`.
    rate_hz : float, optional
        Samples a second; each profile's own rate by default.
    radio : Radio, optional
        How to reach the sensors; the system's Bluetooth by default.
    clock : HostClock, optional
        Session time; a new session by default.
    timings : Timings, optional
        How long to wait for what.
    seed : int, optional
        For the same jitter again.

    Raises
    ------
    ValueError
        If a placement is missing or doubled, or a sensor has no such rate.

    Notes
    -----
    Iterating yields :data:`imujump.capture.events.CaptureEvent` in the order of their stamps
    and ends after :meth:`end`, once everything captured has come out. Leaving the context
    stops and disconnects all sensors, whatever the reason.
    """

    def __init__(
        self,
        sensors: Sequence[FoundSensor],
        rate_hz: float | None = None,
        radio: Radio | None = None,
        clock: HostClock | None = None,
        timings: Timings | None = None,
        seed: int | None = None,
    ) -> None:
        self.clock = clock or HostClock()
        self._radio = radio or Radio()
        self._timings = timings or Timings()
        self._chance = random.Random(seed)
        self._links: dict[Placement, SensorLink] = {}
        for sensor in sensors:
            link = SensorLink(
                sensor.at_rate(rate_hz),
                self._radio,
                self.clock,
                self._put,
                self._timings,
                self._chance,
            )
            if link.placement in self._links:
                raise ValueError(f"sensors holds {link.placement} twice, must hold each once")
            self._links[link.placement] = link
        self._raw: deque[CaptureEvent] = deque()
        self._out: deque[CaptureEvent] = deque()
        self._pumping = False
        self._news = asyncio.Event()
        self._seek = asyncio.Event()
        self._tasks: set[asyncio.Task[None]] = set()
        self._radio_task: asyncio.Task[None] | None = None
        self._closing: asyncio.Task[None] | None = None
        self._closed = False
        self._fault: BaseException | None = None

    async def __aenter__(self) -> Self:
        self._radio_task = self._start(self._run_radio())
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.end()
        assert self._closing is not None
        cancelled: asyncio.CancelledError | None = None
        while not self._closing.done():
            try:
                await asyncio.wait([self._closing])
            except asyncio.CancelledError as again:
                # Sensors are let go even so; each step of it has its time limit.
                cancelled = again
        self._closing.result()
        if cancelled is not None:
            raise cancelled

    def __aiter__(self) -> Self:
        return self

    async def __anext__(self) -> CaptureEvent:
        while not self._out:
            if self._fault is not None:
                raise self._fault
            if self._closed:
                raise StopAsyncIteration
            self._news.clear()
            await self._news.wait()
        return self._out.popleft()

    @property
    def states(self) -> tuple[SensorState, ...]:
        """How each sensor is doing now."""
        return tuple(link.snapshot() for link in self._links.values())

    @property
    def recorded_sensors(self) -> tuple[RecordedSensor, ...]:
        """The sensors as a recording enters them."""
        return tuple(
            RecordedSensor(link.placement, link.sensor.serial, link.profile.packet)
            for link in self._links.values()
        )

    def end(self) -> None:
        """End the session: stop measuring, recover what was missed, disconnect."""
        if self._closing is None:
            self._closing = asyncio.get_running_loop().create_task(self._close())

    # --- events ---------------------------------------------------------------------------

    def _put(self, event: CaptureEvent) -> None:
        self._raw.append(event)
        if not self._pumping:
            self._pumping = True
            asyncio.get_running_loop().call_soon(self._pump)

    def _pump(self) -> None:
        """Enter what came into the books and hand it on, outside the radio's callbacks."""
        self._pumping = False
        while self._raw:
            event = self._raw.popleft()
            if isinstance(event, CapturedPacket) and not self._links[event.placement].enter(event):
                continue
            self._out.append(event)
        self._news.set()

    # --- the radio ------------------------------------------------------------------------

    async def _run_radio(self) -> None:
        # Asked each time: not every system's radio lets a cancellation through.
        while self._closing is None:
            sought = [link for link in self._links.values() if link.state is LinkState.SOUGHT]
            if not sought:
                self._seek.clear()
                await self._seek.wait()
                continue
            heard = None
            try:
                heard = await self._listen(sought)
                if heard is not None:
                    await heard[0].attach(heard[1])
                    self._start(self._care(heard[0]))
            except BluetoothError as error:
                for link in sought:
                    link.problem = str(error)
                    self._rest_if_due(link)
                await asyncio.sleep(self._timings.radio_retry_s * self._chance.uniform(0.5, 1.5))
            except ImuJumpError:
                # The link keeps the sentence.
                if heard is not None:
                    self._settle_owner(heard[0], heard[1].address)
                    self._rest_if_due(heard[0])

    async def _listen(self, sought: Sequence[SensorLink]) -> tuple[SensorLink, BLEDevice] | None:
        """Scan until one of the sensors is heard; None when it is time for a new scan."""
        first: asyncio.Future[tuple[SensorLink, BLEDevice]]
        first = asyncio.get_running_loop().create_future()

        def on_advertisement(device: BLEDevice, data: AdvertisementData) -> None:
            link = self._owner(device, data)
            if link is not None:
                link.hear(data.rssi)
                if link in sought and not first.done():
                    first.set_result((link, device))

        async with scanning(self._radio, on_advertisement):
            done, _ = await asyncio.wait([first], timeout=self._timings.scan_s)
        return first.result() if done else None

    def _owner(self, device: BLEDevice, data: AdvertisementData) -> SensorLink | None:
        """Return whose advertisement it is: by address, else, since those may change, by name."""
        links = list(self._links.values())
        for link in links:
            if device.address == link.address:
                return link
        name = data.local_name or device.name
        for link in links:
            if name == link.sensor.name and link.profile.recognises(name, data.service_uuids):
                return link
        return None

    def _settle_owner(self, link: SensorLink, address: str) -> None:
        """Learn from an answer whose address it is: a serial number stands above addresses."""
        if link.mistaken is None:
            return
        link.address = None
        for other in self._links.values():
            if other.sensor.serial == link.mistaken:
                other.address = address

    async def _care(self, link: SensorLink) -> None:
        await care_for(link)
        await link.bury()
        self._rest_if_due(link)

    def _rest_if_due(self, link: SensorLink) -> None:
        if link.state is LinkState.RESTING and self._closing is None:
            self._start(self._rest(link))

    async def _rest(self, link: SensorLink) -> None:
        attempt = max(1, link.attempts)
        await asyncio.sleep(self._timings.rest_before(attempt, self._chance.random()))
        if link.state is LinkState.RESTING:
            link.happen(LinkEvent.RESTED)
            self._seek.set()

    # --- the end --------------------------------------------------------------------------

    def _start(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._done)
        return task

    def _done(self, task: asyncio.Task[None]) -> None:
        self._tasks.discard(task)
        if not task.cancelled() and task.exception() is not None:
            self._fault = task.exception()
            self._news.set()

    async def _close(self) -> None:
        try:
            if self._radio_task is not None:
                self._radio_task.cancel()
                await asyncio.gather(self._radio_task, return_exceptions=True)
            await asyncio.gather(*(link.stop() for link in self._links.values()))
        finally:
            for task in list(self._tasks):
                task.cancel()
            await asyncio.gather(*self._tasks, return_exceptions=True)
            self._pump()
            self._closed = True
            self._news.set()
