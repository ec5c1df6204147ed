"""Physical constants, each with unit and source."""

from __future__ import annotations

import math

STANDARD_GRAVITY_MPS2 = 9.80665
"""Standard acceleration of free fall (ISO 80000-3:2019, from memory)."""

WGS84_EQUATOR_GRAVITY_MPS2 = 9.7803253359
"""Normal gravity at the equator of the WGS 84 ellipsoid (NGA.STND.0036, table of derived
constants; cross-checked in the tests at 0, 45, 60 and 90 degrees)."""

WGS84_SOMIGLIANA_K = 0.00193185265241
"""Somigliana's constant of the WGS 84 ellipsoid (same source)."""

WGS84_ECCENTRICITY_SQUARED = 0.00669437999013
"""First eccentricity squared of the WGS 84 ellipsoid (same source)."""

FREE_AIR_GRADIENT_PER_S2 = 3.086e-6
"""Fall of gravity per metre of height (free-air gradient; textbook value, from memory)."""


def normal_gravity_mps2(latitude_deg: float, height_m: float = 0.0) -> float:
    """Gravity on the WGS 84 ellipsoid, Somigliana's formula with a free-air term.

    Parameters
    ----------
    latitude_deg : float
        Geodetic latitude, degrees, -90 to 90.
    height_m : float
        Height above the ellipsoid, metres.

    Returns
    -------
    float
        Normal gravity, m/s².

    Raises
    ------
    ValueError
        If the latitude lies outside -90 to 90 degrees.

    Examples
    --------
    >>> round(normal_gravity_mps2(45.0), 5)
    9.8062
    """
    if not -90.0 <= latitude_deg <= 90.0:
        raise ValueError(f"latitude_deg is {latitude_deg}, must lie within -90 and 90")
    s = math.sin(math.radians(latitude_deg)) ** 2
    at_sea_level = (
        WGS84_EQUATOR_GRAVITY_MPS2
        * (1.0 + WGS84_SOMIGLIANA_K * s)
        / math.sqrt(1.0 - WGS84_ECCENTRICITY_SQUARED * s)
    )
    return at_sea_level - FREE_AIR_GRADIENT_PER_S2 * height_m
