"""Least-squares fits of Scheffe polynomials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError
from coupage.mixture.limits import Floats
from coupage.mixture.terms import Order, model_matrix, term_names

__all__ = ["ScheffeFit", "fit_scheffe"]


@dataclass(frozen=True, slots=True, eq=False)
class ScheffeFit:
    """A fitted polynomial.

    Attributes
    ----------
    x, y, order
        What was fitted: shares (n, q), values (n,).
    coefficients, covariance : (p,), (p, p)
        In the order of `model_matrix`; the covariance is NaN when no residual is left to tell it.
    r_squared
        About the mean: the polynomial holds a constant, since shares sum to 1.
    residual_sd, residual_df
        Root of residual sum of squares over ``n - p``; NaN when ``n = p``.
    """

    x: Floats
    y: Floats
    order: Order
    coefficients: Floats
    covariance: Floats
    r_squared: float
    residual_sd: float
    residual_df: int

    @property
    def standard_errors(self) -> Floats:
        return np.asarray(np.sqrt(np.diag(self.covariance)))

    def terms(self, names: list[str] | None = None) -> list[str]:
        """Name the coefficients; components are x1, x2, ... unless named."""
        names = names or [f"x{i + 1}" for i in range(self.x.shape[1])]
        return term_names(names, self.order)

    def predict(self, x: npt.ArrayLike) -> Floats:
        """Return the fitted mean (m,) at shares (m, q)."""
        return np.asarray(model_matrix(x, self.order) @ self.coefficients)

    def standard_error_of(self, x: npt.ArrayLike) -> Floats:
        """Return the standard error (m,) of the fitted mean at shares (m, q)."""
        rows = model_matrix(x, self.order)
        return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", rows, self.covariance, rows)))


def fit_scheffe(x: npt.ArrayLike, y: npt.ArrayLike, order: Order = "quadratic") -> ScheffeFit:
    """Fit a Scheffe polynomial by least squares.

    Parameters
    ----------
    x : (n, q)
        Shares, each row summing to 1 within 1e-6.
    y : (n,)
        Values.
    order
        See `model_matrix`.

    Raises
    ------
    InputError
        When shapes, sums or values do not fit, or the points cannot tell the terms apart.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, section 5.5.4.2 (yarn elongation).

    Examples
    --------
    Average yarn elongation of [1]_ at the six points of the lattice:

    >>> x = [[1, 0, 0], [.5, .5, 0], [0, 1, 0], [0, .5, .5], [0, 0, 1], [.5, 0, .5]]
    >>> fit = fit_scheffe(x, [11.7, 15.3, 9.4, 10.5, 16.4, 16.9])
    >>> fit.coefficients.round(6).tolist()
    [11.7, 9.4, 16.4, 19.0, 11.4, -9.6]
    """
    points, values = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    rows = model_matrix(points, order)
    n, p = rows.shape
    if values.shape != (n,):
        raise InputError(f"y: shape {values.shape} does not fit {n} rows of x; give one value each")
    if not (np.isfinite(points).all() and np.isfinite(values).all()):
        raise InputError("x, y: every share and value must be a finite number")
    far = np.flatnonzero(np.abs(points.sum(axis=1) - 1) > 1e-6)
    if far.size:
        raise InputError(
            f"x: row {far[0]} sums to {points[far[0]].sum():.6g}; shares must sum to 1"
        )
    rank = int(np.linalg.matrix_rank(rows))
    if rank < p:
        raise InputError(
            f"x: these {n} points tell only {rank} of the {p} terms of the {order} model apart; "
            "add other blends or take a lower order"
        )
    q, r = np.linalg.qr(rows)
    coefficients = np.linalg.solve(r, q.T @ values)
    residuals = values - rows @ coefficients
    df = n - p
    total = float(((values - values.mean()) ** 2).sum())
    rest = float(residuals @ residuals)
    sd = float(np.sqrt(rest / df)) if df else float("nan")
    inverse = np.linalg.inv(r)
    return ScheffeFit(
        x=points,
        y=values,
        order=order,
        coefficients=coefficients,
        covariance=sd**2 * (inverse @ inverse.T),
        r_squared=1 - rest / total if total > 0 else float("nan"),
        residual_sd=sd,
        residual_df=df,
    )
