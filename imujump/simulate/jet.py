"""Values with their exact first and second time derivatives.

A :class:`Jet` carries a quantity, its rate and the rate of its rate through every
operation by the rules of differential calculus (truncated Taylor arithmetic). A motion that
is built from polynomials by these operations therefore has no differentiation error: what
an ideal sensor feels follows from it to rounding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imujump.model import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Jet:
    """A quantity over time, scalar (n,) or vector (n, 3), with two time derivatives.

    Units are those of the quantity, per second, and per second squared.

    Examples
    --------
    >>> t = Jet(np.array([2.0]), np.array([1.0]), np.array([0.0]))
    >>> cube = t * t * t
    >>> cube.value[0], cube.rate[0], cube.second[0]
    (np.float64(8.0), np.float64(12.0), np.float64(12.0))
    """

    value: FloatArray
    rate: FloatArray
    second: FloatArray

    @classmethod
    def constant(cls, value: FloatArray) -> Jet:
        """Return a quantity that does not change."""
        zero = np.zeros_like(value)
        return cls(value, zero, zero)

    def __add__(self, other: Jet | float | FloatArray) -> Jet:
        if isinstance(other, Jet):
            return Jet(self.value + other.value, self.rate + other.rate, self.second + other.second)
        return Jet(self.value + other, self.rate, self.second)

    __radd__ = __add__

    def __neg__(self) -> Jet:
        return Jet(-self.value, -self.rate, -self.second)

    def __sub__(self, other: Jet | float | FloatArray) -> Jet:
        return self + (-other)

    def __rsub__(self, other: float | FloatArray) -> Jet:
        return (-self) + other

    def __mul__(self, other: Jet | float) -> Jet:
        if isinstance(other, Jet):
            return Jet(
                self.value * other.value,
                self.rate * other.value + self.value * other.rate,
                self.second * other.value
                + 2.0 * self.rate * other.rate
                + self.value * other.second,
            )
        return Jet(self.value * other, self.rate * other, self.second * other)

    __rmul__ = __mul__

    def __truediv__(self, other: Jet | float) -> Jet:
        if isinstance(other, Jet):
            return self * other.chain(
                1.0 / other.value, -1.0 / other.value**2, 2.0 / other.value**3
            )
        return self * (1.0 / other)

    def chain(self, value: FloatArray, first: FloatArray, second: FloatArray) -> Jet:
        """Apply a function, given its value and two derivatives at this quantity."""
        return Jet(value, first * self.rate, second * self.rate**2 + first * self.second)

    def scaled(self, factor: Jet | float) -> Jet:
        """Multiply a vector (n, 3) by a scalar (n,)."""
        if isinstance(factor, Jet):
            factor = Jet(factor.value[:, None], factor.rate[:, None], factor.second[:, None])
        return self * factor

    def part(self, index: int) -> Jet:
        """Return one component of a vector."""
        return Jet(self.value[:, index], self.rate[:, index], self.second[:, index])

    def where(self, condition: np.ndarray, other: Jet) -> Jet:
        """Return this quantity where ``condition`` (n,) holds, ``other`` elsewhere."""
        if self.value.ndim == 2:
            condition = condition[:, None]
        return Jet(
            np.where(condition, self.value, other.value),
            np.where(condition, self.rate, other.rate),
            np.where(condition, self.second, other.second),
        )


def sin(angle: Jet) -> Jet:
    """Sine of an angle in radians."""
    s, c = np.sin(angle.value), np.cos(angle.value)
    return angle.chain(s, c, -s)


def cos(angle: Jet) -> Jet:
    """Cosine of an angle in radians."""
    s, c = np.sin(angle.value), np.cos(angle.value)
    return angle.chain(c, -s, -c)


def sqrt(x: Jet) -> Jet:
    """Square root of a positive quantity."""
    root = np.sqrt(x.value)
    return x.chain(root, 0.5 / root, -0.25 / (root * x.value))


def softplus(x: Jet) -> Jet:
    """log(1 + exp(x)): zero far below 0, x far above."""
    gate = 1.0 / (1.0 + np.exp(-np.clip(x.value, -500.0, 500.0)))
    return x.chain(np.logaddexp(0.0, x.value), gate, gate * (1.0 - gate))


def dot(a: Jet, b: Jet) -> Jet:
    """Scalar product of two vectors."""
    return Jet(
        np.einsum("ij,ij->i", a.value, b.value),
        np.einsum("ij,ij->i", a.rate, b.value) + np.einsum("ij,ij->i", a.value, b.rate),
        np.einsum("ij,ij->i", a.second, b.value)
        + 2.0 * np.einsum("ij,ij->i", a.rate, b.rate)
        + np.einsum("ij,ij->i", a.value, b.second),
    )


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    out = np.empty(np.broadcast_shapes(a.shape, b.shape))
    out[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    out[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    out[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return out


def cross(a: Jet, b: Jet) -> Jet:
    """Vector product of two vectors."""
    return Jet(
        _cross(a.value, b.value),
        _cross(a.rate, b.value) + _cross(a.value, b.rate),
        _cross(a.second, b.value) + 2.0 * _cross(a.rate, b.rate) + _cross(a.value, b.second),
    )


def unit(a: Jet) -> Jet:
    """Return the unit vector along a vector that is not zero."""
    return a.scaled(Jet.constant(np.ones(len(a.value))) / sqrt(dot(a, a)))


def stack(parts: Sequence[Jet]) -> Jet:
    """Join three scalars to a vector."""
    return Jet(
        np.stack([p.value for p in parts], axis=1),
        np.stack([p.rate for p in parts], axis=1),
        np.stack([p.second for p in parts], axis=1),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A moving frame: its three axes as world vectors, each a :class:`Jet` (n, 3)."""

    x: Jet
    y: Jet
    z: Jet

    @classmethod
    def from_angles(cls, yaw: Jet, pitch: Jet, roll: Jet) -> Frame:
        """Build a frame turned by yaw about z, then pitch about y, then roll about x.

        Angles in radians, right-handed: positive yaw turns left, positive pitch leans
        forward, positive roll lowers the right side.
        """
        cy, sy, cp, sp, cr, sr = (
            cos(yaw),
            sin(yaw),
            cos(pitch),
            sin(pitch),
            cos(roll),
            sin(roll),
        )
        return cls(
            stack([cy * cp, sy * cp, -sp]),
            stack([cy * sp * sr - sy * cr, sy * sp * sr + cy * cr, cp * sr]),
            stack([cy * sp * cr + sy * sr, sy * sp * cr - cy * sr, cp * cr]),
        )

    def point(self, origin: Jet, offset_m: Sequence[float]) -> Jet:
        """Return the path of a point fixed in the frame at ``offset_m`` from ``origin``."""
        return origin + self.x * offset_m[0] + self.y * offset_m[1] + self.z * offset_m[2]

    def matrix(self) -> FloatArray:
        """Rotation matrices (n, 3, 3) that turn frame components into world components."""
        return np.stack([self.x.value, self.y.value, self.z.value], axis=2)

    def into_frame(self, vector: FloatArray) -> FloatArray:
        """Turn world components (n, 3) into frame components."""
        return np.stack(
            [np.einsum("ij,ij->i", axis.value, vector) for axis in (self.x, self.y, self.z)],
            axis=1,
        )

    def angular_rate_radps(self) -> FloatArray:
        """Angular velocity in frame components (n, 3), rad/s."""
        x, y, z = self.x, self.y, self.z
        return np.stack(
            [
                np.einsum("ij,ij->i", y.rate, z.value),
                np.einsum("ij,ij->i", z.rate, x.value),
                np.einsum("ij,ij->i", x.rate, y.value),
            ],
            axis=1,
        )

    def angular_acceleration_radps2(self) -> FloatArray:
        """Rate of change of :meth:`angular_rate_radps` (n, 3), rad/s²."""
        pairs = ((self.y, self.z), (self.z, self.x), (self.x, self.y))
        return np.stack(
            [
                np.einsum("ij,ij->i", a.second, b.value) + np.einsum("ij,ij->i", a.rate, b.rate)
                for a, b in pairs
            ],
            axis=1,
        )
