"""The air between virtual controllers: connection events, silence, lost and refused links."""

from __future__ import annotations

import asyncio
import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from bumble import hci, ll
from bumble.controller import Controller
from bumble.core import PhysicalTransport
from bumble.link import LocalLink

ACL_BYTES = 251
"""Payload of a link-layer packet with data length extension (Bluetooth Core, Vol 6 Part B)."""

ESTABLISHMENT_EVENTS = 6
"""Connection events without an answer after which a new connection has failed (same source)."""

SUPERVISION_S = 2.0
"""Time without a packet after which both sides give a connection up (own choice, within the
2 to 4 s a sensor should ask for)."""

_LEGACY_FEATURES = ~(
    hci.LeFeatureMask.LE_EXTENDED_ADVERTISING | hci.LeFeatureMask.LE_PERIODIC_ADVERTISING
)


@dataclass(slots=True)
class AirState:
    """How a sensor is reached over the air.

    ``interval_s`` is the connection interval, 0 for none; ``event_loss_ratio`` the share of
    connection events that interference costs; ``refusals`` how many connections are still to
    fail; ``hidden`` stops its advertisements, as when another host holds it.
    """

    interval_s: float = 0.0075
    event_loss_ratio: float = 0.0
    rssi_dbm: int = -55
    silent_until_s: float = -math.inf
    refusals: int = 0
    hidden: bool = False

    def silent(self, now_s: float) -> bool:
        """Tell whether nothing gets through at an instant of the loop's clock."""
        return now_s < self.silent_until_s


class AirController(Controller):
    """A virtual controller with long packets and legacy advertising."""

    def __init__(self, name: str, link: AirLink, address: str) -> None:
        super().__init__(name, link=link, public_address=hci.Address.ANY)
        self.random_address = hci.Address(address)
        self.le_acl_data_packet_length = ACL_BYTES
        self.le_features = self.le_features & _LEGACY_FEATURES

    def send_hci_packet(self, packet: hci.HCI_Packet) -> None:
        """Hand a packet to the host, without the costly log line of the class above."""
        if self.host is not None:
            asyncio.get_running_loop().call_soon(self.host.on_packet, bytes(packet))


class SensorController(AirController):
    """The controller of an emulated sensor."""

    def __init__(self, name: str, link: AirLink, address: str, air: AirState) -> None:
        super().__init__(name, link, address)
        self.air = air


class CentralController(AirController):
    """The controller of the computer: reports signal strength and can give up connecting."""

    def on_advertising_pdu(self, pdu: ll.AdvInd | ll.AdvExtInd) -> None:
        """Report an advertisement once, and connect when that was asked for."""
        if self.le_scan_enable:
            report = hci.HCI_LE_Advertising_Report_Event.Report(
                event_type=hci.HCI_LE_Advertising_Report_Event.EventType.ADV_IND,
                address_type=pdu.advertiser_address.address_type,
                address=pdu.advertiser_address,
                data=pdu.data,
                rssi=self._air.rssi_dbm(pdu.advertiser_address),
            )
            self.send_hci_packet(hci.HCI_LE_Advertising_Report_Event([report]))
        pending = self.pending_le_connection
        if pending is not None and pending.peer_address == pdu.advertiser_address:
            self.create_le_connection(pdu.advertiser_address)

    def on_hci_le_create_connection_cancel_command(
        self, _command: hci.HCI_LE_Create_Connection_Cancel_Command
    ) -> hci.HCI_StatusReturnParameters:
        """Give up, and say so: a host waits for the failed connection's event."""
        pending, self.pending_le_connection = self.pending_le_connection, None
        if pending is not None:
            event = hci.HCI_LE_Connection_Complete_Event(
                status=hci.HCI_ErrorCode.UNKNOWN_CONNECTION_IDENTIFIER_ERROR,
                connection_handle=0,
                role=hci.Role.CENTRAL,
                peer_address_type=pending.peer_address_type,
                peer_address=pending.peer_address,
                connection_interval=0,
                peripheral_latency=0,
                supervision_timeout=0,
                central_clock_accuracy=0,
            )
            asyncio.get_running_loop().call_soon(self.send_hci_packet, event)
        return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode.SUCCESS)

    def on_hci_reset_command(
        self, _command: hci.HCI_Reset_Command
    ) -> hci.HCI_StatusReturnParameters:
        """Forget a former host's scan and connections; the sensors notice."""
        self.le_scan_enable = False
        self.pending_le_connection = None
        self._air.hang_up(self)
        return hci.HCI_StatusReturnParameters(hci.HCI_ErrorCode.SUCCESS)

    @property
    def _air(self) -> AirLink:
        assert isinstance(self.link, AirLink)
        return self.link


@dataclass(slots=True, eq=False)
class _Contact:
    """What a sensor and a computer have in the air for each other."""

    sensor: SensorController
    anchor_s: float
    waiting: deque[Callable[[], None]] = field(default_factory=deque)
    timer: asyncio.TimerHandle | None = None


class AirLink(LocalLink):
    """Carries packets between controllers at connection events.

    Parameters
    ----------
    generator : numpy.random.Generator
        Source of phases and of lost events.
    supervision_s : float
        Silence that ends a connection.
    """

    def __init__(
        self, generator: np.random.Generator, supervision_s: float = SUPERVISION_S
    ) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._generator = generator
        self._supervision_s = supervision_s
        self._contacts: dict[tuple[SensorController, Controller], _Contact] = {}
        self._timers: set[asyncio.TimerHandle] = set()

    def rssi_dbm(self, address: hci.Address) -> int:
        """Signal strength of a sensor, with the flutter that every radio has."""
        sensor = self._sensor_at(address)
        level = sensor.air.rssi_dbm if sensor else -127
        return int(np.clip(level + self._generator.integers(-3, 4), -127, 20))

    def silence(self, sensor: SensorController, duration_s: float) -> None:
        """Let nothing through; connections end when the silence outlasts supervision."""
        now_s = asyncio.get_running_loop().time()
        until_s = now_s + duration_s
        sensor.air.silent_until_s = max(sensor.air.silent_until_s, until_s)
        if duration_s >= self._supervision_s:
            self._later(self._supervision_s, lambda: self._supervise(sensor))

    def lose(self, sensor: SensorController, duration_s: float) -> None:
        """End a sensor's connections at once and let nothing through for a while."""
        now_s = asyncio.get_running_loop().time()
        sensor.air.silent_until_s = max(sensor.air.silent_until_s, now_s + duration_s)
        self._cut(sensor, hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)

    def hang_up(self, controller: Controller) -> None:
        """End all connections of a controller without telling its own host."""
        for connection in list(controller.le_connections.values()):
            peer = self.find_le_controller(connection.peer_address)
            del controller.le_connections[connection.peer_address]
            mirrored = peer.le_connections.get(connection.self_address) if peer else None
            if peer is not None and mirrored is not None:
                reason = hci.HCI_ErrorCode.REMOTE_USER_TERMINATED_CONNECTION_ERROR
                peer.on_le_disconnected(mirrored, reason)
        for key, contact in self._contacts.items():
            if controller in key:
                contact.waiting.clear()

    def close(self) -> None:
        """Stop all timers."""
        for timer in self._timers:
            timer.cancel()
        for contact in self._contacts.values():
            if contact.timer is not None:
                contact.timer.cancel()
        for controller in self.controllers:
            controller.le_legacy_advertiser.stop()

    def send_acl_data(
        self,
        sender_controller: Controller,
        destination_address: hci.Address,
        transport: PhysicalTransport,
        data: bytes,
    ) -> None:
        """Hand data over at the next connection event."""
        receiver = self.find_le_controller(destination_address)
        if receiver is None:
            return
        source = sender_controller.random_address

        def deliver() -> None:
            if source in receiver.le_connections:
                receiver.on_link_acl_data(source, transport, data)

        self._contact(sender_controller, receiver, deliver)

    def send_ll_control_pdu(
        self, sender_address: hci.Address, receiver_address: hci.Address, packet: ll.ControlPdu
    ) -> None:
        """Hand a link-layer message over at the next connection event."""
        sender = self.find_le_controller(sender_address)
        receiver = self.find_le_controller(receiver_address)
        if sender is None or receiver is None:
            return

        def deliver() -> None:
            if sender_address in receiver.le_connections:
                receiver.on_ll_control_pdu(sender_address, packet)

        self._contact(sender, receiver, deliver)

    def send_advertising_pdu(
        self, sender_controller: Controller, packet: ll.AdvertisingPdu
    ) -> None:
        """Let computers hear sensors, and sensors their connection requests."""
        loop = asyncio.get_running_loop()
        if isinstance(packet, ll.ConnectInd):
            self._request(sender_controller, packet)
        elif isinstance(sender_controller, SensorController):
            air = sender_controller.air
            if air.hidden or air.silent(loop.time()):
                return
            for controller in self.controllers:
                if isinstance(controller, CentralController):
                    loop.call_soon(controller.on_ll_advertising_pdu, packet)

    def _request(self, central: Controller, packet: ll.ConnectInd) -> None:
        sensor = self._sensor_at(packet.advertiser_address)
        if sensor is None:
            return
        loop = asyncio.get_running_loop()
        air = sensor.air
        if air.refusals > 0 or air.silent(loop.time()):
            air.refusals = max(0, air.refusals - 1)
            wait_s = ESTABLISHMENT_EVENTS * max(air.interval_s, 0.0075)
            self._later(wait_s, lambda: self._failed(central, packet.advertiser_address))
        else:
            loop.call_soon(sensor.on_ll_advertising_pdu, packet)

    def _failed(self, central: Controller, address: hci.Address) -> None:
        connection = central.le_connections.get(address)
        if connection is not None:
            reason = hci.HCI_ErrorCode.CONNECTION_FAILED_TO_BE_ESTABLISHED_ERROR
            central.on_le_disconnected(connection, reason)

    def _sensor_at(self, address: hci.Address) -> SensorController | None:
        for controller in self.controllers:
            if isinstance(controller, SensorController) and controller.random_address == address:
                return controller
        return None

    def _later(self, delay_s: float, what: Callable[[], None]) -> None:
        def run() -> None:
            self._timers.discard(timer)
            what()

        timer = asyncio.get_running_loop().call_later(delay_s, run)
        self._timers.add(timer)

    def _supervise(self, sensor: SensorController) -> None:
        if sensor.air.silent(asyncio.get_running_loop().time()):
            self._cut(sensor, hci.HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)

    def _cut(self, sensor: SensorController, reason: int) -> None:
        for (end, other), contact in self._contacts.items():
            if end is sensor:
                contact.waiting.clear()
                connection = other.le_connections.get(sensor.random_address)
                if connection is not None:
                    other.on_le_disconnected(connection, reason)
        for own in list(sensor.le_connections.values()):
            sensor.on_le_disconnected(own, reason)

    def _contact(
        self, sender: Controller, receiver: Controller, deliver: Callable[[], None]
    ) -> None:
        if isinstance(sender, SensorController):
            key = (sender, receiver)
        elif isinstance(receiver, SensorController):
            key = (receiver, sender)
        else:
            return
        contact = self._contacts.get(key)
        if contact is None:
            phase = float(self._generator.uniform(0.0, 1.0))
            contact = self._contacts[key] = _Contact(key[0], phase)
        contact.waiting.append(deliver)
        if contact.timer is None:
            self._schedule(contact)

    def _schedule(self, contact: _Contact) -> None:
        loop = asyncio.get_running_loop()
        interval_s = contact.sensor.air.interval_s
        now_s = loop.time()
        if interval_s > 0.0:
            phase_s = contact.anchor_s * interval_s
            event_s = phase_s + (math.floor((now_s - phase_s) / interval_s) + 1) * interval_s
        else:
            event_s = now_s
        if contact.sensor.air.silent(now_s):
            # Nothing can happen before the silence ends.
            event_s = max(event_s, contact.sensor.air.silent_until_s)
        contact.timer = loop.call_at(event_s, self._event, contact)

    def _event(self, contact: _Contact) -> None:
        contact.timer = None
        air = contact.sensor.air
        lost = air.event_loss_ratio > 0.0 and self._generator.random() < air.event_loss_ratio
        if not lost and not air.silent(asyncio.get_running_loop().time()):
            # What is sent in answer goes with the next event.
            for _ in range(len(contact.waiting)):
                contact.waiting.popleft()()
        if contact.waiting:
            self._schedule(contact)
