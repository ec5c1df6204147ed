"""The same rig with its sensors in a process of their own, reached over loopback sockets."""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from bumble.transport.tcp_client import open_tcp_client_transport

from imujump.capture.emulated.central import Central
from imujump.capture.emulated.control import SensorFacts
from imujump.capture.emulated.memory import DeviceClock
from imujump.capture.emulated.rig import Rig
from imujump.capture.emulated.server import LOOPBACK
from imujump.capture.emulated.settings import RigSettings
from imujump.capture.link_profile import LinkProfile, parse_link_profile
from imujump.errors import SensorError
from imujump.model import Placement

_OWN_GROUP: dict[str, Any] = (
    {"creationflags": 0x200} if sys.platform == "win32" else {"start_new_session": True}
)
"""A Ctrl-C meant for the capture must not end the sensors first (0x200: a new process group)."""

START_S = 60.0
"""Longest wait for the other process (own choice: a loaded machine imports slowly)."""


class FarSensor:
    """The control handle of a sensor in another process."""

    def __init__(self, placement: Placement, line: _ControlLine) -> None:
        self.placement = placement
        self._line = line

    def drop_link(self, duration_s: float = 0.0) -> None:
        """Lose the link at once, and be out of reach for a while."""
        self._do("drop_link", duration_s)

    def silence(self, duration_s: float) -> None:
        """Let no radio packet through; the link ends if that outlasts its supervision."""
        self._do("silence", duration_s)

    def stall(self, duration_s: float) -> None:
        """Keep the link but send no data."""
        self._do("stall", duration_s)

    def reboot(self) -> None:
        """Restart: new boot id, counters from the start, buffer empty, not measuring."""
        self._do("reboot")

    def set_battery(self, percent: int) -> None:
        """Set the charge, and notify it."""
        self._do("set_battery", percent)

    def refuse(self, connections: int) -> None:
        """Let the next connections fail to be established."""
        self._do("refuse", connections)

    def hide(self, hidden: bool = True) -> None:
        """Stop advertising, as a sensor does that another host holds."""
        self._do("hide", hidden)

    def set_interval(self, interval_s: float, event_loss_ratio: float = 0.0) -> None:
        """Set the connection interval and the share of events lost to interference."""
        self._do("set_interval", interval_s, event_loss_ratio)

    def set_rssi(self, rssi_dbm: int) -> None:
        """Set the signal strength that scans report."""
        self._do("set_rssi", rssi_dbm)

    async def facts(self) -> SensorFacts:
        """Return the truth about the sensor."""
        told = await self._line.ask({"sensor": self.placement, "do": "facts"})
        told["placement"] = Placement(told["placement"])
        told["clock"] = DeviceClock(**told["clock"])
        return SensorFacts(**told)

    def _do(self, what: str, *arguments: float) -> None:
        self._line.send({"sensor": self.placement, "do": what, "with": arguments})


class _ControlLine:
    """Sends control lines; answers come back in the order of asking."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writer = writer
        self._waiting: list[asyncio.Future[dict[str, Any]] | None] = []
        self._listening = asyncio.create_task(self._listen(reader))

    def send(self, asked: dict[str, Any]) -> None:
        self._waiting.append(None)
        self._writer.write(json.dumps(asked).encode() + b"\n")

    async def ask(self, asked: dict[str, Any]) -> dict[str, Any]:
        answer: asyncio.Future[dict[str, Any]] = asyncio.get_running_loop().create_future()
        self._waiting.append(answer)
        self._writer.write(json.dumps(asked).encode() + b"\n")
        return await answer

    async def close(self) -> None:
        self._listening.cancel()
        await asyncio.gather(self._listening, return_exceptions=True)
        self._writer.close()
        with contextlib.suppress(ConnectionError):
            await self._writer.wait_closed()

    async def _listen(self, reader: asyncio.StreamReader) -> None:
        while line := await reader.readline():
            answer = self._waiting.pop(0)
            if answer is not None and not answer.done():
                answer.set_result(json.loads(line))


@asynccontextmanager
async def attached_sensors(
    hci_port: int,
    control_port: int,
    profile: LinkProfile,
    placements: Sequence[Placement] = tuple(Placement),
) -> AsyncIterator[Rig[FarSensor]]:
    """Reach sensors that another process offers.

    Raises
    ------
    SensorError
        If nothing listens there.
    """
    try:
        transport = await open_tcp_client_transport(f"{LOOPBACK}:{hci_port}")
        reader, writer = await asyncio.open_connection(LOOPBACK, control_port)
    except OSError as error:
        raise SensorError(
            f"emulated sensors at port {hci_port}",
            f"cannot be reached ({error.strerror or error})",
            "start them first, and check the port",
        ) from error
    line = _ControlLine(reader, writer)
    central = Central(transport.source, transport.sink)
    try:
        await central.switch_on()
        yield Rig(profile, central, {p: FarSensor(p, line) for p in placements})
    finally:
        with contextlib.suppress(Exception):
            await asyncio.wait_for(central.switch_off(), 2.0)
        await line.close()
        await transport.close()


@asynccontextmanager
async def emulated_process(
    source: Path | str | None = None, *, profile: LinkProfile | None = None, **settings: Any
) -> AsyncIterator[Rig[FarSensor]]:
    """Run emulated sensors in a process of their own for as long as the context is open.

    Takes what :func:`imujump.capture.emulated.rig.emulated_sensors` takes, except that the
    source is a path or nothing.

    Raises
    ------
    SensorError
        If the process does not start; carries its last words.
    """
    command = [sys.executable, "-m", "imujump.capture.emulated", "--until-input-ends"]
    command += ["--settings", RigSettings(**settings).to_json()]
    with TemporaryDirectory() as folder:
        if profile is not None:
            kept = Path(folder) / "profile.toml"
            kept.write_text(profile.packet.text, encoding="utf-8")
            command += ["--profile", str(kept)]
        if source is not None:
            command.append(str(source))
        process = await asyncio.create_subprocess_exec(
            *command,
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            limit=1 << 20,
            **_OWN_GROUP,
        )
        assert process.stdout is not None
        assert process.stdin is not None
        try:
            async with asyncio.timeout(START_S):
                first = await process.stdout.readline()
            if not first:
                raise SensorError(
                    "emulated sensors", "did not start", "see what their process said above"
                )
            told = json.loads(first)
            async with attached_sensors(
                told["hci_port"],
                told["control_port"],
                parse_link_profile(told["profile"]),
                [Placement(name) for name in told["placements"]],
            ) as rig:
                yield rig
        finally:
            process.stdin.close()
            try:
                await asyncio.wait_for(process.wait(), 5.0)
            except TimeoutError:
                process.kill()
                await process.wait()
