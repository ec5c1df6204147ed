"""A chain of unknowns, each knot's tied to the next's: its matrix, factored as a band."""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import as_strided
from scipy.linalg import cholesky_banded
from scipy.linalg.lapack import dtbtrs

from imujump.model import FloatArray


class FactoredChain:
    """Cholesky factor L of a symmetric, positive definite block-tridiagonal matrix A = L L'.

    Parameters
    ----------
    diagonal : FloatArray
        (k, m, m) symmetric blocks of the k knots.
    below : FloatArray
        (k - 1, m, m) blocks below them.
    reach : int
        Column j of a block below holds nothing further down than row j + ``reach`` - 1; m at
        the most.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the matrix is not positive definite.

    Examples
    --------
    >>> chain = FactoredChain(np.array((4.0, 2.0)).reshape(2, 1, 1), np.full((1, 1, 1), 2.0), 1)
    >>> chain.back(chain.half(np.array((6.0, 4.0)))).tolist()
    [1.0, 1.0]
    """

    def __init__(self, diagonal: FloatArray, below: FloatArray, reach: int) -> None:
        bands = _bands(diagonal, below, reach)
        self._lower = cholesky_banded(bands, lower=True, overwrite_ab=True, check_finite=False)

    def half(self, right: FloatArray, first: int = 0) -> FloatArray:
        """Solve L x = right (k m,) or (k m, columns): half of a solution by A.

        With ``first`` the rows before it are zero and left out, in ``right`` as in the solution.
        """
        return _by_triangle(self._lower[:, first:], right, "N")

    def back(self, half: FloatArray) -> FloatArray:
        """Solve L' x = half: the other half."""
        return _by_triangle(self._lower, half, "T")


def _by_triangle(lower: FloatArray, right: FloatArray, trans: str) -> FloatArray:
    solved, failed = dtbtrs(lower, right, uplo="L", trans=trans)
    if failed:
        raise np.linalg.LinAlgError("the chain's matrix is singular")
    return np.asarray(solved)


def _bands(diagonal: FloatArray, below: FloatArray, reach: int) -> FloatArray:
    """The matrix as LAPACK wants it: in column j its elements from (j, j) down."""
    k, m = diagonal.shape[:2]
    depth = m + reach
    columns = np.zeros((k, m, m + depth))
    columns[:, :, :m] = diagonal  # symmetric
    columns[:-1, :, m : 2 * m] = below.swapaxes(1, 2)
    # A block's column j begins with j elements above the matrix's diagonal: step over them.
    knot, column, row = columns.strides
    from_diagonal = as_strided(columns, (k, m, depth), (knot, column + row, row))
    return from_diagonal.reshape(k * m, depth).T
