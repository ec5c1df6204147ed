"""Named integer fields in a row: what a command, a status or a clock reading is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from imujump.errors import BadPacketError

INTEGER_BYTES: Mapping[str, tuple[int, bool]] = {
    "int8": (1, True),
    "uint8": (1, False),
    "int16": (2, True),
    "uint16": (2, False),
    "int32": (4, True),
    "uint32": (4, False),
    "int64": (8, True),
    "uint64": (8, False),
}
"""Integer types of fields: bytes, and whether they have a sign."""


@dataclass(frozen=True, slots=True)
class Field:
    """One integer. ``constant`` is what it always holds, None where it carries ``name``."""

    name: str
    type: str
    constant: int | None = None

    @property
    def size(self) -> int:
        """Bytes it takes."""
        return INTEGER_BYTES[self.type][0]

    def holds(self, value: int) -> bool:
        """Tell whether a number fits the type."""
        size, signed = INTEGER_BYTES[self.type]
        bits = 8 * size - signed
        return (-(1 << bits) if signed else 0) <= value < 1 << bits


@dataclass(frozen=True, slots=True)
class Layout:
    """Fields one after the other, without padding.

    Examples
    --------
    >>> start = Layout((Field("", "uint8", 1), Field("rate_hz", "uint16")), "little")
    >>> start.encode({"rate_hz": 200}).hex()
    '01c800'
    >>> start.decode(bytes.fromhex("01c800"))
    {'rate_hz': 200}
    """

    fields: tuple[Field, ...]
    byte_order: Literal["little", "big"]

    @property
    def size(self) -> int:
        """Bytes of all fields."""
        return sum(field.size for field in self.fields)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the fields that carry something."""
        return tuple(field.name for field in self.fields if field.constant is None)

    def bits(self, name: str) -> int | None:
        """Width of a field, None where there is no such field."""
        return next((8 * field.size for field in self.fields if field.name == name), None)

    def encode(self, values: Mapping[str, int]) -> bytes:
        """Write the fields; a name that ``values`` lacks is written as 0.

        Raises
        ------
        ValueError
            If a number does not fit its field.
        """
        parts = []
        for field in self.fields:
            value = values.get(field.name, 0) if field.constant is None else field.constant
            if not field.holds(value):
                raise ValueError(f"{field.name} is {value}, which does not fit {field.type}")
            size, signed = INTEGER_BYTES[field.type]
            parts.append(value.to_bytes(size, self.byte_order, signed=signed))
        return b"".join(parts)

    def decode(self, data: bytes | bytearray) -> dict[str, int]:
        """Read the fields that carry something; bytes beyond them are left unread.

        Raises
        ------
        BadPacketError
            If there are too few bytes.
        """
        if len(data) < self.size:
            raise BadPacketError(
                "sensor",
                f"{len(data)} bytes came where the profile names fields of {self.size}",
                "check the sensor profile",
            )
        values, at = {}, 0
        for field in self.fields:
            size, signed = INTEGER_BYTES[field.type]
            if field.constant is None:
                raw = bytes(data[at : at + size])
                values[field.name] = int.from_bytes(raw, self.byte_order, signed=signed)
            at += size
        return values

    def matches(self, data: bytes | bytearray) -> bool:
        """Tell whether the bytes have this length and these constants."""
        if len(data) != self.size:
            return False
        at = 0
        for field in self.fields:
            size, signed = INTEGER_BYTES[field.type]
            raw = bytes(data[at : at + size])
            value = int.from_bytes(raw, self.byte_order, signed=signed)
            if field.constant not in (None, value):
                return False
            at += size
        return True
