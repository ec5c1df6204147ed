"""The declarative sensor profile: a TOML text that says what a sensor's packets mean.

::

    name = "strap sensor, 16 bit"
    rate_hz = 200.0
    tick_s = 1.0e-6
    byte_order = "little"              # or "big"; little when absent
    header = [                         # fields in front of the samples
      { name = "tick", type = "uint32" },      # device clock at the first sample
      { name = "sequence", type = "uint16" },  # running packet number
    ]
    sample = [                         # fields of one sample; repeated to the packet's end
      { name = "accel_x", type = "int16", scale = 0.00048828125, unit = "g" },
      …
    ]
    [range]                            # full scale, optional
    accel = 16.0
    accel_unit = "g"
    gyro = 2000.0
    gyro_unit = "deg/s"

The six channels are ``accel_x`` … ``gyro_z``; one that is absent reads as NaN. ``tick`` may
also be a field of each sample. ``count`` in the header, if present, must state the number of
samples. Fields of any other name are carried along unread, and so are tables of any other
name: a profile can hold whatever else belongs to the sensor.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from imujump.model import FloatArray
from imujump.recording.profile_text import ProfileText
from imujump.recording.units import ACCEL_UNITS, GYRO_UNITS, unit_factor

CHANNELS = ("accel_x", "accel_y", "accel_z", "gyro_x", "gyro_y", "gyro_z")
"""The six channels of a sensor, in the order of every array of this package."""

TYPES: Mapping[str, str] = {
    "int8": "i1",
    "uint8": "u1",
    "int16": "i2",
    "uint16": "u2",
    "int32": "i4",
    "uint32": "u4",
    "int64": "i8",
    "uint64": "u8",
    "float32": "f4",
    "float64": "f8",
}
"""Field types and their numpy codes without byte order."""

_FIELD_KEYS = frozenset({"name", "type", "scale", "unit"})


@dataclass(frozen=True, slots=True)
class PacketProfile:
    """A parsed sensor profile.

    ``header`` and ``sample`` are packed structured dtypes; ``channels`` holds the positions
    in :data:`CHANNELS` that the samples carry and ``factors`` (same length) turns their raw
    numbers into SI. ``tick_in`` says where the device clock stands. ``text`` is the source.
    """

    text: str
    name: str
    rate_hz: float
    tick_s: float
    header: np.dtype[np.void]
    sample: np.dtype[np.void]
    channels: tuple[int, ...]
    factors: tuple[float, ...]
    tick_in: Literal["header", "sample"]
    accel_range_mps2: float | None
    gyro_range_radps: float | None

    @property
    def ticks_per_sample(self) -> float:
        """Length of a sample period in device ticks."""
        return 1.0 / (self.rate_hz * self.tick_s)

    @property
    def tick_bits(self) -> int:
        """Width of the tick counter, after which it wraps."""
        holder = self.header if self.tick_in == "header" else self.sample
        return 8 * int(holder["tick"].itemsize)


def parse_profile(text: str, origin: Path | str = "sensor profile") -> PacketProfile:
    """Parse a profile text.

    Parameters
    ----------
    text : str
        TOML; see the module's description.
    origin : Path or str
        Where the text comes from, for messages.

    Returns
    -------
    PacketProfile
        Ready to decode and encode packets.

    Raises
    ------
    RecordingError
        If the text is not TOML or a key is missing or wrong; names the line.
    """
    return _Reader(ProfileText(text, origin)).profile(text)


def compact_profile(
    rate_hz: float, accel_range_g: float = 16.0, gyro_range_degps: float = 2000.0
) -> PacketProfile:
    """Return the profile of 16-bit packets: tick (µs, 32 bit), sequence (16 bit), samples.

    Parameters
    ----------
    rate_hz : float
        Sample rate, Hz.
    accel_range_g, gyro_range_degps : float
        Full scale, in standard gravity and degrees a second; one step is a 32768th of it.

    Examples
    --------
    >>> profile = compact_profile(100.0)
    >>> profile.header.itemsize, profile.sample.itemsize, profile.ticks_per_sample
    (6, 12, 10000.0)
    """
    fields = [
        f'  {{ name = "{name}", type = "int16", scale = {full / 32768!r}, unit = "{unit}" }},'
        for kind, full, unit in (
            ("accel", accel_range_g, "g"),
            ("gyro", gyro_range_degps, "deg/s"),
        )
        for name in (f"{kind}_x", f"{kind}_y", f"{kind}_z")
    ]
    return parse_profile(
        "\n".join(
            [
                'name = "samples of 16 bit"',
                f"rate_hz = {float(rate_hz)!r}",
                "tick_s = 1e-06",
                "header = [",
                '  { name = "tick", type = "uint32" },',
                '  { name = "sequence", type = "uint16" },',
                "]",
                "sample = [",
                *fields,
                "]",
                "[range]",
                f"accel = {float(accel_range_g)!r}",
                'accel_unit = "g"',
                f"gyro = {float(gyro_range_degps)!r}",
                'gyro_unit = "deg/s"',
                "",
            ]
        )
    )


def lossless_profile(
    rate_hz: float,
    tick_s: float,
    accel_range_mps2: float | None = None,
    gyro_range_radps: float | None = None,
) -> PacketProfile:
    """Return the profile of 64-bit packets: every sample with its own tick, values exact.

    Parameters
    ----------
    rate_hz : float
        Nominal sample rate, Hz.
    tick_s : float
        Length of one tick, seconds.
    accel_range_mps2, gyro_range_radps : float or None
        Full scale, if known.

    Examples
    --------
    >>> lossless_profile(200.0, 0.005).sample.itemsize
    56
    """
    fields = [
        f'  {{ name = "{name}", type = "float64", unit = "{unit}" }},'
        for name, unit in zip(CHANNELS, 3 * ["m/s^2"] + 3 * ["rad/s"], strict=True)
    ]
    ranges = []
    if accel_range_mps2 is not None:
        ranges += [f"accel = {float(accel_range_mps2)!r}", 'accel_unit = "m/s^2"']
    if gyro_range_radps is not None:
        ranges += [f"gyro = {float(gyro_range_radps)!r}", 'gyro_unit = "rad/s"']
    return parse_profile(
        "\n".join(
            [
                'name = "samples of 64 bit"',
                f"rate_hz = {float(rate_hz)!r}",
                f"tick_s = {float(tick_s)!r}",
                'header = [{ name = "sequence", type = "uint32" }]',
                "sample = [",
                '  { name = "tick", type = "int64" },',
                *fields,
                "]",
                *(["[range]"] if ranges else []),
                *ranges,
                "",
            ]
        )
    )


def channel_factors(profile: PacketProfile) -> FloatArray:
    """Return the factors to SI as an array (channels of the profile,)."""
    return np.array(profile.factors, dtype=np.float64)


class _Reader:
    """Reads a profile's keys and complains with the key's name and line."""

    def __init__(self, source: ProfileText) -> None:
        self._table = source.table
        self._bad = source.bad

    def profile(self, text: str) -> PacketProfile:
        order = self._table.get("byte_order", "little")
        if order not in ("little", "big"):
            raise self._bad("byte_order", f"is {order!r}", 'write "little" or "big"')
        sign: Literal["<", ">"] = "<" if order == "little" else ">"
        header_fields = self._fields("header", required=False)
        sample_fields = self._fields("sample", required=True)
        header = self._dtype("header", header_fields, sign)
        sample = self._dtype("sample", sample_fields, sign)
        in_header, in_sample = "tick" in (header.names or ()), "tick" in (sample.names or ())
        if in_header == in_sample:
            problem = "twice" if in_header else "nowhere"
            raise self._bad(
                "tick",
                f"stands {problem}",
                "name one field tick, in header or in sample",
                at=_place("sample", sample_fields, "tick") if in_header else "sample",
            )
        rate_hz, tick_s = self._number("rate_hz"), self._number("tick_s")
        if in_header and not 1.0 - 1e-9 <= 1.0 / (rate_hz * tick_s) <= 1e12:
            raise self._bad("tick_s", "is longer than a sample or far too short", "correct it")
        for holder, fields in (("header", header_fields), ("sample", sample_fields)):
            for field in fields:
                if field["name"] in ("tick", "sequence", "count") and "float" in field["type"]:
                    name = field["name"]
                    raise self._bad(
                        f"{holder}.{name}",
                        f"is {field['type']}",
                        "use an integer type",
                        at=_place(holder, fields, name),
                    )
        present = [i for i, name in enumerate(CHANNELS) if name in (sample.names or ())]
        if not present:
            raise self._bad("sample", "holds no channel", f"name one of {', '.join(CHANNELS)}")
        by_name = {field["name"]: (i, field) for i, field in enumerate(sample_fields)}
        factors = tuple(
            self._factor(*by_name[CHANNELS[index]], kind=CHANNELS[index][:-2]) for index in present
        )
        return PacketProfile(
            text=text,
            name=self._text("name"),
            rate_hz=rate_hz,
            tick_s=tick_s,
            header=header,
            sample=sample,
            channels=tuple(present),
            factors=factors,
            tick_in="header" if in_header else "sample",
            accel_range_mps2=self._range("accel", ACCEL_UNITS),
            gyro_range_radps=self._range("gyro", GYRO_UNITS),
        )

    def _text(self, key: str) -> str:
        value = self._table.get(key)
        if not isinstance(value, str):
            raise self._bad(key, "is missing or no text", "add it")
        return value

    def _number(self, key: str) -> float:
        value = self._table.get(key)
        if value is None:
            raise self._bad(key, "is missing", "add it")
        return self._positive(key, value)

    def _positive(self, key: str, value: object) -> float:
        # Beyond these bounds products and quotients leave the numbers a computer can hold.
        if (
            isinstance(value, bool)
            or not isinstance(value, int | float)
            or not 1e-12 <= value <= 1e12
        ):
            raise self._bad(key, f"is {str(value)[:20]!r}", "write a positive number")
        return float(value)

    def _fields(self, key: str, *, required: bool) -> list[dict[str, Any]]:
        value = self._table.get(key, [])
        if not isinstance(value, list) or (required and not value):
            raise self._bad(key, "is missing or no list of fields", "list its fields")
        for number, field in enumerate(value):
            where = f"{key}[{number}]"
            if not isinstance(field, dict):
                raise self._bad(where, "is no field", "write { name = …, type = … }")
            unknown = sorted(set(field) - _FIELD_KEYS)
            if unknown:
                raise self._bad(f"{where}.{unknown[0]}", "is not known", "remove it")
            if not isinstance(field.get("name"), str) or not field["name"]:
                raise self._bad(f"{where}.name", "is missing or no text", "add it")
            if field.get("type") not in TYPES:
                raise self._bad(
                    f"{where}.type",
                    f"is {str(field.get('type'))[:20]!r}",
                    f"use one of {', '.join(TYPES)}",
                )
        return value

    def _dtype(
        self, key: str, fields: Sequence[Mapping[str, Any]], sign: Literal["<", ">"]
    ) -> np.dtype[np.void]:
        names = [field["name"] for field in fields]
        for number, name in enumerate(names):
            if name in names[:number]:
                raise self._bad(f"{key}[{number}].name", f"repeats {name!r}", "rename it")
        if len(names) > 255:
            raise self._bad(key, "has more than 255 fields", "leave fields out")
        return np.dtype([(field["name"], sign + TYPES[field["type"]]) for field in fields])

    def _factor(self, number: int, field: Mapping[str, Any], *, kind: str) -> float:
        units = ACCEL_UNITS if kind == "accel" else GYRO_UNITS
        where = f"sample[{number}]"
        unit = field.get("unit")
        factor = unit_factor(unit, units) if isinstance(unit, str) else None
        if factor is None:
            raise self._bad(
                f"{where}.unit", f"is {str(unit)[:20]!r}", f"use one of {', '.join(units)}"
            )
        scale = field.get("scale", 1.0)
        sign = -1.0 if isinstance(scale, int | float) and scale < 0 else 1.0
        magnitude = -scale if sign < 0 else scale
        return sign * self._positive(f"{where}.scale", magnitude) * factor

    def _range(self, kind: str, units: Mapping[str, float]) -> float | None:
        ranges = self._table.get("range", {})
        if not isinstance(ranges, dict):
            raise self._bad("range", "is no table", "write [range]")
        if kind not in ranges:
            return None
        unit = ranges.get(f"{kind}_unit")
        factor = unit_factor(unit, units) if isinstance(unit, str) else None
        if factor is None:
            raise self._bad(
                f"range.{kind}_unit", f"is {str(unit)[:20]!r}", f"use one of {', '.join(units)}"
            )
        return self._positive(f"range.{kind}", ranges[kind]) * factor


def _place(holder: str, fields: Sequence[Mapping[str, Any]], name: str) -> str:
    """Key of the field of that name."""
    return f"{holder}[{[field['name'] for field in fields].index(name)}]"
