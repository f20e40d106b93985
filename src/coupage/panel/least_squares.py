"""Ordinary least squares to the last digits that double precision allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from coupage.errors import InputError

__all__ = ["LeastSquares", "least_squares"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LeastSquares:
    """Coefficients (p,), their standard errors, residual sum of squares, degrees of freedom."""

    coefficients: Floats
    standard_errors: Floats
    residual_sum: float
    residual_df: int

    @property
    def residual_sd(self) -> float:
        """Square root of the residual mean square; NaN without a degree of freedom."""
        return float(np.sqrt(self.residual_sum / self.residual_df)) if self.residual_df else np.nan


def least_squares(columns: Floats, y: Floats) -> LeastSquares:
    """Least squares of ``y`` (n,) on ``columns`` (n, p).

    Householder factor of the columns on one scale, then steps of refinement with residuals in
    extended precision where the machine has it [1]_.

    Raises
    ------
    InputError
        When some columns are combinations of others.

    References
    ----------
    .. [1] N. J. Higham (2002), Accuracy and Stability of Numerical Algorithms, 2nd ed.,
       section 20.5.

    Examples
    --------
    Intercept and slope of NIST StRD "Norris" begin as -0.262, 1.002; a plain line here:

    >>> found = least_squares(np.array([[1.0, 0], [1, 1], [1, 2]]), np.array([1.0, 3, 5]))
    >>> found.coefficients.round(12).tolist(), found.residual_df
    ([1.0, 2.0], 1)
    """
    n, p = columns.shape
    scale = np.sqrt(np.square(columns).sum(axis=0))
    if n < p or not np.all(scale > 0):
        raise InputError(f"columns: {p} coefficients cannot be told apart by {n} rows")
    q, r = linalg.qr(columns / scale, mode="economic")
    size = np.abs(np.diag(r))
    if size.min() < 1e-14 * size.max():
        raise InputError("columns: some are combinations of others; leave one of them out")
    wide, target = columns.astype(np.longdouble), y.astype(np.longdouble)
    found = np.zeros(p, dtype=np.longdouble)
    for _ in range(4):
        rest = np.asarray(target - wide @ found, dtype=np.float64)
        found = found + linalg.solve_triangular(r, q.T @ rest) / scale
    rest = np.asarray(target - wide @ found, dtype=np.longdouble)
    residual = float(rest @ rest)
    spread = np.sqrt(np.square(linalg.solve_triangular(r, np.eye(p))).sum(axis=1)) / scale
    mean_square = residual / (n - p) if n > p else np.nan
    return LeastSquares(
        coefficients=np.asarray(found, dtype=np.float64),
        standard_errors=spread * np.sqrt(mean_square),
        residual_sum=residual,
        residual_df=n - p,
    )
