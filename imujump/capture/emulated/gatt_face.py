"""A sensor as a computer sees it: services and characteristics on a virtual controller."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Protocol

from bumble.att import ATT_READ_NOT_PERMITTED_ERROR, ATT_Error
from bumble.core import UUID, AdvertisingData
from bumble.device import Connection, Device, DeviceConfiguration
from bumble.gatt import (
    GATT_BATTERY_SERVICE,
    GATT_DEVICE_INFORMATION_SERVICE,
    Characteristic,
    CharacteristicValue,
    Service,
)
from bumble.host import Host

from imujump.capture.emulated.air import SensorController
from imujump.capture.link_profile import LinkProfile
from imujump.capture.link_tables import STANDARD_TAIL

MTU = 247
"""Largest ATT MTU a sensor agrees to (one link-layer packet of 251 bytes)."""

ADVERTISING_MS = 100.0
_SLOT_MS = 0.625

_MANUFACTURER_UUID, _MODEL_UUID, _FIRMWARE_UUID = "2a29", "2a24", "2a26"
_Properties = Characteristic.Properties


class Behaviour(Protocol):
    """What lies behind the characteristics."""

    serial: str
    battery_percent: int

    def on_link(self, up: bool) -> None:
        """Learn that a computer has connected or gone."""

    async def on_command(self, data: bytes) -> None:
        """Obey a write to the control characteristic, or raise an ATT error."""

    def status(self) -> bytes:
        """Value of the status characteristic."""
        ...

    async def clock(self) -> bytes:
        """Value of the time characteristic."""
        ...


class GattFace:
    """Serves one sensor's profile.

    Parameters
    ----------
    profile : LinkProfile
        Which characteristics there are.
    behaviour : Behaviour
        What answers.
    controller : SensorController
        The virtual controller to run on.
    name : str
        Name in the advertisement.
    """

    def __init__(
        self, profile: LinkProfile, behaviour: Behaviour, controller: SensorController, name: str
    ) -> None:
        self._profile = profile
        self._behaviour = behaviour
        self._connection: Connection | None = None
        self._notified: dict[str, Characteristic[bytes]] = {}
        self._subscribed: set[str] = set()
        host = Host(controller_source=controller, controller_sink=controller)
        config = DeviceConfiguration(name=name, address=controller.random_address, keystore=None)
        self._device = Device(config=config, host=host)
        self._device.gatt_server.max_mtu = MTU
        self._device.add_services(self._services())
        self._device.on("connection", self._on_connection)
        self._name = name

    @property
    def connected(self) -> bool:
        """Whether a computer is connected."""
        return self._connection is not None

    @property
    def mtu(self) -> int:
        """The agreed MTU, or what will be agreed."""
        return MTU if self._connection is None else self._connection.att_mtu

    async def switch_on(self) -> None:
        """Start the stack and advertise."""
        await self._device.power_on()
        uuid = _uuid(self._profile.advertised_uuid)
        short = len(uuid.to_bytes()) == 2
        kind = AdvertisingData.Type
        entries: list[tuple[int, bytes]] = [
            (kind.FLAGS, bytes([0x06])),
            (
                kind.COMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS
                if short
                else kind.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
                bytes(uuid),
            ),
        ]
        # The name stands here and not in a scan response, or a passive scan would miss it;
        # 31 bytes leave 8 for it beside a long UUID.
        used = sum(2 + len(value) for _, value in entries)
        label = self._name.encode("utf-8")[: 31 - used - 2]
        entries.append((kind.COMPLETE_LOCAL_NAME, label))
        await self._device.start_advertising(
            auto_restart=True,
            advertising_data=bytes(AdvertisingData(entries)),
            # The virtual controller takes the number of slots for milliseconds.
            advertising_interval_min=ADVERTISING_MS * _SLOT_MS,
            advertising_interval_max=ADVERTISING_MS * _SLOT_MS,
        )

    def listens(self, uuid: str | None) -> bool:
        """Tell whether the computer has subscribed to a characteristic."""
        return uuid in self._subscribed and self._connection is not None

    async def notify(self, uuid: str | None, value: bytes) -> bool:
        """Notify a value; tell whether it went out whole."""
        connection = self._connection
        if uuid is None or connection is None or uuid not in self._subscribed:
            return False
        if len(value) > connection.att_mtu - 3:
            return False
        await self._device.gatt_server.notify_subscriber(connection, self._notified[uuid], value)
        return True

    def _on_connection(self, connection: Connection) -> None:
        self._connection = connection
        self._subscribed.clear()

        def gone(_reason: int) -> None:
            if self._connection is connection:
                self._connection = None
                self._subscribed.clear()
                self._behaviour.on_link(False)

        connection.on("disconnection", gone)
        self._behaviour.on_link(True)

    def _services(self) -> list[Service]:
        profile, behaviour = self._profile, self._behaviour
        own = [self._characteristic(profile.stream_uuid, _Properties.NOTIFY)]
        if profile.replay_uuid not in (None, profile.stream_uuid):
            own.append(self._characteristic(profile.replay_uuid, _Properties.NOTIFY))
        if profile.control_uuid is not None:
            how = (
                _Properties.WRITE
                if profile.control_response
                else (_Properties.WRITE | _Properties.WRITE_WITHOUT_RESPONSE)
            )
            own.append(self._characteristic(profile.control_uuid, how, write=behaviour.on_command))
        if profile.status_uuid is not None:
            how = _Properties.READ | _Properties.NOTIFY
            own.append(
                self._characteristic(profile.status_uuid, how, read=lambda: behaviour.status())
            )
        if profile.time_uuid is not None:
            own.append(
                self._characteristic(profile.time_uuid, _Properties.READ, read=behaviour.clock)
            )
        battery = self._characteristic(
            profile.battery_uuid,
            _Properties.READ | _Properties.NOTIFY,
            read=lambda: bytes([behaviour.battery_percent]),
        )
        texts = {
            profile.serial_uuid: behaviour.serial,
            _MANUFACTURER_UUID: "imujump",
            _MODEL_UUID: profile.name,
            _FIRMWARE_UUID: "emulated",
        }
        information = [
            Characteristic(
                _uuid(uuid), _Properties.READ, Characteristic.READABLE, text.encode("utf-8")
            )
            for uuid, text in texts.items()
        ]
        return [
            Service(_uuid(profile.service_uuid), own),
            Service(GATT_BATTERY_SERVICE, [battery]),
            Service(GATT_DEVICE_INFORMATION_SERVICE, information),
        ]

    def _characteristic(
        self,
        uuid: str | None,
        properties: Characteristic.Properties,
        *,
        read: Callable[[], bytes | Awaitable[bytes]] | None = None,
        write: Callable[[bytes], Awaitable[None]] | None = None,
    ) -> Characteristic[bytes]:
        assert uuid is not None

        async def on_read(_connection: Connection) -> bytes:
            if read is None:
                raise ATT_Error(ATT_READ_NOT_PERMITTED_ERROR)
            value = read()
            return value if isinstance(value, bytes) else await value

        async def on_write(_connection: Connection, value: bytes) -> None:
            if write is not None:
                await write(value)

        permissions = Characteristic.READABLE
        if write is not None:
            permissions |= Characteristic.WRITEABLE
        value: CharacteristicValue[bytes] = CharacteristicValue(read=on_read, write=on_write)
        characteristic: Characteristic[bytes] = Characteristic(
            _uuid(uuid), properties, permissions, value
        )
        if properties & _Properties.NOTIFY:
            self._notified[uuid] = characteristic

            def on_subscription(_bearer: object, notify: bool, _indicate: bool) -> None:
                (self._subscribed.add if notify else self._subscribed.discard)(uuid)

            characteristic.on("subscription", on_subscription)
        return characteristic


def _uuid(text: str) -> UUID:
    """Return a UUID, in its short form where it is an assigned number."""
    short = text.lower().removesuffix(STANDARD_TAIL)
    return UUID(short[-4:] if short.startswith("0000") and short != text.lower() else text)
