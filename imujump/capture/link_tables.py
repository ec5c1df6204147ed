"""Reads the Bluetooth tables of a sensor profile and complains with the key's line."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, Literal

from imujump.capture.field_layout import INTEGER_BYTES, Field, Layout
from imujump.recording.profile_text import ProfileText, key_path
from imujump.recording.profiles import PacketProfile

_SHORT_UUID = re.compile(r"(?:0x)?([0-9a-f]{4}|[0-9a-f]{8})", re.IGNORECASE)
_LONG_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)
STANDARD_TAIL = "-0000-1000-8000-00805f9b34fb"
"""Bluetooth base UUID behind an assigned number (Bluetooth Core, Vol 3 Part B, 2.5.1)."""

_KEYS: Mapping[str, frozenset[str]] = {
    "bluetooth": frozenset(
        {
            "version", "service", "advertised", "name_prefix", "rates_hz", "battery", "serial",
            "stream", "control", "status", "time", "replay",
        }
    ),
    "bluetooth.stream": frozenset({"characteristic", "flags"}),
    "bluetooth.control": frozenset({"characteristic", "response", "start", "stop", "replay"}),
    "bluetooth.status": frozenset({"characteristic", "fields", "flags"}),
    "bluetooth.time": frozenset({"characteristic", "fields"}),
    "bluetooth.replay": frozenset({"characteristic"}),
}  # fmt: skip
"""The keys of each table: a misspelt one must not pass as absent."""


def full_uuid(text: str) -> str | None:
    """Return a UUID in full and small letters, or None when it is none.

    Examples
    --------
    >>> full_uuid("0x180F")
    '0000180f-0000-1000-8000-00805f9b34fb'
    """
    if short := _SHORT_UUID.fullmatch(text):
        return short[1].lower().zfill(8) + STANDARD_TAIL
    return text.lower() if _LONG_UUID.fullmatch(text) else None


class LinkTables:
    """The ``[bluetooth]`` tables of one profile.

    Parameters
    ----------
    source : ProfileText
        The profile.
    packet : PacketProfile
        Its packet part, already read.

    Raises
    ------
    RecordingError
        If there is no such table, or one holds a key that is not known.
    """

    def __init__(self, source: ProfileText, packet: PacketProfile) -> None:
        self._source = source
        self._bad = source.bad
        self._packet = packet
        self._order: Literal["little", "big"] = source.table.get("byte_order", "little")
        if not self.has("bluetooth"):
            raise self._bad("bluetooth", "is missing", "add the table [bluetooth]")
        for table, known in _KEYS.items():
            if not self.has(table):
                continue
            value = self._get(table)
            if not isinstance(value, dict):
                raise self._bad(table, "is no table", f"write [{table}]")
            for key in value:
                if key not in known:
                    raise self._bad(
                        f"{table}.{key}", "is not known", f"use {', '.join(sorted(known))}"
                    )

    def has(self, key: str) -> bool:
        """Tell whether a key is there."""
        return self._get(key) is not None

    def uuid(self, key: str, default: str | None = None) -> str:
        """Read a UUID."""
        value = self._get(key)
        if value is None and default is not None:
            return default
        if value is None:
            raise self._bad(key, "is missing", "add the UUID")
        uuid = full_uuid(value) if isinstance(value, str) else None
        if uuid is None:
            raise self._bad(
                key, f"is {str(value)[:40]!r}", "write a UUID of 4 or of 8-4-4-4-12 hex digits"
            )
        return uuid

    def text(self, key: str) -> str | None:
        """Read a text that may be absent."""
        value = self._get(key)
        if value is not None and (not isinstance(value, str) or not value):
            raise self._bad(key, f"is {str(value)[:20]!r}", "write a text in quotes")
        return value

    def whole(self, key: str) -> int | None:
        """Read a whole number from 0 that may be absent."""
        value = self._get(key)
        if value is not None and (type(value) is not int or not 0 <= value < 1 << 32):
            raise self._bad(key, f"is {str(value)[:20]!r}", "write a whole number from 0")
        return value

    def truth(self, key: str, *, default: bool) -> bool:
        """Read true or false."""
        value = self._get(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            raise self._bad(key, f"is {str(value)[:20]!r}", "write true or false")
        return value

    def rates_hz(self) -> tuple[float, ...]:
        """Read the rates the sensor offers; the profile's own when absent."""
        own, key = self._packet.rate_hz, "bluetooth.rates_hz"
        value = self._get(key)
        if value is None:
            return (own,)
        if not isinstance(value, list) or not value:
            raise self._bad(key, "is no list of rates", "write [100.0, 200.0]")
        for number, rate in enumerate(value):
            if type(rate) not in (int, float) or not 1.0 <= rate <= 65535.0:
                raise self._bad(
                    f"{key}[{number}]", f"is {str(rate)[:20]!r}", "write a rate of 1 to 65535"
                )
        if own not in value:
            raise self._bad(key, f"lacks rate_hz, {own:g}", "add it")
        return tuple(float(rate) for rate in value)

    def layout(self, table: str) -> Layout:
        """Read the fields of a status or clock reading."""
        return self._layout(f"{table}.fields", None)

    def commands(self, name: str, fillable: frozenset[str]) -> tuple[Layout, ...]:
        """Read the writes of a command; none when it is absent."""
        key = f"bluetooth.control.{name}"
        value = self._get(key)
        if value is None:
            return ()
        if not isinstance(value, list) or not value or not all(isinstance(w, list) for w in value):
            raise self._bad(
                key, "is no list of writes", "write [[{ type = …, value = … }]], a list of lists"
            )
        return tuple(self._layout(f"{key}[{n}]", fillable) for n in range(len(value)))

    def flags(self, key: str, known: frozenset[str]) -> Mapping[str, int]:
        """Read the bits of named flags; none when absent."""
        value = self._get(key)
        if value is None:
            return {}
        if not isinstance(value, dict):
            raise self._bad(key, "is no table of bits", "write { name = bit }")
        for name, bit in value.items():
            if name not in known:
                raise self._bad(f"{key}.{name}", "is not known", f"use {', '.join(sorted(known))}")
            if type(bit) is not int or not 0 <= bit < 64:
                raise self._bad(f"{key}.{name}", f"is {str(bit)[:20]!r}", "write a bit from 0")
        return dict(value)

    def check_bits(self, key: str, width: int) -> None:
        """Refuse a flag beyond the field that should hold it."""
        for name, bit in self._get(key).items():
            if bit >= width:
                raise self._bad(
                    f"{key}.{name}", f"is bit {bit} of {width}", f"write 0 to {width - 1}"
                )

    def _get(self, key: str) -> Any:
        value: Any = self._source.table
        for part in key_path(key):
            try:
                value = value[part]
            except (KeyError, IndexError, TypeError):
                return None
        return value

    def _layout(self, key: str, fillable: frozenset[str] | None) -> Layout:
        value = self._get(key)
        if not isinstance(value, list) or not value:
            raise self._bad(key, "is missing or no list of fields", "list its fields")
        fields = [self._field(f"{key}[{n}]", entry, fillable) for n, entry in enumerate(value)]
        names: set[str] = set()
        for number, field in enumerate(fields):
            if field.constant is None and field.name in names:
                raise self._bad(f"{key}[{number}].name", f"repeats {field.name!r}", "rename it")
            names.add(field.name)
        return Layout(tuple(fields), self._order)

    def _field(self, key: str, entry: object, fillable: frozenset[str] | None) -> Field:
        if not isinstance(entry, dict):
            raise self._bad(key, "is no field", "write { name = …, type = … }")
        for unknown in sorted(set(entry) - {"name", "type", "value"}):
            raise self._bad(f"{key}.{unknown}", "is not known", "remove it")
        if entry.get("type") not in INTEGER_BYTES:
            raise self._bad(
                f"{key}.type",
                f"is {str(entry.get('type'))[:20]!r}",
                f"use one of {', '.join(INTEGER_BYTES)}",
            )
        if ("name" in entry) == ("value" in entry):
            problem = "has both name and value" if "name" in entry else "has no name and no value"
            raise self._bad(key, problem, "give it one of them")
        if "value" in entry:
            field = Field("", entry["type"], entry["value"])
            if type(entry["value"]) is not int or not field.holds(entry["value"]):
                raise self._bad(
                    f"{key}.value",
                    f"is {str(entry['value'])[:20]!r}",
                    f"write a whole number that fits {entry['type']}",
                )
            return field
        name = entry["name"]
        if not isinstance(name, str) or not name:
            raise self._bad(f"{key}.name", "is no text", "write the name in quotes")
        if fillable is not None and name not in fillable:
            remedy = f"use {', '.join(sorted(fillable))}" if fillable else "give it a value"
            raise self._bad(f"{key}.name", f"is {name!r}, which nothing fills in", remedy)
        return Field(name, entry["type"])
