"""The computer's end: one Bluetooth host that all scanners and clients of a rig share."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakError,
)
from bumble.core import BaseBumbleError
from bumble.device import Advertisement, Connection, Device, DeviceConfiguration
from bumble.device import ConnectionParametersPreferences as Preferences
from bumble.hci import Address, HCI_LE_Create_Connection_Cancel_Command, Phy
from bumble.host import Host
from bumble.transport.common import TransportSink, TransportSource

ADDRESS = "C4:5A:00:00:00:01"
SCAN_MS = 60.0
SUPERVISION_MS = 2000

MTU = 247
"""What clients ask for: one link-layer packet of 251 bytes holds it (own choice)."""

Listener = Callable[[Advertisement], None]


class Central:
    """A Bluetooth host on a virtual controller, in this process or at the end of a socket.

    Parameters
    ----------
    source, sink : TransportSource, TransportSink
        Where HCI packets come from and go to.

    Attributes
    ----------
    problem : BleakBluetoothNotAvailableReason or None
        Why Bluetooth is to appear unavailable.
    mtu : int
        The ATT MTU that clients ask for.
    """

    def __init__(self, source: TransportSource, sink: TransportSink) -> None:
        config = DeviceConfiguration(name="computer", address=Address(ADDRESS))
        self.device = Device(
            config=config, host=Host(controller_source=source, controller_sink=sink)
        )
        self.problem: BleakBluetoothNotAvailableReason | None = None
        self.mtu = MTU
        self._listeners: list[Listener] = []
        self._connecting = False
        self.device.on("advertisement", self._on_advertisement)

    async def switch_on(self) -> None:
        """Start the host."""
        await self.device.power_on()

    async def start_scan(self, listener: Listener) -> None:
        """Hand advertisements to a listener."""
        self._check()
        if self._connecting:
            raise BleakError("[org.bluez.Error.InProgress] Operation already in progress")
        self._listeners.append(listener)
        if len(self._listeners) == 1:
            await self.device.start_scanning(
                legacy=True, active=False, scan_interval=SCAN_MS, scan_window=SCAN_MS
            )

    async def stop_scan(self, listener: Listener) -> None:
        """Stop handing them over."""
        if listener in self._listeners:
            self._listeners.remove(listener)
            if not self._listeners:
                await self.device.stop_scanning(legacy=True)

    async def connect(self, address: str, timeout_s: float) -> Connection:
        """Connect; one at a time, as operating systems have it.

        Raises
        ------
        BleakError
            If another connect is under way, or the connection fails.
        TimeoutError
            If the sensor does not answer in time.
        """
        self._check()
        if self._connecting:
            raise BleakError("[org.bluez.Error.InProgress] Operation already in progress")
        peer = Address(address)
        if self.device.find_connection_by_bd_addr(peer) is not None:
            raise BleakError(f"{address} is already connected")
        self._connecting = True
        try:
            preferences = Preferences(supervision_timeout=SUPERVISION_MS)
            return await self.device.connect(
                peer,
                connection_parameters_preferences={Phy.LE_1M: preferences},
                timeout=timeout_s,
            )
        except asyncio.CancelledError:
            await self._abandon(peer)
            raise
        except TimeoutError as error:
            raise TimeoutError(f"{address} did not answer") from error
        except BaseBumbleError as error:
            raise BleakError(f"{address}: {error}") from error
        finally:
            self._connecting = False

    async def switch_off(self) -> None:
        """End all connections."""
        for connection in list(self.device.connections.values()):
            await connection.disconnect()

    async def _abandon(self, peer: Address) -> None:
        await self.device.host.send_sync_command(HCI_LE_Create_Connection_Cancel_Command())
        await asyncio.sleep(0)
        connection = self.device.find_connection_by_bd_addr(peer)
        if connection is not None:
            await connection.disconnect()

    def _check(self) -> None:
        if self.problem is not None:
            raise BleakBluetoothNotAvailableError("Bluetooth is not available", self.problem)

    def _on_advertisement(self, advertisement: Advertisement) -> None:
        for listener in list(self._listeners):
            listener(advertisement)
