"""What is said to a sensor in the words of its profile, one thing at a time."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from bleak import BleakClient
from bleak.exc import BleakError

from imujump.capture.events import HostClock
from imujump.capture.finding import read_battery, read_text
from imujump.capture.link_profile import LinkProfile
from imujump.capture.radio_errors import missing_characteristic, radio_call

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Tick:
    """A sensor's counter, with the host's time before the question and after the answer."""

    sent_s: float
    received_s: float
    tick: int
    boot_id: int | None


class Conversation:
    """Talks to a sensor over whatever client there is at the moment.

    Parameters
    ----------
    serial : str
        The sensor's, for messages.
    profile : LinkProfile
        What it understands.
    answer_s : float
        How long to wait for an answer.

    Attributes
    ----------
    client : BleakClient or None
        The connection; None while there is none.

    Notes
    -----
    All methods raise ``BleakError`` or ``OSError`` if there is no link or no answer.
    """

    def __init__(self, serial: str, profile: LinkProfile, answer_s: float) -> None:
        self.client: BleakClient | None = None
        self._serial = serial
        self._profile = profile
        self._answer_s = answer_s
        # An operating system is never asked two things at once.
        self._talking = asyncio.Lock()

    async def ask(self, what: Callable[[BleakClient], Awaitable[T]]) -> T:
        """Say one thing and wait for the answer."""
        async with self._talking:
            client = self.client
            if client is None:
                raise BleakError("not connected")
            with radio_call():
                async with asyncio.timeout(self._answer_s):
                    return await what(client)

    def check_kind(self) -> None:
        """See that the sensor has what its profile names.

        Raises
        ------
        UnknownSensorError
            If it has not.
        """
        profile = self._profile
        for uuid in (profile.stream_uuid, profile.control_uuid, profile.replay_uuid):
            if uuid is not None and not self._has(uuid):
                raise missing_characteristic(self._serial, uuid)

    async def command(self, name: str, **values: int) -> None:
        """Write a command of the profile: start, stop or replay."""
        layouts = {
            "start": self._profile.start,
            "stop": self._profile.stop,
            "replay": self._profile.replay_request,
        }[name]
        for layout in layouts:
            # Counters are cut to the width of their fields, as the sensor's own are.
            fitted = {n: v % (1 << (layout.bits(n) or 64)) for n, v in values.items()}
            await self.ask(
                partial(self._write, str(self._profile.control_uuid), layout.encode(fitted))
            )

    async def serial(self) -> str | None:
        """Read the serial number; None if it has none."""
        return await self.ask(lambda client: read_text(client, self._profile.serial_uuid))

    async def battery(self) -> int | None:
        """Read the charge in percent; None if it does not tell."""
        return await self.ask(lambda client: read_battery(client, self._profile.battery_uuid))

    async def status(self) -> dict[str, int]:
        """Read the status; empty if it has none."""
        uuid, layout = self._profile.status_uuid, self._profile.status
        if uuid is None or layout is None:
            return {}
        return layout.decode(await self.ask(lambda client: client.read_gatt_char(uuid)))

    async def tick(self, clock: HostClock) -> Tick | None:
        """Read the counter; None if it cannot be read."""
        uuid, layout = self._profile.time_uuid, self._profile.time
        if uuid is None or layout is None:
            return None
        answer, sent_s, received_s = await self.ask(partial(_timed, uuid, clock))
        values = layout.decode(answer)
        return Tick(sent_s, received_s, values["tick"], values.get("boot_id"))

    async def subscribe(self, uuid: str, callback: Callable[[Any, bytearray], None]) -> None:
        """Have a characteristic's notifications handed to a callback."""
        await self.ask(lambda client: client.start_notify(uuid, callback))

    async def subscribe_battery(self, callback: Callable[[Any, bytearray], None]) -> None:
        """Have changes of the charge told, if the sensor tells them."""
        found = self._client().services.get_characteristic(self._profile.battery_uuid)
        if found is not None and "notify" in found.properties:
            await self.subscribe(self._profile.battery_uuid, callback)

    def _client(self) -> BleakClient:
        if self.client is None:
            raise BleakError("not connected")
        return self.client

    def _has(self, uuid: str) -> bool:
        return self._client().services.get_characteristic(uuid) is not None

    async def _write(self, uuid: str, data: bytes, client: BleakClient) -> None:
        await client.write_gatt_char(uuid, data, response=self._profile.control_response)


async def _timed(uuid: str, clock: HostClock, client: BleakClient) -> tuple[bytes, float, float]:
    sent_s = clock.now_s()
    answer = await client.read_gatt_char(uuid)
    return bytes(answer), sent_s, clock.stamp_s()
