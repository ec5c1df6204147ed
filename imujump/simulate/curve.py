"""Piecewise polynomial curves with continuous acceleration."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.interpolate import PPoly, make_interp_spline

from imujump.model import FloatArray
from imujump.simulate.jet import Jet


class Curve:
    """A vector curve made of polynomial pieces, evaluated with two exact derivatives.

    Parameters
    ----------
    breaks_s : (m + 1,) array
        Strictly increasing piece borders. Outside them the curve holds its end value, so it
        should start and end at rest.
    coefficients : (k, m, d) array
        Power-basis coefficients of each piece about its start, highest power first.
    """

    __slots__ = ("_first", "_second", "_value")

    def __init__(self, breaks_s: FloatArray, coefficients: FloatArray) -> None:
        self._value = PPoly(coefficients, breaks_s)
        self._first = self._value.derivative(1)
        self._second = self._value.derivative(2)

    @property
    def start_s(self) -> float:
        """Time of the first break."""
        return float(self._value.x[0])

    @property
    def end_s(self) -> float:
        """Time of the last break."""
        return float(self._value.x[-1])

    def __call__(self, time_s: FloatArray) -> Jet:
        """Evaluate at ``time_s`` (n,); the jet's arrays are (n, d)."""
        t = np.clip(time_s, self.start_s, self.end_s)
        inside = ((time_s >= self.start_s) & (time_s <= self.end_s))[:, None]
        return Jet(
            self._value(t),
            np.where(inside, self._first(t), 0.0),
            np.where(inside, self._second(t), 0.0),
        )


def quintic_coefficients(
    duration_s: FloatArray, start: Sequence[FloatArray], end: Sequence[FloatArray]
) -> FloatArray:
    """Quintic pieces that meet position, velocity and acceleration at both ends.

    Parameters
    ----------
    duration_s : (m,) array
        Length of each piece.
    start, end : three arrays (m, d) each
        Position, velocity, acceleration at the start and the end of each piece.

    Returns
    -------
    (6, m, d) array
        Power-basis coefficients about the start of each piece, highest power first.
    """
    h = duration_s[:, None]
    p0, v0, a0 = start
    p1, v1, a1 = end
    gap = p1 - p0 - v0 * h - 0.5 * a0 * h**2
    slope = v1 - v0 - a0 * h
    bend = a1 - a0
    return np.stack(
        [
            (6.0 * gap - 3.0 * slope * h + 0.5 * bend * h**2) / h**5,
            (-15.0 * gap + 7.0 * slope * h - bend * h**2) / h**4,
            (10.0 * gap - 4.0 * slope * h + 0.5 * bend * h**2) / h**3,
            0.5 * a0,
            v0,
            p0,
        ]
    )


def quintic_curve(
    time_s: FloatArray, position: FloatArray, velocity: FloatArray, acceleration: FloatArray
) -> Curve:
    """Join knots (m,), each with position, velocity and acceleration (m, d), by quintics."""
    return Curve(
        time_s,
        quintic_coefficients(
            np.diff(time_s),
            (position[:-1], velocity[:-1], acceleration[:-1]),
            (position[1:], velocity[1:], acceleration[1:]),
        ),
    )


def through_points(
    time_s: FloatArray, point: FloatArray, start: Sequence[FloatArray], end: Sequence[FloatArray]
) -> PPoly:
    """Least-jerk curve through points: a quintic spline, free of kinks up to snap.

    Parameters
    ----------
    time_s, point : (m,) and (m, d) arrays
        Instants and points, ends included.
    start, end : two arrays (d,) each
        Velocity and acceleration at the ends.
    """
    spline = make_interp_spline(
        time_s,
        point,
        k=5,
        bc_type=([(1, start[0]), (2, start[1])], [(1, end[0]), (2, end[1])]),  # type: ignore[arg-type]
    )
    starts = time_s[:-1]
    coefficients = [spline(starts, nu=order) / math.factorial(order) for order in range(5, -1, -1)]
    return PPoly(np.stack(coefficients), time_s)
