"""Runs a crew on emulated sensors and notes all that comes out."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from imujump.capture.crew import Crew
from imujump.capture.events import CapturedPacket, ClockReading, SensorState, StatusChange
from imujump.capture.finding import FoundSensor, Radio
from imujump.capture.link_state import Timings
from imujump.model import Placement, SampleBatch
from imujump.recording.in_order import SampleOrder
from imujump.recording.sequence import PacketNumbers

QUICK = Timings(rest_s=0.05, radio_retry_s=0.2, first_ping_s=0.05, ping_s=0.5)


def radio_of(rig):
    return Radio(rig.scanner_factory, rig.client_factory)


def crew_of(rig, radio=None, timings=QUICK, **more):
    """A crew of all the rig's sensors, as a search would have found them."""
    found = [
        FoundSensor(
            sensor.serial,
            sensor.serial,
            sensor._controller.random_address.to_string(False),
            rig.profile,
            place,
        )
        for place, sensor in rig.sensors.items()
    ]
    return Crew(found, radio=radio or radio_of(rig), timings=timings, **more)


@dataclass
class Captured:
    """All events of a session, and the sensors' states at its end."""

    events: list[object] = field(default_factory=list)
    states: dict[Placement, SensorState] = field(default_factory=dict)

    def packets(self, place):
        return [e for e in self.events if isinstance(e, CapturedPacket) and e.placement is place]

    def rows(self, place, kind):
        return [
            e.detail
            for e in self.events
            if isinstance(e, StatusChange) and (e.placement, e.kind) == (place, kind)
        ]

    def readings(self, place):
        return [e for e in self.events if isinstance(e, ClockReading) and e.placement is place]

    def numbers(self, place, profile):
        """Packet numbers as sent, in the order of arrival."""
        read = PacketNumbers(profile.packet)
        return [read.raw(packet.data) for packet in self.packets(place)]

    def batches(self, profile):
        order = SampleOrder([(place, profile.packet) for place in self.states])
        out = [each for event in self.events for each in order.take(event)] + order.finish()
        return [each for each in out if isinstance(each, SampleBatch)]


async def all_linked(crew, limit_s=15.0):
    async with asyncio.timeout(limit_s):
        while not all(state.linked for state in crew.states):  # noqa: ASYNC110
            await asyncio.sleep(0.05)


async def capture(crew, script: Callable[[], object] | None = None):
    """Capture until the script has run its course; it begins when all sensors are linked."""
    found = Captured()

    async def direct():
        await all_linked(crew)
        if script is not None:
            await script()
        crew.end()

    async with crew:
        directing = asyncio.create_task(direct())
        async for event in crew:
            found.events.append(event)
        await directing
        found.states = {state.placement: state for state in crew.states}
    await asyncio.sleep(0.1)  # until the good-bye is on the air
    return found


def placed(found, worn):
    """Place found sensors by a mapping of serial numbers."""
    return [replace(sensor, placement=worn.get(sensor.serial)) for sensor in found]
