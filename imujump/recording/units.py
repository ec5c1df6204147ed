"""Unit names of foreign tables and the factors that turn their values into SI."""

from __future__ import annotations

import math
from collections.abc import Mapping

from imujump.constants import STANDARD_GRAVITY_MPS2

_DEGREE_RAD = math.pi / 180.0

ACCEL_UNITS: Mapping[str, float] = {
    "m/s^2": 1.0,
    "mm/s^2": 1e-3,
    "g": STANDARD_GRAVITY_MPS2,
    "mg": STANDARD_GRAVITY_MPS2 * 1e-3,
}
"""Accelerometer units: factor to m/s². ``mg`` is a thousandth of standard gravity."""

GYRO_UNITS: Mapping[str, float] = {
    "rad/s": 1.0,
    "mrad/s": 1e-3,
    "deg/s": _DEGREE_RAD,
    "mdeg/s": _DEGREE_RAD * 1e-3,
}
"""Gyroscope units: factor to rad/s."""

TIME_UNITS: Mapping[str, float] = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}
"""Time units: factor to seconds."""

_OTHER_SPELLINGS: Mapping[str, str] = {
    "m/s²": "m/s^2",
    "m/s2": "m/s^2",
    "m/s/s": "m/s^2",
    "m/s**2": "m/s^2",
    "m*s^-2": "m/s^2",
    "m·s^-2": "m/s^2",
    "ms^-2": "m/s^2",
    "ms-2": "m/s^2",
    "m.s-2": "m/s^2",
    "mm/s²": "mm/s^2",
    "mm/s2": "mm/s^2",
    "g0": "g",
    "gn": "g",
    "milli-g": "mg",
    "rad*s^-1": "rad/s",
    "rad·s^-1": "rad/s",
    "rads^-1": "rad/s",
    "radian/s": "rad/s",
    "radians/s": "rad/s",
    "rads/s": "rad/s",
    "°/s": "deg/s",
    "dps": "deg/s",
    "degree/s": "deg/s",
    "degrees/s": "deg/s",
    "degs/s": "deg/s",
    "mdps": "mdeg/s",
    "sec": "s",
    "second": "s",
    "seconds": "s",
    "msec": "ms",
    "millisecond": "ms",
    "milliseconds": "ms",
    "µs": "us",
    "μs": "us",  # Greek mu; the line above is the micro sign
    "microsecond": "us",
    "microseconds": "us",
    "nanosecond": "ns",
    "nanoseconds": "ns",
}


def unit_factor(text: str, units: Mapping[str, float]) -> float | None:
    """Return the factor to SI of a unit name, or None when it is not known.

    Parameters
    ----------
    text : str
        The unit as written; spaces and letter case do not matter.
    units : mapping
        One of :data:`ACCEL_UNITS`, :data:`GYRO_UNITS`, :data:`TIME_UNITS`.

    Examples
    --------
    >>> unit_factor("mg", ACCEL_UNITS)
    0.00980665
    >>> unit_factor("Deg / s", GYRO_UNITS) == math.pi / 180
    True
    >>> unit_factor("deg/s", ACCEL_UNITS) is None
    True
    """
    compact = "".join(text.split()).lower()
    return units.get(_OTHER_SPELLINGS.get(compact, compact))
