"""How long a control chart runs before it signals, on average.

In control a long run is good (few false alarms), after a shift a short one. Values are normal and
independent, the center and sigma known.

References
----------
.. [1] Champ, C. W. and Woodall, W. H., "Exact results for Shewhart control charts with
   supplementary runs rules", Technometrics 29, 1987, 393-399: Markov chain over recent zones.
.. [2] Crowder, S. V., "A simple method for studying run-length distributions of exponentially
   weighted moving average charts", Technometrics 29, 1987, 401-407: integral equation.
.. [3] Goel, A. L. and Wu, S. M., "Determination of A.R.L. and a contour nomogram for CUSUM charts
   to control normal mean", Technometrics 13, 1971, 221-230: integral equation.
"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupage.errors import InputError

__all__ = ["cusum_run_length", "ewma_run_length", "western_electric_run_length"]

Floats = NDArray[np.float64]
_EDGES = np.array([-np.inf, -3, -2, -1, 0, 1, 2, 3, np.inf])
_NODES = 60
_LONGEST = 1e12
# What the chain must remember: who of the last two lay beyond 2 sigma and who of the last four
# beyond 1 sigma (first above, then below), and the length of the run on one side, signed.
_State = tuple[tuple[bool, ...], tuple[bool, ...], tuple[bool, ...], tuple[bool, ...], int]
_START: _State = ((False,) * 2, (False,) * 2, (False,) * 4, (False,) * 4, 0)


def western_electric_run_length(shift: float = 0.0, rules: Collection[int] = (1, 2, 3, 4)) -> float:
    """Average number of points until one of the Western Electric rules holds.

    Parameters
    ----------
    shift
        How far the mean has moved, in sigma.
    rules
        Numbers of the rules in use, from 1 to 4.

    Returns
    -------
    float

    Raises
    ------
    InputError
        When a rule has no such number, or none is given.

    Examples
    --------
    All four rules: a false alarm about every 92 points (Champ and Woodall 1987; e-Handbook 6.3.2).

    >>> round(western_electric_run_length(), 2), round(western_electric_run_length(rules=[1]), 1)
    (91.75, 370.4)
    """
    used = frozenset(rules)
    if not used or not used <= {1, 2, 3, 4}:
        raise InputError(f"rules: {sorted(used)} must be some of 1, 2, 3, 4")
    chance = np.diff(ndtr(_EDGES - shift))
    index: dict[_State, int] = {_START: 0}
    moves: list[tuple[int, int, float]] = []
    todo = [_START]
    while todo:
        state = todo.pop()
        for zone, p in enumerate(chance):
            after = _step(state, zone - 4 if zone < 4 else zone - 3, used)
            if after is None:
                continue
            if after not in index:
                index[after] = len(index)
                todo.append(after)
            moves.append((index[state], index[after], p))
    stay = np.zeros((len(index), len(index)))
    for i, j, p in moves:
        stay[i, j] += p
    return float(np.linalg.solve(np.eye(len(index)) - stay, np.ones(len(index)))[0])


def _step(state: _State, zone: int, used: frozenset[int]) -> _State | None:
    """State after a point in ``zone`` (-4..-1 below, 1..4 above the center); None: a signal.

    A rule that is not in use remembers nothing, which keeps the chain small.
    """
    above2, below2, above1, below1, run = state
    if 1 in used and abs(zone) == 4:
        return None
    if 2 in used:
        for past, far in ((above2, zone >= 3), (below2, zone <= -3)):
            if far and any(past):
                return None
        above2, below2 = (above2[1], zone >= 3), (below2[1], zone <= -3)
    if 3 in used:
        for past, far in ((above1, zone >= 2), (below1, zone <= -2)):
            if far and sum(past) >= 3:
                return None
        above1, below1 = (*above1[1:], zone >= 2), (*below1[1:], zone <= -2)
    if 4 in used:
        run = (
            run + 1
            if zone > 0 and run > 0
            else run - 1
            if zone < 0 and run < 0
            else (zone > 0) * 2 - 1
        )
        if abs(run) == 8:
            return None
    return above2, below2, above1, below1, run


def ewma_run_length(shift: float = 0.0, *, weight: float = 0.2, width: float = 3.0) -> float:
    """Average number of points until an EWMA chart with its long-run limits signals.

    Parameters
    ----------
    shift
        How far the mean has moved, in sigma.
    weight, width
        As in `control_chart`.

    Examples
    --------
    Lucas and Saccucci (1990) tabulate 10.5 for a shift of one sigma.

    >>> round(ewma_run_length(1.0, weight=0.2, width=2.962), 1)
    10.5
    """
    if not (0 < weight <= 1 and width > 0):
        raise InputError(
            f"weight, width: {weight}, {width}; weight is above 0 up to 1, width above 0"
        )
    limit = width * np.sqrt(weight / (2 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    nodes, weights = nodes * limit, weights * limit

    def kernel(start: Floats) -> Floats:
        step = (nodes - (1 - weight) * start[:, None]) / weight - shift
        return np.asarray(weights * _density(step) / weight)

    lengths = np.linalg.solve(np.eye(_NODES) - kernel(nodes), np.ones(_NODES))
    return float(1 + kernel(np.zeros(1))[0] @ lengths)


def cusum_run_length(
    shift: float = 0.0, *, slack: float = 0.5, decision: float = 5.0, sides: int = 2
) -> float:
    """Average number of points until a CUSUM chart signals, its sums starting at 0.

    Parameters
    ----------
    shift
        How far the mean has moved, in sigma.
    slack, decision
        As in `control_chart`, in sigma.
    sides
        2 for sums above and below, 1 for the sum above alone.

    Examples
    --------
    One-sided with slack 0.5: 335.4 and 930.9 in control for decision intervals 4 and 5
    (e-Handbook 6.3.2.3.1, from memory).

    >>> [round(cusum_run_length(slack=0.5, decision=h, sides=1), 1) for h in (4, 5)]
    [335.4, 930.9]
    """
    if not (slack >= 0 and decision > 0 and sides in (1, 2)):
        raise InputError(
            f"slack, decision, sides: {slack}, {decision}, {sides}; slack is 0 or more, decision "
            "above 0, sides 1 or 2"
        )
    above = _one_sided(shift - slack, decision)
    if sides == 1:
        return above
    # Rates of the two sums add: they can never both be at their limits (slack >= 0).
    return 1 / (1 / above + 1 / _one_sided(-shift - slack, decision))


def _one_sided(drift: float, decision: float) -> float:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    nodes, weights = (nodes + 1) * decision / 2, weights * decision / 2
    starts = np.concatenate([[0.0], nodes])  # the sum rests on 0 with a chance of its own
    moves = np.empty((_NODES + 1, _NODES + 1))
    moves[:, 0] = ndtr(-starts - drift)
    moves[:, 1:] = weights * _density(nodes - starts[:, None] - drift)
    try:
        length = float(np.linalg.solve(np.eye(_NODES + 1) - moves, np.ones(_NODES + 1))[0])
    except np.linalg.LinAlgError:
        return np.inf
    # The chance to signal is then below what a double can tell from 0: no digit would be true.
    return length if 0 < length < _LONGEST else np.inf


def _density(z: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi))
