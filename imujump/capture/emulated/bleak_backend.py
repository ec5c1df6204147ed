"""bleak's scanner and client on the rig's Bluetooth host, through bleak's ``backend=``."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any, ClassVar, TypeVar

from bleak.args import SizedBuffer
from bleak.assigned_numbers import gatt_char_props_to_strs
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient, NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, AdvertisementDataCallback, BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import BleakError, BleakGATTProtocolError
from bumble.att import ATT_Error
from bumble.core import UUID, AdvertisingData
from bumble.device import Advertisement, Connection, Peer
from bumble.gatt import Characteristic
from bumble.gatt_client import CharacteristicProxy

from imujump.capture.emulated.central import Central
from imujump.capture.link_tables import full_uuid

T = TypeVar("T")


def backends(central: Central) -> tuple[type[BaseBleakScanner], type[BaseBleakClient]]:
    """Return the scanner and client classes for ``backend=`` that work on one host."""
    scanner = type("EmulatedScanner", (RigScanner,), {"central": central})
    client = type("EmulatedClient", (RigClient,), {"central": central})
    return scanner, client


def _long(uuid: UUID) -> str:
    """Return a UUID as bleak writes it."""
    text = uuid.to_hex_str("-").lower()
    return full_uuid(text) or text


class RigScanner(BaseBleakScanner):
    """Scans on the rig's host."""

    central: ClassVar[Central]

    def __init__(
        self,
        detection_callback: AdvertisementDataCallback | None,
        service_uuids: list[str] | None,
        scanning_mode: str = "active",
        **_kwargs: Any,
    ) -> None:
        super().__init__(detection_callback, service_uuids)

    async def start(self) -> None:
        """Start scanning."""
        self.seen_devices = {}
        await self.central.start_scan(self._on_advertisement)

    async def stop(self) -> None:
        """Stop scanning."""
        await self.central.stop_scan(self._on_advertisement)

    def _on_advertisement(self, heard: Advertisement) -> None:
        kind = AdvertisingData.Type
        uuids: list[str] = []
        for which in (
            kind.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
            kind.COMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS,
        ):
            uuids += [_long(uuid) for uuid in heard.data.get(which) or []]
        name = heard.data.get(kind.COMPLETE_LOCAL_NAME)
        if not self.is_allowed_uuid(uuids):
            return
        data = AdvertisementData(
            local_name=name,
            manufacturer_data={},
            service_data={},
            service_uuids=uuids,
            tx_power=None,
            rssi=heard.rssi,
            platform_data=(heard,),
        )
        address = heard.address.to_string(False)
        device = self.create_or_update_device(address, address, name, heard, data)
        self.call_detection_callbacks(device, data)


class RigClient(BaseBleakClient):
    """A connection on the rig's host."""

    central: ClassVar[Central]

    def __init__(
        self,
        address_or_ble_device: BLEDevice | str,
        *,
        disconnected_callback: Callable[[], None] | None,
        timeout: float,
        **_kwargs: Any,
    ) -> None:
        super().__init__(
            address_or_ble_device, disconnected_callback=disconnected_callback, timeout=timeout
        )
        self._name: str | None = None
        if isinstance(address_or_ble_device, BLEDevice):
            self._name = address_or_ble_device.name
        self._connection: Connection | None = None
        self._peer: Peer | None = None
        self._notified: dict[int, Callable[[bytes], None]] = {}

    @property
    def name(self) -> str:
        """Name from the advertisement, else the address."""
        return self._name or self.address.replace(":", "-")

    @property
    def mtu_size(self) -> int:
        """The agreed MTU."""
        return 23 if self._connection is None else self._connection.att_mtu

    @property
    def is_connected(self) -> bool:
        """Whether the link is up."""
        return self._connection is not None

    async def connect(self, pair: bool, **kwargs: Any) -> None:
        """Connect, agree on the MTU and discover everything; pairing is not needed."""
        timeout_s = float(kwargs.get("timeout", self._timeout))
        async with asyncio.timeout(timeout_s):
            connection = await self.central.connect(self.address, timeout_s)
            self._connection = connection
            connection.on("disconnection", self._on_disconnection)
            try:
                self._peer = Peer(connection)
                await self._asked(self._peer.request_mtu(self.central.mtu))
                self.services = await self._asked(self._discover(self._peer))
            except BaseException:
                await self._leave()
                raise

    async def disconnect(self) -> None:
        """Disconnect; nothing happens when that has been done."""
        await self._leave()

    async def pair(self, *args: Any, **kwargs: Any) -> None:
        """Refuse: the sensors need no pairing."""
        raise NotImplementedError("emulated sensors need no pairing")

    async def unpair(self) -> None:
        """Refuse: the sensors need no pairing."""
        raise NotImplementedError("emulated sensors need no pairing")

    async def read_gatt_char(
        self, characteristic: BleakGATTCharacteristic, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        """Read a characteristic."""
        return await self._read(characteristic.handle)

    async def read_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, *, use_cached: bool = False, **kwargs: Any
    ) -> bytearray:
        """Read a descriptor."""
        return await self._read(descriptor.handle)

    async def write_gatt_char(
        self, characteristic: BleakGATTCharacteristic, data: SizedBuffer, response: bool
    ) -> None:
        """Write a characteristic."""
        await self._write(characteristic.handle, bytes(data), response)

    async def write_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, data: SizedBuffer
    ) -> None:
        """Write a descriptor."""
        await self._write(descriptor.handle, bytes(data), True)

    async def start_notify(
        self,
        characteristic: BleakGATTCharacteristic,
        callback: NotifyCallback,
        **kwargs: Any,
    ) -> None:
        """Subscribe."""
        peer = self._linked()
        if characteristic.handle in self._notified:
            raise BleakError("Characteristic notifications already started")

        def on_value(value: bytes) -> None:
            callback(bytearray(value))

        self._notified[characteristic.handle] = on_value
        await self._asked(peer.gatt_client.subscribe(characteristic.obj, on_value))

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        """Unsubscribe."""
        peer = self._linked()
        on_value = self._notified.pop(characteristic.handle, None)
        if on_value is not None:
            await self._asked(peer.gatt_client.unsubscribe(characteristic.obj, on_value))

    async def _read(self, handle: int) -> bytearray:
        return bytearray(await self._asked(self._linked().gatt_client.read_value(handle)))

    async def _write(self, handle: int, data: bytes, response: bool) -> None:
        peer = self._linked()
        await self._asked(peer.gatt_client.write_value(handle, data, with_response=response))

    def _linked(self) -> Peer:
        if self._peer is None or self._connection is None:
            raise BleakError("Not connected")
        return self._peer

    async def _asked(self, request: Awaitable[T]) -> T:
        """Wait for an answer; bumble cancels what waits when the link goes."""
        try:
            return await request
        except asyncio.CancelledError:
            task = asyncio.current_task()
            if self._connection is None and not (task and task.cancelling()):
                raise BleakError("disconnected") from None
            raise
        except ATT_Error as error:
            raise BleakGATTProtocolError(error.error_code) from error

    async def _leave(self) -> None:
        connection = self._connection
        if connection is not None:
            await connection.disconnect()

    def _on_disconnection(self, _reason: int) -> None:
        self._connection = None
        self._peer = None
        self._notified.clear()
        self.services = None
        if self._disconnected_callback is not None:
            self._disconnected_callback()

    async def _discover(self, peer: Peer) -> BleakGATTServiceCollection:
        found = BleakGATTServiceCollection()
        for service in await peer.discover_services():
            told = BleakGATTService(service, service.handle, _long(service.uuid))
            found.add_service(told)
            for proxy in await service.discover_characteristics():
                await self._add(found, told, proxy)
        return found

    async def _add(
        self,
        found: BleakGATTServiceCollection,
        service: BleakGATTService,
        proxy: CharacteristicProxy[bytes],
    ) -> None:
        characteristic = BleakGATTCharacteristic(
            proxy,
            proxy.handle,
            _long(proxy.uuid),
            list(gatt_char_props_to_strs(int(proxy.properties))),
            lambda: self.mtu_size - 3,
            service,
        )
        found.add_characteristic(characteristic)
        if proxy.properties & Characteristic.Properties.NOTIFY:
            for entry in await proxy.discover_descriptors():
                found.add_descriptor(
                    BleakGATTDescriptor(entry, entry.handle, _long(entry.type), characteristic)
                )
