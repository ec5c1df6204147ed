"""Emulated sensors and the computer's Bluetooth, ready for bleak: the rig of all tests."""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from typing import Any, Generic, TypeVar

from bleak import BleakClient, BleakScanner
from bleak.backends.device import BLEDevice
from bleak.exc import BleakBluetoothNotAvailableReason

from imujump.capture.emulated.air import CentralController
from imujump.capture.emulated.bleak_backend import backends
from imujump.capture.emulated.central import ADDRESS, Central
from imujump.capture.emulated.control import SensorControl
from imujump.capture.emulated.sensor import EmulatedSensor
from imujump.capture.emulated.sensors_on_air import Source, sensors_on_air
from imujump.capture.emulated.settings import RigSettings
from imujump.capture.link_profile import LinkProfile
from imujump.model import Placement

Sensor = TypeVar("Sensor", bound=SensorControl)


class Rig(Generic[Sensor]):
    """Emulated sensors, and a scanner and clients that reach them.

    Attributes
    ----------
    profile : LinkProfile
        What all sensors speak, at the rate they measure.
    sensors : mapping
        The sensors by where they are worn.
    scanner_backend, client_backend : type
        For ``backend=`` of :class:`bleak.BleakScanner` and :class:`bleak.BleakClient`.
    """

    def __init__(
        self, profile: LinkProfile, central: Central, sensors: Mapping[Placement, Sensor]
    ) -> None:
        self.profile = profile
        self.sensors = sensors
        self._central = central
        self.scanner_backend, self.client_backend = backends(central)

    def sensor(self, placement: Placement | str) -> Sensor:
        """Return the sensor worn there."""
        return self.sensors[Placement(placement)]

    def scanner_factory(self, *args: Any, **kwargs: Any) -> BleakScanner:
        """Make a scanner; takes what :class:`bleak.BleakScanner` takes."""
        return BleakScanner(*args, **kwargs, backend=self.scanner_backend)

    def client_factory(self, device: BLEDevice | str, *args: Any, **kwargs: Any) -> BleakClient:
        """Make a client; takes what :class:`bleak.BleakClient` takes."""
        return BleakClient(device, *args, **kwargs, backend=self.client_backend)

    def break_adapter(self, reason: BleakBluetoothNotAvailableReason | None) -> None:
        """Let Bluetooth appear unavailable, or available again with None."""
        self._central.problem = reason

    def limit_mtu(self, mtu: int) -> None:
        """Let new connections agree on no more than this ATT MTU."""
        self._central.mtu = mtu


@asynccontextmanager
async def emulated_sensors(
    source: Source = None, *, profile: LinkProfile | None = None, **settings: Any
) -> AsyncIterator[Rig[EmulatedSensor]]:
    """Run emulated sensors in this event loop for as long as the context is open.

    Parameters
    ----------
    source : Athlete, SampleSource, path or None
        Who wears them: an athlete, or a recording of any kind. None: an athlete drawn from
        the seed. A recording begins once all sensors have been started, and its last sample
        is held after its end.
    profile : LinkProfile, optional
        What they speak; our own by default.
    **settings
        The fields of :class:`imujump.capture.emulated.settings.RigSettings`.

    Yields
    ------
    Rig
        Factories for bleak's scanner and client, and the sensors.

    Raises
    ------
    RecordingError
        If the recording cannot be used.
    """
    async with sensors_on_air(source, profile, RigSettings(**settings)) as on_air:
        computer = CentralController("computer", on_air.air, ADDRESS)
        central = Central(computer, computer)
        await central.switch_on()
        try:
            yield Rig(on_air.profile, central, on_air.sensors)
        finally:
            await central.switch_off()
