"""The Bluetooth part of a sensor profile: where its packets come from and how to talk to it.

It stands in the same TOML as the packet layout (:mod:`imujump.recording.profiles`)::

    [bluetooth]
    service = "…"                 # UUID of the service that holds the characteristics
    name_prefix = "strap"         # how the sensor is recognised, besides or instead of
    advertised = "…"              # … a service UUID in its advertisement; service if absent
    rates_hz = [100.0, 200.0]     # rates the start command can ask for; rate_hz if absent
    version = 1                   # expected in the status, if told there
    [bluetooth.stream]
    characteristic = "…"          # notifies packets
    flags = { replayed = 0 }      # bits of the header field "flags": replayed, overflow, range
    [bluetooth.control]           # written to; may be left out, and so may every key of it
    characteristic = "…"
    response = true
    start = [[{ type = "uint8", value = 1 }, { name = "rate_hz", type = "uint16" }]]
    stop = [[{ type = "uint8", value = 2 }]]
    replay = [[…]]                # boot_id, first_packet, packets
    [bluetooth.status]            # read, notified; version, flags, rate_hz, boot_id,
    characteristic = "…"          # oldest_packet, next_packet
    fields = [{ name = "boot_id", type = "uint32" }]
    flags = { measuring = 0 }     # measuring, overflow, replaying
    [bluetooth.time]              # read; tick, boot_id
    characteristic = "…"
    fields = [{ name = "tick", type = "uint32" }]
    [bluetooth.replay]            # notifies packets that were asked for again
    characteristic = "…"

A command is a list of writes, each a list of fields: constants, and names that the host fills
in. A sensor without ``time``, ``status`` or ``replay`` is usable all the same. Battery (0x2A19)
and serial number (0x2A25) are the standard characteristics unless ``battery`` or ``serial``
under ``[bluetooth]`` name others.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from imujump.capture.field_layout import Layout
from imujump.capture.link_tables import LinkTables
from imujump.errors import RecordingError
from imujump.recording.profile_text import ProfileText
from imujump.recording.profiles import PacketProfile, parse_profile
from imujump.recording.toml_lines import key_lines

BATTERY_UUID = "00002a19-0000-1000-8000-00805f9b34fb"
"""Battery Level (Bluetooth assigned numbers)."""

SERIAL_UUID = "00002a25-0000-1000-8000-00805f9b34fb"
"""Serial Number String (Bluetooth assigned numbers)."""

STREAM_FLAGS = frozenset({"replayed", "overflow", "range"})
STATUS_FLAGS = frozenset({"measuring", "overflow", "replaying"})
COMMAND_NAMES: Mapping[str, frozenset[str]] = {
    "start": frozenset({"rate_hz"}),
    "stop": frozenset(),
    "replay": frozenset({"boot_id", "first_packet", "packets"}),
}
"""What the host can fill into each command."""


@dataclass(frozen=True, slots=True)
class LinkProfile:
    """Everything that capture needs to know of a kind of sensor.

    UUIDs are full and in small letters; what the sensor lacks is ``None`` or empty.
    ``start``, ``stop`` and ``replay_request`` are writes to ``control_uuid``, in order, with a
    response if ``control_response``. Flags map a name to its bit.
    """

    packet: PacketProfile
    version: int | None
    rates_hz: tuple[float, ...]
    service_uuid: str
    advertised_uuid: str
    name_prefix: str | None
    battery_uuid: str
    serial_uuid: str
    stream_uuid: str
    stream_flags: Mapping[str, int]
    control_uuid: str | None
    control_response: bool
    start: tuple[Layout, ...]
    stop: tuple[Layout, ...]
    replay_request: tuple[Layout, ...]
    status_uuid: str | None
    status: Layout | None
    status_flags: Mapping[str, int]
    time_uuid: str | None
    time: Layout | None
    replay_uuid: str | None

    @property
    def name(self) -> str:
        """The kind of sensor in words."""
        return self.packet.name

    @property
    def can_replay(self) -> bool:
        """Whether missed packets can be asked for again."""
        return self.replay_uuid is not None and bool(self.replay_request)

    @property
    def sequence_bits(self) -> int | None:
        """Width of the packet counter, None where packets are not counted."""
        if "sequence" not in (self.packet.header.names or ()):
            return None
        return 8 * int(self.packet.header["sequence"].itemsize)

    def recognises(self, name: str | None, service_uuids: Iterable[str]) -> bool:
        """Tell from an advertisement whether a sensor is of this kind."""
        if self.advertised_uuid in {uuid.lower() for uuid in service_uuids}:
            return True
        return bool(self.name_prefix and name and name.startswith(self.name_prefix))

    def packet_flags(self, data: bytes | bytearray) -> frozenset[str]:
        """Return the names of the flags set in a packet's header."""
        header = self.packet.header
        if "flags" not in (header.names or ()) or len(data) < header.itemsize:
            return frozenset()
        raw = int(np.frombuffer(data, dtype=header, count=1)["flags"][0])
        return frozenset(name for name, bit in self.stream_flags.items() if raw >> bit & 1)

    def status_marks(self, values: Mapping[str, int]) -> frozenset[str]:
        """Return the names of the flags set in a decoded status."""
        raw = values.get("flags", 0)
        return frozenset(name for name, bit in self.status_flags.items() if raw >> bit & 1)

    def at_rate(self, rate_hz: float) -> LinkProfile:
        """Return the profile of the same sensor at another of its rates.

        Raises
        ------
        ValueError
            If the sensor has no such rate.
        """
        if rate_hz == self.packet.rate_hz:
            return self
        if rate_hz not in self.rates_hz:
            offered = ", ".join(f"{rate:g}" for rate in self.rates_hz)
            raise ValueError(f"rate_hz is {rate_hz:g}, {self.name} offers {offered}")
        lines = self.packet.text.splitlines(keepends=True)
        number = key_lines(self.packet.text)["rate_hz",] - 1
        lines[number] = re.sub(r"=\s*[^#\s]+", f"= {float(rate_hz)!r}", lines[number], count=1)
        return parse_link_profile("".join(lines))


def parse_link_profile(text: str, origin: Path | str = "sensor profile") -> LinkProfile:
    """Parse a profile with its Bluetooth part.

    Parameters
    ----------
    text : str
        TOML; see the module's description.
    origin : Path or str
        Where the text comes from, for messages.

    Raises
    ------
    RecordingError
        If the text is not TOML or a key is missing or wrong; names the line and the remedy.
    """
    packet = parse_profile(text, origin)
    source = ProfileText(text, origin)
    tables = LinkTables(source, packet)
    header_names = packet.header.names or ()
    stream_flags = tables.flags("bluetooth.stream.flags", STREAM_FLAGS)
    if stream_flags:
        if "flags" not in header_names:
            raise source.bad(
                "bluetooth.stream.flags",
                "names bits of a header field that is not there",
                "add a field flags to header, or remove it",
            )
        tables.check_bits("bluetooth.stream.flags", 8 * packet.header["flags"].itemsize)
    has_control = tables.has("bluetooth.control")
    status = tables.layout("bluetooth.status") if tables.has("bluetooth.status") else None
    status_flags = tables.flags("bluetooth.status.flags", STATUS_FLAGS)
    if status_flags:
        bits = None if status is None else status.bits("flags")
        if bits is None:
            raise source.bad(
                "bluetooth.status.flags",
                "names bits of a field that is not there",
                "add a field flags to bluetooth.status.fields, or remove it",
            )
        tables.check_bits("bluetooth.status.flags", bits)
    clock = tables.layout("bluetooth.time") if tables.has("bluetooth.time") else None
    if clock is not None:
        if clock.bits("tick") is None:
            raise source.bad(
                "bluetooth.time.fields", "hold no tick", 'add { name = "tick", type = … }'
            )
        if clock.bits("tick") != packet.tick_bits:
            raise source.bad(
                "bluetooth.time.fields",
                f"have a tick of {clock.bits('tick')} bits, the packets one of {packet.tick_bits}",
                "give both the same width",
            )
    request = tables.commands("replay", COMMAND_NAMES["replay"]) if has_control else ()
    has_replay = tables.has("bluetooth.replay")
    if bool(request) != has_replay:
        key, other = ("bluetooth.replay", "bluetooth.control.replay")[:: 1 if request else -1]
        raise source.bad(
            key, f"is missing although {other} is there", "give both or none", at="bluetooth"
        )
    if has_replay:
        _check_replay(source, packet, request)
    return LinkProfile(
        packet=packet,
        version=tables.whole("bluetooth.version"),
        rates_hz=tables.rates_hz(),
        service_uuid=tables.uuid("bluetooth.service"),
        advertised_uuid=tables.uuid("bluetooth.advertised", tables.uuid("bluetooth.service")),
        name_prefix=tables.text("bluetooth.name_prefix"),
        battery_uuid=tables.uuid("bluetooth.battery", BATTERY_UUID),
        serial_uuid=tables.uuid("bluetooth.serial", SERIAL_UUID),
        stream_uuid=tables.uuid("bluetooth.stream.characteristic"),
        stream_flags=stream_flags,
        control_uuid=tables.uuid("bluetooth.control.characteristic") if has_control else None,
        control_response=tables.truth("bluetooth.control.response", default=True),
        start=tables.commands("start", COMMAND_NAMES["start"]) if has_control else (),
        stop=tables.commands("stop", COMMAND_NAMES["stop"]) if has_control else (),
        replay_request=request,
        status_uuid=tables.uuid("bluetooth.status.characteristic") if status else None,
        status=status,
        status_flags=status_flags,
        time_uuid=tables.uuid("bluetooth.time.characteristic") if clock else None,
        time=clock,
        replay_uuid=tables.uuid("bluetooth.replay.characteristic") if has_replay else None,
    )


def read_link_profile(path: Path | str) -> LinkProfile:
    """Read a profile file.

    Raises
    ------
    RecordingError
        If it cannot be read or is no profile with a Bluetooth part.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except OSError as error:
        raise RecordingError(
            file, f"cannot be read ({error.strerror or error})", "check the name and your rights"
        ) from error
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise RecordingError(
            file, f"line {line}: the profile is not UTF-8 text", "save it as UTF-8"
        ) from error
    return parse_link_profile(text, file)


def _check_replay(source: ProfileText, packet: PacketProfile, request: tuple[Layout, ...]) -> None:
    names = {name for layout in request for name in layout.names}
    if "first_packet" not in names:
        raise source.bad(
            "bluetooth.control.replay",
            "does not say which packets",
            "add a field first_packet",
        )
    if "sequence" not in (packet.header.names or ()):
        raise source.bad(
            "bluetooth.replay",
            "needs packets that are counted",
            "add a field sequence to header, or remove it",
        )
