"""One emulated sensor: it measures by its own clock, buffers, sends, obeys and misbehaves."""

from __future__ import annotations

import asyncio
import contextlib
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from bumble.att import ATT_Error

from imujump.capture.emulated.air import AirLink, SensorController
from imujump.capture.emulated.control import SensorFacts
from imujump.capture.emulated.feeds import SampleFeed
from imujump.capture.emulated.gatt_face import MTU, GattFace
from imujump.capture.emulated.memory import DeviceClock, HeldPacket, RingBuffer
from imujump.capture.emulated.packet_maker import PacketMaker, samples_that_fit, with_flags
from imujump.capture.emulated.sample_runs import sample_runs
from imujump.capture.link_profile import LinkProfile
from imujump.model import FloatArray, Placement

UNKNOWN_COMMAND_ERROR = 0x80
WRONG_BOOT_ERROR = 0x81
UNKNOWN_RATE_ERROR = 0x82
"""ATT application errors of the control characteristic (README, "Build a sensor")."""

BOOT_S = 0.5
"""How long a restart keeps the sensor off the air (own choice)."""

REPLAY_BURST = 3
REPLAY_PAUSE_S = 0.01
"""Replayed packets sent at once, and the pause after them: about 300 a second, 38 kB, well below
what a link of one megabit carries, so that live packets are not held up (own choice)."""


@dataclass(frozen=True, slots=True)
class SensorSettings:
    """How a sensor is built.

    ``jitter_s`` is the mean of a random delay of everything the firmware does;
    ``number_samples`` writes the sample number into the first channel; ``keep_packets`` keeps
    all packets made, for tests.
    """

    placement: Placement
    serial: str
    skew_ppm: float = 0.0
    jitter_s: float = 0.0
    samples_per_packet: int = 10
    buffer_s: float = 60.0
    number_samples: bool = False
    keep_packets: bool = False
    battery_percent: int = 90


class EmulatedSensor:
    """A sensor with its stack, and the handle by which a test makes things go wrong.

    Parameters
    ----------
    settings : SensorSettings
        How it is built.
    profile : LinkProfile
        How it talks.
    feed : SampleFeed
        What it measures.
    controller, air : SensorController, AirLink
        Where it runs.
    generator : numpy.random.Generator
        Source of all chance.
    feed_starts_s : callable
        Loop time of feed time 0, None while that is still open.
    on_start : callable
        Told when it begins to measure.
    """

    def __init__(
        self,
        settings: SensorSettings,
        profile: LinkProfile,
        feed: SampleFeed,
        controller: SensorController,
        air: AirLink,
        generator: np.random.Generator,
        feed_starts_s: Callable[[], float | None],
        on_start: Callable[[], None],
    ) -> None:
        self.settings = settings
        self.serial = settings.serial
        self.battery_percent = settings.battery_percent
        self.made: list[bytes] = []
        self._profile = profile
        self._maker = PacketMaker(profile)
        self._feed = feed
        self._controller = controller
        self._air = air
        self._generator = generator
        self._feed_starts_s = feed_starts_s
        self._on_start = on_start
        self._face = GattFace(profile, self, controller, settings.serial)
        self._ring = RingBuffer(math.ceil(settings.buffer_s * feed.rate_hz))
        self._boot(asyncio.get_running_loop().time())
        self._measuring: asyncio.Task[None] | None = None
        self._replaying: asyncio.Task[None] | None = None
        self._later: set[asyncio.Task[None]] = set()
        self._stalled_until_s = -math.inf

    @property
    def off_air(self) -> bool:
        """Whether nothing gets through to it at present."""
        return self._controller.air.silent(asyncio.get_running_loop().time())

    # --- what a test can do to it -------------------------------------------------------

    def drop_link(self, duration_s: float = 0.0) -> None:
        """Lose the link at once, and be out of reach for a while."""
        self._air.lose(self._controller, duration_s)

    def silence(self, duration_s: float) -> None:
        """Let no radio packet through; the link ends if that outlasts its supervision."""
        self._air.silence(self._controller, duration_s)

    def stall(self, duration_s: float) -> None:
        """Keep the link but send no data."""
        now_s = asyncio.get_running_loop().time()
        self._stalled_until_s = max(self._stalled_until_s, now_s + duration_s)

    def reboot(self) -> None:
        """Restart: new boot id, counters from the start, buffer empty, not measuring."""
        self._cancel(self._measuring, self._replaying)
        self._measuring = self._replaying = None
        self._ring.clear()
        self._air.lose(self._controller, BOOT_S)
        self._boot(asyncio.get_running_loop().time())

    def set_battery(self, percent: int) -> None:
        """Set the charge, and notify it."""
        self.battery_percent = percent
        self._soon(self._face.notify(self._profile.battery_uuid, bytes([percent])))

    def refuse(self, connections: int) -> None:
        """Let the next connections fail to be established."""
        self._controller.air.refusals = connections

    def hide(self, hidden: bool = True) -> None:
        """Stop advertising, as a sensor does that another host holds."""
        self._controller.air.hidden = hidden

    def set_interval(self, interval_s: float, event_loss_ratio: float = 0.0) -> None:
        """Set the connection interval and the share of events lost to interference."""
        self._controller.air.interval_s = interval_s
        self._controller.air.event_loss_ratio = event_loss_ratio

    def set_rssi(self, rssi_dbm: int) -> None:
        """Set the signal strength that scans report."""
        self._controller.air.rssi_dbm = rssi_dbm

    async def facts(self) -> SensorFacts:
        """Return the truth about the sensor."""
        return SensorFacts(
            self.settings.placement,
            self.serial,
            self._boot_id,
            self._clock,
            self._measuring is not None,
            self._face.connected,
            self._next_packet,
            self._next_sample,
            self._overflow,
            self._feed_starts_s(),
            self._feed.length_s,
        )

    # --- what the characteristics do ----------------------------------------------------

    async def switch_on(self) -> None:
        """Start the stack and advertise."""
        await self._face.switch_on()

    async def switch_off(self) -> None:
        """Stop all that runs."""
        tasks = [t for t in (self._measuring, self._replaying, *self._later) if t is not None]
        self._cancel(*tasks)
        for result in await asyncio.gather(*tasks, return_exceptions=True):
            if isinstance(result, Exception):
                raise result

    def on_link(self, up: bool) -> None:
        """Forget a replay that nobody waits for any more."""
        if not up:
            self._cancel(self._replaying)
            self._replaying = None

    async def on_command(self, data: bytes) -> None:
        """Obey start, stop and replay."""
        await self._dawdle()
        for layout in self._profile.replay_request:
            if layout.matches(data):
                self._begin_replay(layout.decode(data))
                return
        for number, layout in enumerate(self._profile.start):
            if layout.matches(data):
                rate_hz = layout.decode(data).get("rate_hz", 0)
                if rate_hz not in (0, round(self._feed.rate_hz)):
                    raise ATT_Error(UNKNOWN_RATE_ERROR)
                if number == len(self._profile.start) - 1:
                    self._begin_measuring()
                return
        for layout in self._profile.stop:
            if layout.matches(data):
                self._cancel(self._measuring)
                self._measuring = None
                self._tell_status()
                return
        raise ATT_Error(UNKNOWN_COMMAND_ERROR)

    def status(self) -> bytes:
        """Value of the status characteristic."""
        assert self._profile.status is not None
        marks = {
            "measuring": self._measuring is not None,
            "overflow": self._overflow,
            "replaying": self._replaying is not None,
        }
        flags = sum(1 << bit for name, bit in self._profile.status_flags.items() if marks[name])
        oldest = self._ring.oldest
        return self._fitted(
            {
                "version": self._profile.version or 0,
                "flags": flags,
                "rate_hz": round(self._feed.rate_hz),
                "boot_id": self._boot_id,
                "oldest_packet": self._next_packet if oldest is None else oldest,
                "next_packet": self._next_packet,
            }
        )

    async def clock(self) -> bytes:
        """Value of the time characteristic: the tick at the instant of the answer."""
        assert self._profile.time is not None
        await self._dawdle()
        tick = self._clock.tick(asyncio.get_running_loop().time())
        bits = self._profile.time.bits("tick") or 64
        value = self._profile.time.encode(
            {"tick": tick & ((1 << bits) - 1), "boot_id": self._boot_id}
        )
        await self._dawdle()
        return value

    # --- inside -------------------------------------------------------------------------

    def _boot(self, now_s: float) -> None:
        self._boot_id = int(self._generator.integers(1, 1 << 32))
        self._clock = DeviceClock(
            now_s,
            self.settings.skew_ppm,
            self._profile.packet.tick_s,
            int(self._generator.integers(0, 1 << 16)),
        )
        self._next_packet = 0
        self._next_sample = 0
        self._overflow = False
        self._tell_overflow = False

    def _fitted(self, values: dict[str, int]) -> bytes:
        """Encode a status, counters cut to the width of their fields."""
        layout = self._profile.status
        assert layout is not None
        widths = {name: layout.bits(name) or 64 for name in values}
        return layout.encode({n: v & ((1 << widths[n]) - 1) for n, v in values.items()})

    def _begin_measuring(self) -> None:
        self._overflow = self._tell_overflow = False
        if self._measuring is None:
            self._measuring = asyncio.create_task(self._measure())
            self._on_start()
        self._tell_status()

    def _begin_replay(self, asked: dict[str, int]) -> None:
        if asked.get("boot_id", self._boot_id) != self._boot_id:
            raise ATT_Error(WRONG_BOOT_ERROR)
        first = asked["first_packet"]
        count = asked.get("packets", self._next_packet - first)
        self._cancel(self._replaying)
        self._replaying = asyncio.create_task(self._replay(first, count))

    async def _replay(self, first: int, count: int) -> None:
        sent = 0
        for index in range(first, min(first + count, self._next_packet)):
            held = self._ring.get(index)
            if held is None:
                continue
            await asyncio.sleep(max(0.0, self._stalled_until_s - asyncio.get_running_loop().time()))
            data = with_flags(self._profile, held.data, ["replayed"])
            held.sent = await self._face.notify(self._profile.replay_uuid, data) or held.sent
            sent += 1
            if sent % REPLAY_BURST == 0:
                await asyncio.sleep(REPLAY_PAUSE_S)
        self._replaying = None
        self._tell_status()

    async def _measure(self) -> None:
        loop = asyncio.get_running_loop()
        runs = sample_runs(self._feed, self._feed_starts_s, self._wanted, loop.time())
        for times_s, values in runs:
            await asyncio.sleep(max(0.0, float(times_s[-1]) - loop.time()))
            await self._dawdle()
            await self._send(times_s, values)

    def _wanted(self) -> int:
        # Until a computer listens its MTU is not known; what it missed it will ask for whole.
        mtu = self._face.mtu if self._face.listens(self._profile.stream_uuid) else MTU
        return samples_that_fit(self._profile, mtu, self.settings.samples_per_packet)

    async def _send(self, times_s: FloatArray, values: FloatArray) -> None:
        data = self._maker.packet(
            self._clock.ticks(times_s),
            self._next_packet,
            values,
            self._next_sample if self.settings.number_samples else None,
        )
        if self.settings.keep_packets:
            self.made.append(data)
        packet = HeldPacket(self._next_packet, data, len(times_s))
        self._next_packet += 1
        self._next_sample += len(times_s)
        if self._ring.add(packet) and not self._overflow:
            self._overflow = self._tell_overflow = True
            self._tell_status()
        if asyncio.get_running_loop().time() < self._stalled_until_s:
            return
        live = with_flags(self._profile, data, ["overflow"]) if self._tell_overflow else data
        packet.sent = await self._face.notify(self._profile.stream_uuid, live)
        if packet.sent:
            self._tell_overflow = False

    async def _dawdle(self) -> None:
        if self.settings.jitter_s > 0.0:
            await asyncio.sleep(float(self._generator.exponential(self.settings.jitter_s)))

    def _tell_status(self) -> None:
        if self._profile.status is not None:
            self._soon(self._face.notify(self._profile.status_uuid, self.status()))

    def _soon(self, work: object) -> None:
        task = asyncio.ensure_future(work)  # type: ignore[call-overload]
        self._later.add(task)
        task.add_done_callback(self._later.discard)

    @staticmethod
    def _cancel(*tasks: asyncio.Task[None] | None) -> None:
        for task in tasks:
            if task is not None:
                with contextlib.suppress(RuntimeError):
                    task.cancel()
