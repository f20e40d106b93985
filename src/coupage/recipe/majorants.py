r"""Upper bounds on a chance under a mixture of Gaussians from four of its moments.

A recipe's mean intensity has a posterior of many Gaussian parts (one for each draw of the
standard deviations): part k has weight w_k, mean m_k and variance v_k, and

.. math:: P(X \ge l) = \sum_k w_k \, \Phi\{(m_k - l) / \sqrt{v_k}\}.

Hundreds of parts make this dear when millions of recipes wait. But most recipes only need a proof
that they are *not* among the best, and for that four sums over the parts are enough.

**The bound.** Let :math:`\bar m = \sum w_k m_k`, :math:`\bar v = \sum w_k v_k`, and measure each
part by how far it lies from them, :math:`u_k = (m_k - \bar m)/\sqrt{\bar v}` and
:math:`h_k = v_k/\bar v - 1 \ge -1`. With :math:`z = (\bar m - l)/\sqrt{\bar v}` part k contributes
:math:`g(u_k, h_k)`, :math:`g(u, h) = \Phi\{(z + u)/\sqrt{1 + h}\}`. Suppose a quadratic

.. math:: Q(u, h) = c + c_u u + c_h h + A u^2 + C h^2 \quad\text{with } Q \ge g
          \text{ for all real } u \text{ and all } h \ge -1.

Then, because :math:`\sum w_k u_k = \sum w_k h_k = 0`,

.. math:: P(X \ge l) \le \sum_k w_k Q(u_k, h_k) = c + A\,b + C\,\kappa,

with :math:`b = \sum w_k (m_k - \bar m)^2 / \bar v` and :math:`\kappa = \sum w_k v_k^2 / \bar v^2
- 1`. The four sums are polynomials in the proportions (of degree 2, 4, 4 and a few squares of
degree 4), so they come for millions of recipes as matrix products, at a cost that does not depend
on the number of parts. The
right-hand side is the dual of a moment problem [1]_; whichever majorant Q is used, the bound holds.
It is within a hundredth or two of the truth where parts agree (b and kappa small) or z > 1.

P grows with z for given u and h, so the majorant made for a node :math:`z_i \ge z` serves z as
well. An upper limit is the mirror image: :math:`P(X \le h)` has :math:`z = (h - \bar m)/\sqrt{
\bar v}`, and :math:`P(l \le X \le h) = P(X \ge l) + P(X \le h) - 1`.

**The table.** For each node and each of a few typical (b, kappa), ``tabulate`` finds the best Q
by linear programming on a grid and then *proves* it: over each cell of a grid that covers the half
plane, g is at most its value at a corner (g is monotone in u, and in h for either sign of z + u)
and Q at least a closed-form minimum (Q is a sum of a convex function of u and one of h); whatever
is missing anywhere is added to c. Beyond the grid Q is at least 1 and grows. The result is kept in
``majorants.csv``; a test proves it again.

References
----------
.. [1] Smith, J. E. (1995), "Generalized Chebychev inequalities: theory and applications in
   decision analysis", Operations Research 43(5), 807-825, section 2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

__all__ = ["MajorantTable", "majorant_table", "shortfall", "tabulate"]

Floats = NDArray[np.float64]

NODES_PER_UNIT = 32
FARTHEST = 4
# Typical moments (b, kappa) that a family is best for; the last holds for any kappa.
FAMILIES = ((0.005, 0.01), (0.02, 0.05), (0.06, 0.2), (0.1, 0.8), (0.02, math.inf))
# A recipe takes the first family whose kappa limit is not exceeded.
FAMILY_LIMITS = (0.02, 0.1, 0.4)
_U_END, _H_END = 24.0, 400.0


@dataclass(frozen=True, slots=True)
class MajorantTable:
    """Coefficients of the bound, each of shape (families, nodes).

    Node i stands for z up to ``i / NODES_PER_UNIT - FARTHEST``; the last is certain (bound 1).
    """

    constant: Floats
    u_squared: Floats
    h_squared: Floats

    @property
    def nodes(self) -> int:
        return int(self.constant.shape[1])


@lru_cache(maxsize=1)
def majorant_table() -> MajorantTable:
    """Read the table that :func:`tabulate` made."""
    text = resources.files("coupage.recipe").joinpath("majorants.csv").read_text("utf-8")
    rows = np.array([line.split(",") for line in text.splitlines()[1:]], dtype=float)
    families = len(FAMILIES)
    constant, u_squared, h_squared = (rows[:, k].reshape(families, -1) for k in (2, 5, 6))
    certain = np.ones((families, 1))
    return MajorantTable(
        constant=np.ascontiguousarray(np.hstack([constant, certain])),
        u_squared=np.ascontiguousarray(np.hstack([u_squared, 0 * certain])),
        h_squared=np.ascontiguousarray(np.hstack([h_squared, 0 * certain])),
    )


def tabulate() -> str:
    """Find and prove every majorant; return the text of ``majorants.csv`` (some minutes)."""
    lines = ["family,z,c,cu,ch,A,C"]
    for number, (b, kappa) in enumerate(FAMILIES):
        for node in range(2 * FARTHEST * NODES_PER_UNIT + 1):
            z = node / NODES_PER_UNIT - FARTHEST
            found = _best(z, b, kappa)
            # Written with 6 digits first, proven afterwards: what is proven is what is read.
            q = np.array([float(f"{value:.6f}") for value in found])
            q[3:] = np.maximum(q[3:], 0)
            # Rounding must not spoil the growth that the tails rely on.
            q[2] = max(q[2], 0.0) if math.isinf(kappa) else q[2]
            missing = shortfall(z, q)
            if missing > 1 - q[0]:
                q = np.array([1.0, 0, 0, 0, 0])
            else:
                q[0] += missing + 1e-6
            lines.append(f"{number},{z!r}," + ",".join(f"{value:.6f}" for value in q))
    return "\n".join(lines) + "\n"


def shortfall(z: float, q: Floats) -> float:
    """Most by which g can exceed Q anywhere, proven by cells; 0 or less: Q is a majorant.

    Parameters
    ----------
    z
        The node.
    q : array of shape (5,)
        c, c_u, c_h, A, C.
    """
    c, cu, ch, a, cc = q
    u, h = _axes(z)
    # Beyond the ends: g <= 1, and Q is at least its value at the end and growing from there on.
    if cu + 2 * a * u[-1] < 0 or cu + 2 * a * u[0] > 0 or ch + 2 * cc * h[-1] < 0:
        return math.inf
    least_u, least_h = _least(cu, a, u), _least(ch, cc, h)
    tails = (
        1
        - c
        - np.array(
            [
                min(cu * u[0] + a * u[0] ** 2, cu * u[-1] + a * u[-1] ** 2) + least_h.min(),
                ch * h[-1] + cc * h[-1] ** 2 + least_u.min(),
            ]
        )
    )
    inside = _most(z, u, h) - (c + least_u[:, None] + least_h[None, :])
    return float(max(inside.max(), tails.max()))


def _most(z: float, u: Floats, h: Floats) -> Floats:
    """Largest g in each cell: at the largest u, and the least h where z + u > 0, else the most."""
    top = z + u[1:, None]
    with np.errstate(divide="ignore"):
        steep, flat = 1 / np.sqrt(1 + h[:-1]), 1 / np.sqrt(1 + h[1:])
    steep = np.minimum(steep, 1e9)  # the first cell starts at variance 0: a jump at z + u = 0
    return np.asarray(ndtr(np.where(top > 0, top * steep, top * flat)))


def _least(linear: float, square: float, edges: Floats) -> Floats:
    """Least value of ``linear * t + square * t**2`` in each interval between the edges."""
    ends = linear * edges + square * edges**2
    least = np.minimum(ends[:-1], ends[1:])
    if square > 0:
        bottom = -linear / (2 * square)
        inside = (edges[:-1] < bottom) & (bottom < edges[1:])
        least = np.where(inside, linear * bottom + square * bottom**2, least)
    return np.asarray(least)


def _axes(z: float, fine: float = 0.004, growth: float = 0.025) -> tuple[Floats, Floats]:
    """Edges of the cells: fine where Q touches g (around 0) and around the jump at u = -z."""
    u = np.union1d(_spread(0.0, _U_END, fine, growth), _spread(-z, _U_END, fine, growth))
    h = _spread(0.0, _H_END, fine, growth)
    h = np.union1d(h[h > -1], -1 + np.geomspace(1e-4, 0.3, 24))
    return u[(u >= -_U_END) & (u <= _U_END)], np.concatenate([[-1.0], h])


def _spread(centre: float, end: float, fine: float, growth: float) -> Floats:
    """Points that thin out geometrically on both sides of a centre."""
    away = [0.0]
    while away[-1] < end + abs(centre):
        away.append(away[-1] + max(fine, growth * away[-1]))
    return np.concatenate([centre - np.array(away[:0:-1]), centre + np.array(away)])


def _best(z: float, b: float, kappa: float) -> Floats:
    """Majorant with the least c + A b + C kappa on a coarse grid, by linear programming."""
    from scipy.optimize import linprog

    u, h = _axes(z, fine=0.04, growth=0.16)
    cells = np.pad(_most(z, u, h), 1, constant_values=0.0)
    # A corner must stand above all four cells that meet there.
    g = np.maximum.reduce([cells[:-1, :-1], cells[1:, :-1], cells[:-1, 1:], cells[1:, 1:]])
    g[0], g[-1], g[:, -1] = 1.0, 1.0, 1.0
    uu, hh = (grid.ravel() for grid in np.meshgrid(u, h, indexing="ij"))
    rows = np.column_stack([np.ones_like(uu), uu, hh, uu**2, hh**2])
    scale = np.abs(rows).max(axis=1)
    growing = np.array(
        [[0, -1, 0, -2 * _U_END, 0], [0, 1, 0, -2 * _U_END, 0], [0, 0, -1, 0, -2 * _H_END]]
    )
    flat = math.isinf(kappa)
    found = linprog(
        [1, 0, 0, b, 0 if flat else kappa],
        A_ub=np.vstack([-rows / scale[:, None], growing / (2 * _H_END)]),
        b_ub=np.concatenate([-g.ravel() / scale, np.zeros(3)]),
        bounds=[
            (0, 2),
            (None, None),
            (0 if flat else None, None),
            (0, None),
            (0, 0 if flat else None),
        ],
        method="highs",
    )
    if not found.success:
        raise RuntimeError(f"no majorant at z = {z}: {found.message}")
    return np.asarray(found.x, dtype=float)
