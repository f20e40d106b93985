"""Weighing: from proportions to grams that the scale can show and the batches can give."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coupage.errors import InputError
from coupage.units import whole_shares

__all__ = ["Weighing", "pull_grams", "weigh"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Weighing:
    """What to weigh into each cup of one sample.

    Attributes
    ----------
    names : tuple of str
        Component names, empty when none were given.
    wanted : (q,) array
        Proportions asked for.
    units : (q,) array of int
        Scale divisions of each component in one cup; they sum to the cup exactly.
    grams : (q,) array
        The same in grams.
    achieved : (q,) array
        Proportions that the rounded grams make.
    cup_grams : float
        Mass of one cup as weighed, the whole number of divisions nearest to the one asked for.
    cups : int
    resolution_grams : float
    warnings : tuple of str
        What rounding did to the sample, one sentence each.
    """

    names: tuple[str, ...]
    wanted: FloatArray
    units: NDArray[np.int64]
    grams: FloatArray
    achieved: FloatArray
    cup_grams: float
    cups: int
    resolution_grams: float
    warnings: tuple[str, ...]

    def pull(self, *, purge_grams: float = 0.0) -> FloatArray:
        """Grams of each component for all cups and one purge of the grinder with this sample.

        The purge is mixed as the cup is; each component is rounded up to the scale's resolution.
        """
        if not purge_grams >= 0:
            raise InputError(f"purge_grams: {purge_grams} came; it must be 0 or more grams")
        step = _decimal(self.resolution_grams)
        whole = int(self.units.sum())
        pulled = []
        for units in (int(u) for u in self.units):
            purge = (_decimal(purge_grams) * units / whole / step).quantize(
                Decimal(1), rounding=ROUND_CEILING
            )
            pulled.append(float((self.cups * units + purge) * step))
        return np.array(pulled)


def _decimal(number: float) -> Decimal:
    """The decimal number a person typed, not its binary neighbour."""
    return Decimal(repr(float(number)))


def _checked(proportions: ArrayLike, names: Sequence[str]) -> tuple[FloatArray, tuple[str, ...]]:
    wanted = np.array(proportions, dtype=float)
    if wanted.ndim != 1 or not wanted.size or not np.isfinite(wanted).all():
        raise InputError("proportions: give one finite fraction per component")
    if (wanted < 0).any() or abs(wanted.sum() - 1) > 1e-6:
        raise InputError(
            f"proportions: {wanted.round(6).tolist()} sum to {wanted.sum():.6f}; they must be "
            "fractions from 0 to 1 that sum to 1 (30 % is 0.3)"
        )
    if names and len(names) != len(wanted):
        raise InputError(f"names: {len(names)} came for {len(wanted)} proportions; give one each")
    return wanted, tuple(names)


def _warnings(
    wanted: FloatArray, units: NDArray[np.int64], names: Sequence[str], tolerance: float
) -> list[str]:
    shown = names or [f"component {i + 1}" for i in range(len(wanted))]
    achieved = units / units.sum()
    sentences = []
    for name, want, got in zip(shown, wanted, achieved, strict=True):
        if got == 0 and want > 0:
            sentences.append(
                f"{name}: {want:.1%} is less than the scale can weigh into this cup; it is left "
                "out. Use a finer scale or a larger dose."
            )
        elif abs(got - want) > tolerance * (1 + 1e-9):
            sentences.append(
                f"{name}: {want:.1%} becomes {got:.1%} on this scale, {abs(got - want):.1%} of the "
                "cup off. Use a finer scale or a larger dose."
            )
    return sentences


def weigh(
    proportions: ArrayLike,
    cup_grams: float,
    cups: int,
    resolution_grams: float,
    *,
    names: Sequence[str] = (),
    tolerance: float = 0.01,
) -> Weighing:
    """Round a sample's proportions to grams per cup that a scale can show.

    Parameters
    ----------
    proportions : (q,) array_like
        Fractions of mass that sum to 1.
    cup_grams : float
        Dose of one cup in grams.
    cups : int
        How many cups of this sample, at least 1.
    resolution_grams : float
        Division of the scale in grams.
    names : sequence of str, optional
        Component names, for the warnings and for `pull_grams`.
    tolerance : float, default: 0.01
        Share of the cup by which rounding may move a component without a warning.

    Returns
    -------
    Weighing

    Raises
    ------
    InputError
        When the proportions do not sum to 1, a mass is not positive or the cup is smaller than
        one division.

    Notes
    -----
    Largest remainder: of all whole divisions that sum to the cup none has a smaller sum of
    absolute, or of squared, deviations from the shares.

    References
    ----------
    .. [1] M. L. Balinski and H. P. Young, Fair Representation, 2nd ed., 2001, Appendix A
       (largest remainders minimise every norm of the deviations; from memory).

    Examples
    --------
    >>> weighing = weigh([0.45, 0.35, 0.2], 8.25, 5, 0.01)
    >>> weighing.grams.tolist(), weighing.achieved.round(4).tolist()
    ([3.71, 2.89, 1.65], [0.4497, 0.3503, 0.2])
    """
    wanted, names = _checked(proportions, names)
    if not (0 < resolution_grams < np.inf and 0 < cup_grams < np.inf):
        raise InputError(
            f"cup_grams and resolution_grams: {cup_grams} and {resolution_grams} came; both must "
            "be positive masses in grams"
        )
    if cups < 1:
        raise InputError(f"cups: {cups} came; at least 1 cup is needed")
    step, cup = _decimal(resolution_grams), _decimal(cup_grams)
    whole = int((cup / step).to_integral_value())
    if whole < 1:
        raise InputError(
            f"resolution_grams: a scale that shows {resolution_grams} g cannot weigh a cup of "
            f"{cup_grams} g; use a finer scale or a larger dose"
        )
    units = np.array(whole_shares(wanted.tolist(), whole), dtype=np.int64)
    sentences = _warnings(wanted, units, names, tolerance)
    if whole * step != cup:
        sentences.insert(
            0,
            f"A cup of {cup_grams:g} g cannot be weighed in steps of {resolution_grams:g} g; "
            f"{float(whole * step):g} g is weighed instead.",
        )
    return Weighing(
        names=names,
        wanted=wanted,
        units=units,
        grams=np.array([float(int(u) * step) for u in units]),
        achieved=units / whole,
        cup_grams=float(whole * step),
        cups=int(cups),
        resolution_grams=float(resolution_grams),
        warnings=tuple(sentences),
    )


def pull_grams(weighings: Iterable[Weighing], *, purge_grams: float = 0.0) -> dict[str, float]:
    """Grams to pull of each component for a whole table, the grinder's purge included.

    Parameters
    ----------
    weighings : iterable of Weighing
        One per sample, each with `names`; the same name in two samples is the same coffee.
    purge_grams : float, default: 0
        Ground through the grinder and thrown away before each sample, mixed as the sample is.

    Returns
    -------
    dict of str to float
        Grams by component name, in order of first use.

    Raises
    ------
    InputError
        When a weighing has no names or the purge is negative.

    References
    ----------
    .. [1] SCAA cupping protocol: each cup is weighed and ground on its own after the grinder was
       purged with the same sample (seen in a secondary restatement).

    Examples
    --------
    >>> straight = weigh([1.0], 8.25, 3, 0.01, names=["Natural lot"])
    >>> blend = weigh([0.6, 0.4], 8.25, 3, 0.01, names=["Natural lot", "Washed lot"])
    >>> pull_grams([straight, blend], purge_grams=5)
    {'Natural lot': 47.6, 'Washed lot': 11.9}
    """
    total: dict[str, Decimal] = {}
    for weighing in weighings:
        if not weighing.names:
            raise InputError("weighings: each needs names; pass names= to weigh()")
        pulled = weighing.pull(purge_grams=purge_grams)
        for name, mass in zip(weighing.names, pulled.tolist(), strict=True):
            total[name] = total.get(name, Decimal(0)) + _decimal(mass)
    return {name: float(mass) for name, mass in total.items()}
