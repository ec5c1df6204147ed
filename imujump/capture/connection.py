"""One sensor's link: connect, subscribe, start, watch, ask again for what was missed, stop.

Callbacks of the radio only stamp and enqueue. What is done while a link lasts stands in
:mod:`imujump.capture.link_care`.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections.abc import Callable

from bleak import BleakClient
from bleak.backends.device import BLEDevice
from bleak.exc import BleakError

from imujump.capture.conversation import Conversation
from imujump.capture.events import (
    CapturedPacket,
    CaptureEvent,
    ClockReading,
    HostClock,
    SensorState,
    StatusChange,
    StatusKind,
)
from imujump.capture.finding import FoundSensor, Radio, let_go, not_heard
from imujump.capture.link_state import LINKED, LinkEvent, LinkState, Timings, after
from imujump.capture.packet_book import PacketBook
from imujump.capture.radio_errors import RADIO_FAULTS, connect_error, radio_call
from imujump.capture.restart_guard import has_restarted
from imujump.errors import BadPacketError, ImuJumpError, SensorLostError, WrongPlacementError
from imujump.recording.sequence import Arrival

LOW_BATTERY_PERCENT = 15
"""Charge below which the coach is told: own choice, an hour or so of a usual small cell."""


class SensorLink:
    """The link to one sensor over the whole session, however often it breaks.

    Parameters
    ----------
    sensor : FoundSensor
        Who is meant, with a placement; its profile at the session's rate.
    radio : Radio
        How to reach it.
    clock : HostClock
        Session time.
    put : callable
        Takes each event, in the order of stamps.
    timings : Timings
        How long to wait for what.
    chance : random.Random
        For jitter.
    """

    def __init__(
        self,
        sensor: FoundSensor,
        radio: Radio,
        clock: HostClock,
        put: Callable[[CaptureEvent], None],
        timings: Timings,
        chance: random.Random,
    ) -> None:
        if sensor.placement is None:
            raise ValueError(f"{sensor.serial} has no placement, must have one")
        self.sensor = sensor
        self.placement = sensor.placement
        self.address: str | None = sensor.address
        self.mistaken: str | None = None
        self.profile = sensor.profile
        self.timings = timings
        self.clock = clock
        self.chance = chance
        self.talk = Conversation(sensor.serial, sensor.profile, timings.answer_s)
        self.book = PacketBook(sensor.profile)
        self.state = LinkState.SOUGHT
        self.attempts = 0
        self.problem: str | None = None
        self.ended = asyncio.Event()
        self.holes = asyncio.Event()
        self.last_replay_s = 0.0
        self.boot_id: int | None = None
        self.segment = 0
        self._radio = radio
        self._put = put
        self._begun = False
        self._links = 0
        self._battery_percent = sensor.battery_percent
        self._rssi_dbm = sensor.rssi_dbm
        self._last_arrival_s: float | None = None
        self._last_packet: tuple[bytes, float] | None = None
        self._unjudged = False
        self._linked_s = 0.0
        self._overflow = False
        self._filled = asyncio.Event()
        self._old_client: BleakClient | None = None

    # --- state ----------------------------------------------------------------------------

    def happen(self, event: LinkEvent) -> None:
        """Move on by the table of transitions."""
        self.state = after(self.state, event)
        if self.state not in LINKED and self.state is not LinkState.CONNECTING:
            self.ended.set()

    def tell(self, kind: StatusKind, detail: str = "") -> None:
        """Hand on a status change of this sensor."""
        self._put(StatusChange(self.clock.stamp_s(), kind, self.placement, detail))

    def snapshot(self) -> SensorState:
        """Return how the sensor is doing now."""
        now_s = self.clock.now_s()
        linked = self.state in LINKED
        return SensorState(
            serial=self.sensor.serial,
            name=self.sensor.name,
            placement=self.placement,
            linked=linked,
            rate_hz=self.book.rate_hz(now_s) if linked else None,
            battery_percent=self._battery_percent,
            rssi_dbm=self._rssi_dbm,
            packets=self.book.packets,
            lost=self.book.lost,
            recovered=self.book.recovered,
            doubled=self.book.doubled,
            reconnects=max(0, self._links - 1),
            last_arrival_s=self._last_arrival_s,
            sentence=self._sentence(now_s),
        )

    def silence_s(self) -> float:
        """Time since the last packet, or since the link began."""
        return self.clock.now_s() - max(self._last_arrival_s or 0.0, self._linked_s)

    def hear(self, rssi_dbm: int) -> None:
        """Take note of an advertisement's signal strength."""
        self._rssi_dbm = rssi_dbm

    def enter(self, packet: CapturedPacket) -> bool:
        """Enter a packet in the books; tell whether it is to be handed on."""
        arrival = self.book.enter(packet.data, packet.arrival_s)
        if arrival is Arrival.NEW and self.profile.stream_flags:
            flags = self.profile.packet_flags(packet.data)
            if "overflow" in flags and not self._overflow:
                self.tell(StatusKind.OVERFLOW)
            self._overflow = "overflow" in flags
        if arrival is Arrival.FILLED:
            self.last_replay_s = packet.arrival_s
            self._filled.set()
        if self.book.missing.ranges:
            if self.profile.can_replay:
                self.holes.set()
            else:
                self.give_up_all()
        return arrival is not Arrival.KNOWN

    def give_up(self, first: int, last: int) -> None:
        """Mark packets as lost for good."""
        if self.book.give_up(first, last):
            self.tell(StatusKind.GAP, f"lost={first}-{last}")

    def give_up_all(self) -> None:
        """Mark all that is missing as lost for good."""
        for first, last in list(self.book.missing.ranges):
            self.give_up(first, last)

    async def filled_within(self, wait_s: float) -> None:
        """Wait until a missing packet comes, but not longer than that."""
        self._filled.clear()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(wait_s):
                await self._filled.wait()

    # --- the link -------------------------------------------------------------------------

    async def attach(self, device: BLEDevice) -> None:
        """Connect, subscribe and start; the link measures afterwards.

        Raises
        ------
        ImuJumpError
            If it comes to nothing; the connection has been ended then.
        """
        self.attempts += 1
        self.mistaken = None
        self.ended.clear()
        self.holes.clear()
        self.happen(LinkEvent.SEEN)
        client: BleakClient | None = None
        try:
            # What is left of an earlier link is stale: each attempt has a client of its own.
            with radio_call():
                client = self._radio.client(
                    device, disconnected_callback=self._on_gone, timeout=self.timings.connect_s
                )
                self.talk.client = client
                async with asyncio.timeout(self.timings.connect_s):
                    await client.connect()
            await self._set_up()
            if not client.is_connected:
                raise BleakError("the link ended at once")
        except BaseException as error:
            # Taken away first: its own good-bye is no loss.
            self.talk.client = None
            if self.state is LinkState.CONNECTING:
                self.happen(LinkEvent.FAILED)
            if client is not None:
                await let_go(client, self.timings.answer_s)
            if not isinstance(error, (ImuJumpError, *RADIO_FAULTS)):
                raise
            fault = connect_error(self.sensor.serial, error)
            self.problem = str(fault)
            if fault is error:
                raise
            raise fault from error
        self._links += 1
        self.attempts = 0
        self.problem = None
        self._linked_s = self.clock.now_s()
        self.happen(LinkEvent.STARTED)

    async def detach(self, reason: LinkEvent, detail: str) -> None:
        """End a link that is worth nothing any more."""
        client, self.talk.client = self.talk.client, None
        self.happen(reason)
        self.tell(StatusKind.DROP, detail)
        if client is not None:
            await let_go(client, self.timings.answer_s)

    async def bury(self) -> None:
        """Clear away a client whose link ended by itself: some systems keep half of it open."""
        client, self._old_client = self._old_client, None
        if client is not None:
            await let_go(client, self.timings.answer_s)

    async def stop(self) -> None:
        """Stop measuring, recover what can be, disconnect; on every way out."""
        client, linked = self.talk.client, self.state in LINKED
        if self.state is LinkState.STOPPED:
            return
        try:
            if client is not None and linked:
                await self.talk.command("stop")
                await self._wait_for_the_last()
        except (ImuJumpError, *RADIO_FAULTS):
            pass
        finally:
            self.talk.client = None
            self.happen(LinkEvent.STOP)
            self.give_up_all()
            if client is not None:
                await let_go(client, self.timings.answer_s)

    async def read_clock(self) -> None:
        """Read the sensor's clock once and hand the reading on.

        Raises
        ------
        SensorLostError
            If the sensor has restarted in the meantime.
        """
        found = await self.talk.tick(self.clock)
        if found is None:
            return
        if None not in (found.boot_id, self.boot_id) and found.boot_id != self.boot_id:
            raise SensorLostError(self.sensor.serial, "the sensor has restarted", "wait a moment")
        self._put(
            ClockReading(self.placement, found.sent_s, found.received_s, found.tick, self.segment)
        )

    async def read_battery(self) -> None:
        """Read the charge and hand it on if it has changed."""
        self._tell_battery(await self.talk.battery())

    # --- inside ---------------------------------------------------------------------------

    async def _set_up(self) -> None:
        profile, talk = self.profile, self.talk
        talk.check_kind()
        serial = await talk.serial()
        if serial is not None and serial != self.sensor.serial:
            self.mistaken = serial
            raise WrongPlacementError(
                self.sensor.serial, f"another sensor, {serial}, answers for it", "search again"
            )
        status = await talk.status()
        version = status.get("version")
        if profile.version is not None and version not in (None, profile.version):
            raise BadPacketError(
                self.sensor.serial,
                f"the sensor speaks version {version} of its profile, not {profile.version}",
                "update the sensor or choose its profile",
            )
        await self.read_battery()
        self._begin(status)
        await self.read_clock()
        if profile.replay_uuid not in (None, profile.stream_uuid):
            await talk.subscribe(str(profile.replay_uuid), self._on_replay)
        await talk.subscribe_battery(self._on_battery)
        self.tell(
            StatusKind.CONNECT,
            f"boot={'-' if self.boot_id is None else self.boot_id} "
            f"replay={'yes' if profile.can_replay else 'no'} "
            f"next={status.get('next_packet', '-')}",
        )
        await talk.subscribe(profile.stream_uuid, self._on_stream)
        await talk.command("start", rate_hz=round(profile.packet.rate_hz))

    def _begin(self, status: dict[str, int]) -> None:
        """Begin a new count where the sensor did."""
        boot_id = status.get("boot_id")
        rebooted = self._begun and boot_id != self.boot_id
        self.boot_id = boot_id
        if rebooted:
            self._begin_segment(status.get("next_packet"))
        elif not self._begun:
            self.book.begin(status.get("next_packet"), self.clock.now_s())
        self._begun = True
        self._unjudged = True

    def _begin_segment(self, next_packet: int | None) -> None:
        self.give_up_all()
        self.segment += 1
        self.tell(StatusKind.REBOOT, f"boot={'-' if self.boot_id is None else self.boot_id}")
        self.book.begin(next_packet, self.clock.now_s())

    def _on_stream(self, _sender: object, data: bytearray) -> None:
        received = bytes(data)
        if self._unjudged:
            self._judge(received)
        arrival_s = self._last_arrival_s = self.clock.stamp_s()
        self._last_packet = (received, arrival_s)
        self._put(CapturedPacket(self.placement, arrival_s, received))

    def _judge(self, data: bytes) -> None:
        """See from a link's first packet whether a sensor without boot id has restarted."""
        self._unjudged = False
        if self.boot_id is None and self._last_packet is not None:
            now = (data, self.clock.now_s())
            if has_restarted(self.profile.packet, self._last_packet, now):
                self._begin_segment(None)

    def _on_replay(self, _sender: object, data: bytearray) -> None:
        self.last_replay_s = self.clock.stamp_s()
        self._put(CapturedPacket(self.placement, self.last_replay_s, bytes(data)))

    def _on_battery(self, _sender: object, data: bytearray) -> None:
        self._tell_battery(data[0] if data and data[0] <= 100 else None)

    def _on_gone(self, client: BleakClient) -> None:
        if client is not self.talk.client:
            return
        if self.state in LINKED:
            self.talk.client, self._old_client = None, client
            self.happen(LinkEvent.GONE)
            self.tell(StatusKind.DROP, "the link ended")

    def _tell_battery(self, percent: int | None) -> None:
        if percent is not None and (percent != self._battery_percent or self._links == 0):
            self._battery_percent = percent
            self.tell(StatusKind.BATTERY, str(percent))

    async def _wait_for_the_last(self) -> None:
        """See that everything the sensor made before it stopped is here, or is lost for good."""
        await asyncio.sleep(self.timings.watch_s)  # what is in the air
        status = await self.talk.status()
        if status.get("boot_id") == self.boot_id and "next_packet" in status:
            self.book.missing.expect(status["next_packet"])
            self.holes.set()
        give_up_s = self.clock.now_s() + self.timings.last_replay_s
        while self.book.missing.ranges and self.clock.now_s() < give_up_s:
            await self.filled_within(self.timings.watch_s)

    def _sentence(self, now_s: float) -> str | None:
        serial, state = self.sensor.serial, self.state
        if state is LinkState.STALE:
            return (
                f"{serial}: no data for {self.silence_s():.0f} s; bring the sensor and the "
                "computer closer together."
            )
        if state in (LinkState.SOUGHT, LinkState.RESTING, LinkState.CONNECTING):
            if self.problem is not None:
                return self.problem
            return str(not_heard(serial)) if now_s > self.timings.dead_s else None
        if self.book.unfit:
            return (
                f"{serial}: {self.book.unfit} packets do not fit its profile; choose the profile "
                "of this kind of sensor."
            )
        if self._battery_percent is not None and self._battery_percent <= LOW_BATTERY_PERCENT:
            return f"{serial}: the battery is at {self._battery_percent} %; charge it soon."
        return None
