"""Talks to emulated sensors through bleak's own interface, and nothing of the capture part."""

import asyncio
import contextlib
import time
from dataclasses import dataclass, field

import numpy as np

from imujump.capture.emulated.rig import emulated_sensors
from imujump.model import Placement, RecordingInfo, SensorInfo
from imujump.recording.memory import from_arrays
from imujump.recording.packets import decode_packets

ACCEL_STEP = 32.0 * 9.80665 / 32768
GYRO_STEP = np.radians(2000.0) / 32768
"""One step of our profile, from README's "Build a sensor": ±32 g and ±2000 deg/s in 16 bit,
standard gravity from ISO 80000-3."""


async def found(rig, seconds=0.4):
    """Scan until all sensors are heard, or for a while; devices by their addresses."""
    heard = {}
    everyone = asyncio.Event()

    def on_heard(device, _data):
        heard[device.address] = device
        if len(heard) == len(rig.sensors):
            everyone.set()

    async with rig.scanner_factory(on_heard):
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(everyone.wait(), seconds)
    return [heard[address] for address in sorted(heard)]


@dataclass
class Talk:
    """One client with what it has received: arrival (monotonic seconds) and bytes."""

    rig: object
    device: object
    client: object = None
    live: list = field(default_factory=list)
    replayed: list = field(default_factory=list)
    statuses: list = field(default_factory=list)
    drops: int = 0

    @property
    def profile(self):
        return self.rig.profile

    async def connect(self, timeout=5.0):  # noqa: ASYNC109 - bleak's own name
        self.client = self.rig.client_factory(self.device, self._dropped, timeout=timeout)
        await self.client.connect()
        return self

    async def subscribe(self):
        for uuid, where in (
            (self.profile.stream_uuid, self.live),
            (self.profile.replay_uuid, self.replayed),
            (self.profile.status_uuid, self.statuses),
        ):
            if uuid is not None:
                await self.client.start_notify(uuid, self._keep(where))

    async def start(self, rate_hz=0):
        await self.subscribe()
        for layout in self.profile.start:
            await self.write(layout.encode({"rate_hz": rate_hz}))
        return self

    async def stop(self):
        for layout in self.profile.stop:
            await self.write(layout.encode({}))

    async def write(self, data):
        await self.client.write_gatt_char(
            self.profile.control_uuid, data, response=self.profile.control_response
        )

    async def status(self):
        return self.profile.status.decode(
            await self.client.read_gatt_char(self.profile.status_uuid)
        )

    async def clock(self):
        return self.profile.time.decode(await self.client.read_gatt_char(self.profile.time_uuid))

    async def replay(self, boot_id, first, count):
        (layout,) = self.profile.replay_request
        await self.write(
            layout.encode({"boot_id": boot_id, "first_packet": first, "packets": count})
        )

    def _keep(self, where):
        return lambda _characteristic, data: where.append((time.monotonic(), bytes(data)))

    def _dropped(self, _client):
        self.drops += 1


@contextlib.asynccontextmanager
async def talks(rig, *, start=True):
    """Connect to all sensors one after the other, and start them."""
    open_talks = []
    try:
        for device in await found(rig):
            talk = await Talk(rig, device).connect()
            open_talks.append(talk)
            if start:
                await talk.start()
        yield open_talks
    finally:
        for talk in open_talks:
            with contextlib.suppress(Exception):
                await talk.client.disconnect()


@contextlib.asynccontextmanager
async def one_sensor(source=None, *, start=True, **settings):
    """Run the pelvis sensor alone; its control handle and a connection to it.

    Without a connection interval unless one is named: discovery takes no time then.
    """
    settings.setdefault("interval_s", 0.0)
    async with (
        emulated_sensors(source, placements=[Placement.PELVIS], **settings) as rig,
        talks(rig, start=start) as (talk,),
    ):
        yield rig.sensor("pelvis"), talk


def sequences(packets):
    """Packet counters of our profile."""
    return [int.from_bytes(data[:2], "little") for _, data in packets]


def sample_numbers(packets):
    """Sample numbers written into the first channel, in order of arrival."""
    numbers = []
    for _, data in packets:
        rows = np.frombuffer(data[8:], dtype="<u2").reshape(-1, 6)
        numbers += rows[:, 0].tolist()
    return numbers


def decoded(profile, packets):
    """Ticks (n,) and SI values (n, 6) of packets of any lengths."""
    ticks, values = [], []
    for _, data in packets:
        one = decode_packets(profile.packet, np.frombuffer(data, dtype=np.uint8)[np.newaxis])
        ticks.append(one.raw_ticks[0])
        values.append(one.values[0])
    return np.concatenate(ticks), np.concatenate(values)


async def until(condition, seconds=5.0):
    """Wait for a condition; fail when it does not come."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "what was waited for did not happen"
        await asyncio.sleep(0.01)


def drawn_recording(seconds=1.5, rate_hz=200.0, gap_at=None, seed=3):
    """A recording of random whole steps, so that every byte of it is known.

    Returns the source and each sensor's raw steps (n, 6).
    """
    generator = np.random.default_rng(seed)
    count = int(seconds * rate_hz)
    sensors, channels, raw = [], {}, {}
    for placement in Placement:
        steps = generator.integers(-32767, 32767, (count, 6))
        ticks = (np.arange(count) * 1e6 / rate_hz).astype(np.int64)
        if gap_at is not None:
            ticks[gap_at:] += 40_000
        raw[placement] = steps
        channels[placement] = (ticks, steps[:, :3] * ACCEL_STEP, steps[:, 3:] * GYRO_STEP)
        sensors.append(SensorInfo(placement, placement.value, rate_hz, 1e-6))
    return from_arrays(RecordingInfo(tuple(sensors)), channels), raw
