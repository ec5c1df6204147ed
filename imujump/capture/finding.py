"""Finds sensors: who advertises, of which kind, with which serial number, worn where."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from bleak import BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData

from imujump.capture.link_profile import LinkProfile
from imujump.capture.link_state import Timings
from imujump.capture.profile_book import recognise
from imujump.capture.radio_errors import (
    RADIO_FAULTS,
    connect_error,
    radio_call,
    radio_error,
    unknown_kind,
)
from imujump.errors import BluetoothError, SensorNotFoundError, WrongPlacementError
from imujump.model import Placement
from imujump.recording.placements import placement_of

SCAN_S = 5.0
"""How long a search listens: own choice, many times a sensor's advertising interval."""

TRIES = 2
"""Attempts to ask a sensor for its serial number."""


@dataclass(frozen=True, slots=True)
class Radio:
    """How scanners and clients are made: bleak's own, or the emulated ones of a rig."""

    scanner: Callable[..., BleakScanner] = BleakScanner
    client: Callable[..., BleakClient] = BleakClient

    @classmethod
    def on(cls, adapter: str | None) -> Radio:
        """Return the system's radio on an adapter such as ``hci1``; None lets the system choose.

        Only Linux lets a program choose; elsewhere the name changes nothing.
        """
        if adapter is None:
            return cls()
        return cls(scanner=partial(BleakScanner, bluez={"adapter": adapter}))


@dataclass(frozen=True, slots=True)
class FoundSensor:
    """A sensor that was found.

    ``address`` is what the system calls it (on macOS not its true address), good for this
    session only; ``serial`` tells sensors apart. ``problem`` is one sentence when it could
    not be asked, and ``serial`` is then its address.
    """

    serial: str
    name: str
    address: str
    profile: LinkProfile
    placement: Placement | None = None
    battery_percent: int | None = None
    rssi_dbm: int | None = None
    problem: str | None = None

    def at_rate(self, rate_hz: float | None) -> FoundSensor:
        """Return the sensor with its profile at a rate; as it is without one.

        Raises
        ------
        ValueError
            If the sensor has no such rate.
        """
        if rate_hz is None:
            return self
        return replace(self, profile=self.profile.at_rate(rate_hz))


async def find_sensors(
    profiles: Sequence[LinkProfile],
    remembered: Mapping[str, Placement],
    radio: Radio | None = None,
    scan_s: float = SCAN_S,
    enough: int | None = None,
    timings: Timings | None = None,
) -> tuple[FoundSensor, ...]:
    """Listen for sensors, then ask each for its serial number and battery.

    Parameters
    ----------
    profiles : sequence of LinkProfile
        The kinds of sensors to look for.
    remembered : mapping of serial number to Placement
        Where sensors are worn; one that is not in it is placed by its name, if that tells.
    radio : Radio, optional
        How to reach them.
    scan_s : float
        How long to listen.
    enough : int, optional
        Stop listening once this many have been heard.
    timings : Timings, optional
        How long to wait for answers.

    Returns
    -------
    tuple of FoundSensor
        Strongest first; empty if none was heard.

    Raises
    ------
    BluetoothError
        If there is no adapter, Bluetooth is off, or the system does not permit its use.
    """
    radio = radio or Radio()
    heard = await _listen(profiles, radio, scan_s, enough)
    found = []
    for device, profile, heard_name, rssi_dbm in heard:
        sensor = FoundSensor(device.address, heard_name, device.address, profile, rssi_dbm=rssi_dbm)
        sensor = await _asked(sensor, device, radio, timings or Timings())
        placement = remembered.get(sensor.serial) or placement_of(sensor.name)
        found.append(replace(sensor, placement=placement))
    return tuple(sorted(found, key=lambda each: -(each.rssi_dbm or -999)))


def chosen_sensors(
    found: Sequence[FoundSensor], chosen: Mapping[str, Placement] | None = None
) -> tuple[FoundSensor, ...]:
    """Settle which sensors are worn where.

    Parameters
    ----------
    found : sequence of FoundSensor
        What :func:`find_sensors` returned.
    chosen : mapping of serial number or name to Placement, optional
        The user's word, which goes before what is remembered. Sensors that it does not name
        are left out; without it all that have a placement are used.

    Returns
    -------
    tuple of FoundSensor
        Each with a placement, each placement once.

    Raises
    ------
    SensorNotFoundError
        If one that was chosen was not heard, or none is left.
    WrongPlacementError
        If two are worn at one place, or a sensor's place is not known.
    """
    taken = []
    if chosen is None:
        unplaced = [sensor for sensor in found if sensor.placement is None]
        if unplaced:
            raise WrongPlacementError(
                unplaced[0].serial,
                "it is not known where this sensor is worn",
                "say so once, or switch it off if nobody wears it",
            )
        taken = list(found)
    else:
        for label, placement in chosen.items():
            match = [s for s in found if label in (s.serial, s.name, s.address)]
            if not match:
                raise not_heard(label)
            taken.append(replace(match[0], placement=placement))
    if not taken:
        raise not_heard("sensors")
    for place in Placement:
        same = [sensor.serial for sensor in taken if sensor.placement is place]
        if len(same) > 1:
            raise WrongPlacementError(
                " and ".join(same),
                f"both are entered as worn at the {place.replace('_', ' ')}",
                "say which one is, or switch off the other",
            )
    return tuple(taken)


def not_heard(sensor: str) -> SensorNotFoundError:
    """Say that a sensor does not advertise."""
    return SensorNotFoundError(
        sensor,
        "no sensor was heard",
        "switch it on, bring it close and end its connection to other phones and computers",
    )


async def find_kind(
    name: str, profiles: Sequence[LinkProfile], radio: Radio | None = None, scan_s: float = SCAN_S
) -> LinkProfile:
    """Return the kind of a device that the user names.

    Raises
    ------
    UnknownSensorError
        If no profile describes it.
    SensorNotFoundError
        If it is not heard.
    BluetoothError
        If the computer's Bluetooth cannot be used.
    """
    kinds: list[LinkProfile | None] = []
    heard = asyncio.Event()

    def on_advertisement(device: BLEDevice, data: AdvertisementData) -> None:
        if name in (device.address, data.local_name, device.name):
            kinds.append(recognise(profiles, data.local_name, data.service_uuids))
            heard.set()

    async with scanning(radio or Radio(), on_advertisement):
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(scan_s):
                await heard.wait()
    if not kinds:
        raise not_heard(name)
    if kinds[0] is None:
        raise unknown_kind(name)
    return kinds[0]


@contextlib.asynccontextmanager
async def scanning(radio: Radio, heard: Callable[[BLEDevice, AdvertisementData], None]) -> Any:
    """Scan while the context is open; stopped on every way out.

    Raises
    ------
    BluetoothError
        If the computer's Bluetooth cannot be used.
    """
    scanner = None
    try:
        with radio_call():
            scanner = radio.scanner(detection_callback=heard)
            await scanner.start()
    except RADIO_FAULTS as error:
        raise _radio_fault(error) from error
    try:
        yield
    finally:
        # A scan that cannot be stopped has stopped: the radio is gone.
        with contextlib.suppress(*RADIO_FAULTS), radio_call():
            await asyncio.shield(scanner.stop())


def _radio_fault(error: BaseException) -> BluetoothError:
    return radio_error(error) or BluetoothError(
        f"Bluetooth cannot search for sensors ({error})",
        "switch Bluetooth off and on and start again",
    )


async def _listen(
    profiles: Sequence[LinkProfile], radio: Radio, scan_s: float, enough: int | None
) -> list[tuple[BLEDevice, LinkProfile, str, int]]:
    heard: dict[str, tuple[BLEDevice, LinkProfile, str, int]] = {}
    done = asyncio.Event()

    def on_advertisement(device: BLEDevice, data: AdvertisementData) -> None:
        profile = recognise(profiles, data.local_name, data.service_uuids)
        if profile is not None:
            label = data.local_name or device.name or device.address
            heard[device.address] = (device, profile, label, data.rssi)
            if enough is not None and len(heard) >= enough:
                done.set()

    async with scanning(radio, on_advertisement):
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(scan_s):
                await done.wait()
    return list(heard.values())


async def _asked(
    sensor: FoundSensor, device: BLEDevice, radio: Radio, timings: Timings
) -> FoundSensor:
    """Connect, read serial number and battery, disconnect."""
    problem: str | None = None
    for attempt in range(TRIES):
        client = radio.client(device, timeout=timings.connect_s)
        try:
            with radio_call():
                await client.connect()
                async with asyncio.timeout(timings.answer_s):
                    serial = await read_text(client, sensor.profile.serial_uuid)
                    battery = await read_battery(client, sensor.profile.battery_uuid)
            return replace(
                sensor, serial=serial or sensor.serial, battery_percent=battery, problem=None
            )
        except RADIO_FAULTS as error:
            fault = connect_error(sensor.name, error)
            if isinstance(fault, BluetoothError):
                raise fault from error
            problem = str(fault)
            await asyncio.sleep(timings.rest_s * (attempt + 1))
        finally:
            await let_go(client, timings.answer_s)
    return replace(sensor, problem=problem)


async def let_go(client: BleakClient, limit_s: float) -> None:
    """Disconnect whatever happens: a link left open bars the way for the next one."""

    async def disconnect() -> None:
        with contextlib.suppress(*RADIO_FAULTS), radio_call():
            async with asyncio.timeout(limit_s):
                await client.disconnect()

    task = asyncio.ensure_future(disconnect())
    cancelled: asyncio.CancelledError | None = None
    while not task.done():
        try:
            await asyncio.wait([task])
        except asyncio.CancelledError as error:
            cancelled = error
    if cancelled is not None:
        raise cancelled


async def read_text(client: BleakClient, uuid: str) -> str | None:
    """Read a text; None if the sensor has none or it is empty."""
    if client.services.get_characteristic(uuid) is None:
        return None
    data = bytes(await client.read_gatt_char(uuid))
    return data.decode("utf-8", "replace").strip("\0 ") or None


async def read_battery(client: BleakClient, uuid: str) -> int | None:
    """Read the battery's charge in percent; None if the sensor does not tell."""
    if client.services.get_characteristic(uuid) is None:
        return None
    data = bytes(await client.read_gatt_char(uuid))
    return data[0] if data and data[0] <= 100 else None
