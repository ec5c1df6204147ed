"""Vectors in three dimensions, many at a time, one a row.

An attempt has a thousand samples: what counts then is how often numpy is called and whether it
sees one large product or many small ones.
"""

from __future__ import annotations

import numpy as np

from imujump.model import FloatArray

UP = np.array((0.0, 0.0, 1.0))
"""The vertical in world axes."""


def rotate(rot: FloatArray, vectors: FloatArray) -> FloatArray:
    """Rotate vectors (n, 3) by matrices (n, 3, 3), row by row."""
    return np.asarray(np.einsum("nij,nj->ni", rot, vectors))


def turned(rot: FloatArray, vector: FloatArray) -> FloatArray:
    """Rotate one vector (3,) by matrices (n, 3, 3): as one product, not n small ones."""
    return np.asarray((rot.reshape(-1, 3) @ vector).reshape(-1, 3))


def cross(left: FloatArray, right: FloatArray) -> FloatArray:
    """Cross products of vectors (…, 3), column by column: quicker than numpy's own."""
    x, y, z = left[..., 0], left[..., 1], left[..., 2]
    u, v, w = right[..., 0], right[..., 1], right[..., 2]
    first = y * w - z * v
    out = np.empty((*first.shape, 3))
    out[..., 0] = first
    np.subtract(z * u, x * w, out=out[..., 1])
    np.subtract(x * v, y * u, out=out[..., 2])
    return out


def cross_matrix(vectors: FloatArray) -> FloatArray:
    """Matrices (…, 3, 3) that form the cross product with vectors (…, 3) from the left."""
    x, y, z = vectors[..., 0], vectors[..., 1], vectors[..., 2]
    out = np.zeros((*vectors.shape, 3))
    out[..., 0, 1], out[..., 0, 2] = -z, y
    out[..., 1, 0], out[..., 1, 2] = z, -x
    out[..., 2, 0], out[..., 2, 1] = -y, x
    return out


def small_turn(angles_rad: FloatArray) -> FloatArray:
    """What turns by small angles (n, 3) add to a vector, as matrices (n, 3, 3).

    The exponential series to second order, [a] + [a]²/2, with [a]² = a a' - a'a 1: good to 1e-5 at
    two degrees.
    """
    x, y, z = np.ascontiguousarray(angles_rad.T)
    xy, xz, yz = 0.5 * x * y, 0.5 * x * z, 0.5 * y * z
    xx, yy, zz = 0.5 * x * x, 0.5 * y * y, 0.5 * z * z
    out = np.empty((len(x), 3, 3))
    out[:, 0, 0], out[:, 0, 1], out[:, 0, 2] = -yy - zz, xy - z, xz + y
    out[:, 1, 0], out[:, 1, 1], out[:, 1, 2] = xy + z, -xx - zz, yz - x
    out[:, 2, 0], out[:, 2, 1], out[:, 2, 2] = xz - y, yz + x, -xx - yy
    return out


def lengths(vectors: FloatArray) -> FloatArray:
    """Lengths (n,) of vectors (n, 3)."""
    return np.asarray(np.sqrt(np.einsum("ni,ni->n", vectors, vectors)))
