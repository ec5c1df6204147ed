"""Offers the rig to another process: HCI and a control line, each on a loopback socket."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import asdict
from typing import Any

from bumble.transport.common import StreamPacketSink, StreamPacketSource

from imujump.capture.emulated.air import CentralController
from imujump.capture.emulated.central import ADDRESS
from imujump.capture.emulated.control import FAULTS, SensorControl
from imujump.capture.emulated.sensors_on_air import SensorsOnAir
from imujump.model import Placement

LOOPBACK = "127.0.0.1"


@asynccontextmanager
async def offered(
    on_air: SensorsOnAir, hci_port: int = 0, control_port: int = 0
) -> AsyncIterator[tuple[int, int]]:
    """Listen for one host and for control lines while the context is open.

    Parameters
    ----------
    on_air : SensorsOnAir
        What is offered.
    hci_port, control_port : int
        Ports on the loopback address; 0 takes free ones.

    Yields
    ------
    tuple of int
        The ports.
    """
    computer = CentralController("computer", on_air.air, ADDRESS)
    loop = asyncio.get_running_loop()
    hosts = await loop.create_server(lambda: _HostLine(computer, on_air), LOOPBACK, hci_port)

    async def on_control(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while line := await reader.readline():
                answer = await _obey(on_air.sensors, json.loads(line))
                writer.write(json.dumps(answer).encode() + b"\n")
                await writer.drain()
        except (ConnectionError, asyncio.CancelledError):
            pass
        finally:
            writer.close()

    controls = await asyncio.start_server(on_control, LOOPBACK, control_port)
    try:
        ports = tuple(server.sockets[0].getsockname()[1] for server in (hosts, controls))
        yield ports[0], ports[1]
    finally:
        hosts.close()
        controls.close()


class _HostLine(asyncio.Protocol):
    """One host's connection; a second one is hung up on."""

    def __init__(self, computer: CentralController, on_air: SensorsOnAir) -> None:
        self._computer = computer
        self._on_air = on_air
        self._source: StreamPacketSource | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.WriteTransport)
        if self._computer.host is not None:
            transport.close()
            return
        self._source = StreamPacketSource()
        self._source.set_packet_sink(self._computer)
        self._computer.set_packet_sink(StreamPacketSink(transport))

    def data_received(self, data: bytes) -> None:
        if self._source is not None:
            self._source.data_received(data)

    def connection_lost(self, error: Exception | None) -> None:
        if self._source is not None:
            self._computer.set_packet_sink(None)
            self._computer.le_scan_enable = False
            self._computer.pending_le_connection = None
            self._on_air.air.hang_up(self._computer)


async def _obey(sensors: Mapping[Placement, SensorControl], asked: dict[str, Any]) -> object:
    """Carry out one control line."""
    sensor = sensors[Placement(asked["sensor"])]
    what = asked["do"]
    if what == "facts":
        return asdict(await sensor.facts())
    if what in FAULTS:
        getattr(sensor, what)(*asked.get("with", ()))
    return {"done": what in FAULTS}
