"""Do several batches of one coffee taste the same, and which of them stands out?

A question about many batches is asked of their effects together. That all of them lie within the
tolerance is one event with one chance, so there is nothing to correct for. That a *named* one
stands out is asked of each in turn, which must be paid for: the chance that it takes grows with
the number of batches and attributes, so that all the questions together err as seldom as one.

"Same" is asked twice. The model expects batches of one coffee to be alike, which is true of most
and makes few cups look like many. So the cups must also say it alone, with nothing expected
beforehand: then two batches that do differ by the tolerance are rarely called the same, for each
attribute and so for all (an intersection of tests keeps the level of each [3]_).

References
----------
.. [1] Gelman, A., Hill, J. and Yajima, M., "Why we (usually) don't have to worry about multiple
   comparisons", J. Res. Educ. Eff. 5, 2012, 189-211: effects that are shrunken together.
.. [2] Dunn, O. J., "Multiple comparisons among means", J. Am. Stat. Assoc. 56, 1961, 52-64: the
   Bonferroni inequality.
.. [3] Berger, R. L., "Multiparameter hypothesis testing and acceptance sampling", Technometrics
   24, 1982, 295-300: intersection-union tests.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import ndtr

from coupage.errors import InputError
from coupage.panel.answers import (
    Belief,
    Comparison,
    JointComparison,
    Verdict,
    beliefs_of,
    compare_line,
    decide,
    joint_of,
)
from coupage.panel.beliefs import Beliefs
from coupage.panel.parts import Part
from coupage.panel.reading import nearest

__all__ = ["Uniformity", "batch_effects", "uniformity"]

Floats = NDArray[np.float64]
_DRAWS = 20_000


@dataclass(frozen=True, slots=True)
class Uniformity:
    """Several batches of one coffee beside each other, in points at the reference age.

    Attributes
    ----------
    batches
        Names, in the order asked.
    pairs
        Every pair once: by attribute, the difference first minus second.
    joint
        Every pair over all attributes together.
    from_others
        Each batch against the mean of the others, by attribute.
    chance_within
        Chance that no two of them differ by the tolerance or more, by attribute.
    chance_same
        The same over all attributes.
    by_cups
        Every pair by the cups alone, without what is expected of sisters beforehand; by attribute.
    stands_out
        The batches that differ from the others, the surest first, each with the attribute and the
        direction (``"higher"`` or ``"lower"``) that shows it.
    needed
        The chance that standing out takes, given how many questions are asked.
    verdict
        ``"same"``, ``"different"`` or ``"not enough cups"``.
    further_cups
        Further cups of each batch (one rating each) that would settle the pairs with a chance of
        80 %; None where no number would do.
    """

    batches: tuple[str, ...]
    pairs: Mapping[tuple[str, str], Mapping[str, Comparison]]
    joint: Mapping[tuple[str, str], JointComparison]
    from_others: Mapping[str, Mapping[str, Comparison]]
    chance_within: Mapping[str, float]
    chance_same: float
    by_cups: Mapping[tuple[str, str], Mapping[str, Comparison]]
    stands_out: tuple[tuple[str, str, str], ...]
    needed: float
    verdict: Verdict
    further_cups: int | None


def batch_effects(beliefs: Beliefs) -> dict[str, dict[str, Belief]]:
    """What each batch has that the average of its sisters has not, by batch and attribute."""
    names, layout = beliefs.batches, beliefs.layout
    if not names:
        return {}
    eye = sparse.csr_array(
        (
            np.ones(len(names)),
            (np.arange(len(names)), layout.first_batch + np.arange(len(names))),
        ),
        shape=(len(names), layout.size),
    )
    found: dict[str, dict[str, Belief]] = {name: {} for name in names}
    for attribute, part in zip(beliefs.attributes, beliefs.parts, strict=True):
        for name, belief in zip(
            names, beliefs_of(part.line(eye, np.zeros(len(names)))), strict=True
        ):
            found[name][attribute] = belief
    return found


def uniformity(
    beliefs: Beliefs,
    batches: Sequence[str],
    tolerance: float | Mapping[str, float],
    *,
    attributes: Sequence[str] | None = None,
    threshold: float | None = None,
    seed: int = 0,
) -> Uniformity:
    """Judge whether batches of one coffee are the same within tolerance.

    Parameters
    ----------
    beliefs
        From `fit`, with batches named.
    batches
        Two or more names; all of the same lot and approach, which is the caller's to see to.
    tolerance
        Points, one for all or by attribute.
    attributes
        Which count; those with a tolerance by default.
    threshold
        The chance that a verdict needs; that of the beliefs by default.
    seed
        Of the draws behind the chances of three and more batches.

    Returns
    -------
    Uniformity

    Raises
    ------
    InputError
        When fewer than two batches come, one was never tasted, or a tolerance is missing.
    """
    names = tuple(dict.fromkeys(batches))
    level = beliefs.threshold if threshold is None else threshold
    asked = _asked(beliefs, names, tolerance, attributes)
    columns = np.array(
        [beliefs.layout.first_batch + beliefs.batches.index(n) for n in names], dtype=np.int64
    )
    index = list(combinations(range(len(names)), 2))
    rows = np.vstack([_pair_rows(index, len(names)), _other_rows(len(names))])
    features = sparse.lil_array((len(rows), beliefs.layout.size))
    features[:, columns] = rows
    pairs: dict[tuple[str, str], dict[str, Comparison]] = {
        (names[i], names[j]): {} for i, j in index
    }
    alone: dict[tuple[str, str], dict[str, Comparison]] = {pair: {} for pair in pairs}
    others: dict[str, dict[str, Comparison]] = {name: {} for name in names}
    within: dict[str, float] = {}
    for attribute, limit in asked.items():
        part = beliefs.parts[beliefs.attributes.index(attribute)]
        cup = 2 * (part.doubt.mean_square("noise") + beliefs.priors.floor)
        cup += 2 * part.doubt.mean_square("disagreement")
        line = part.line(sparse.csr_array(features), np.zeros(len(rows)))
        found = compare_line(line, np.full(len(rows), limit), level, float(np.sqrt(cup)))
        for (i, j), comparison in zip(index, found, strict=False):
            pairs[names[i], names[j]][attribute] = comparison
            between = 2 * _usual_square(part)
            alone[names[i], names[j]][attribute] = _by_cups(comparison, between)
        for name, comparison in zip(names, found[len(index) :], strict=True):
            others[name][attribute] = comparison
        if len(names) == 2:
            within[attribute] = found[0].chance_same
        else:
            rng = np.random.default_rng([seed, zlib.crc32(attribute.encode())])
            block = part.block(columns)
            drawn = block.draws(block.parts(_DRAWS, rng), rng)
            within[attribute] = float((np.ptp(drawn, axis=1) < limit).mean())
    return _judged(names, pairs, alone, others, within, level)


def _judged(
    names: tuple[str, ...],
    pairs: Mapping[tuple[str, str], Mapping[str, Comparison]],
    alone: Mapping[tuple[str, str], Mapping[str, Comparison]],
    others: Mapping[str, Mapping[str, Comparison]],
    within: Mapping[str, float],
    level: float,
) -> Uniformity:
    same = float(np.prod(list(within.values())))
    # Of two, each stands out from the other: one question an attribute, not two.
    questions = len(within) * (len(names) if len(names) > 2 else 1)
    needed = 1 - (1 - level) / questions
    apart = [
        (max(c.chance_higher, c.chance_lower), name, attribute, c)
        for name, answers in others.items()
        for attribute, c in answers.items()
        if max(c.chance_higher, c.chance_lower) >= needed
    ]
    out: dict[str, tuple[str, str, str]] = {}
    for _, name, attribute, c in sorted(apart, key=lambda row: -row[0]):
        side = "higher" if c.chance_higher > c.chance_lower else "lower"
        out.setdefault(name, (name, attribute, side))
    proven = all(c.chance_same >= level for answers in alone.values() for c in answers.values())
    verdict: Verdict = "different" if out else decide(same if proven else 0.0, 0.0, level)
    further: int | None = 0
    if verdict == "not enough cups":
        counts = [_further(pairs, level, together=True), _further(alone, level, together=False)]
        known = [n for n in counts if n is not None]
        further = max(known) if len(known) == len(counts) else None
    return Uniformity(
        batches=names,
        pairs=pairs,
        joint={pair: joint_of(answers, level) for pair, answers in pairs.items()},
        from_others=others,
        chance_within=within,
        chance_same=same,
        by_cups=alone,
        stands_out=tuple(out.values()),
        needed=needed,
        verdict=verdict,
        further_cups=further,
    )


def _usual_square(part: Part) -> float:
    """Variance between sisters that the estimate leaned on: the square of the mean of its sd.

    Smaller sds among the draws pull harder than their mean square would show. The square of their
    mean keeps false "same" below the verdict's risk from 3 to 12 ratings a batch, by simulation
    (bench/keeping_uniformity.py).
    """
    sds = part.doubt.of("batch")
    return 0.0 if sds is None else float(sds.mean()) ** 2


def _by_cups(c: Comparison, between: float) -> Comparison:
    """A difference without the prior N(0, between) that sisters' differences have.

    What the cups say is the posterior over that prior: precisions subtract.
    """
    learned = 1 / c.sd**2 - 1 / between if between > 0 and c.sd > 0 else 0.0
    if learned <= 1e-9:
        return replace(c, chance_same=0.0, chance_higher=0.0, chance_lower=0.0)
    mean, sd = c.difference / c.sd**2 / learned, 1 / float(np.sqrt(learned))
    below, above = (float(ndtr((edge - mean) / sd)) for edge in (-c.tolerance, c.tolerance))
    half = 1.6448536269514722 * sd
    return replace(
        c,
        difference=mean,
        sd=sd,
        low90=mean - half,
        high90=mean + half,
        chance_same=above - below,
        chance_a_higher=float(ndtr(mean / sd)),
        chance_higher=1 - above,
        chance_lower=below,
        verdict=decide(above - below, max(1 - above, below), c.threshold),
    )


def _further(
    pairs: Mapping[tuple[str, str], Mapping[str, Comparison]], level: float, *, together: bool
) -> int | None:
    """Cups of each batch that settle every open pair; ``together``: all as sure as one."""
    questions = sum(len(answers) for answers in pairs.values()) if together else 1
    each = level ** (1 / questions)
    needed = []
    for answers in pairs.values():
        for c in answers.values():
            open_still = replace(c, threshold=each, verdict=decide(c.chance_same, 0.0, each))
            needed.append(open_still.further_cups())
    known = [n for n in needed if n is not None]
    return max(known) if len(known) == len(needed) else None


def _asked(
    beliefs: Beliefs,
    names: Sequence[str],
    tolerance: float | Mapping[str, float],
    attributes: Sequence[str] | None,
) -> dict[str, float]:
    if len(names) < 2:
        raise InputError(f"batches: {list(names)} came; give two or more different ones")
    for name in names:
        if name not in beliefs.batches:
            raise InputError(f"batches: {name!r} was not tasted; {nearest(name, beliefs.batches)}")
    if isinstance(tolerance, Mapping):
        chosen = (
            list(attributes) if attributes else [a for a in beliefs.attributes if a in tolerance]
        )
        missing = [a for a in chosen if a not in tolerance]
        if missing or not chosen:
            raise InputError(f"tolerance: none came for {', '.join(missing) or 'any attribute'}")
        limits = {a: float(tolerance[a]) for a in chosen}
    else:
        limits = {a: float(tolerance) for a in attributes or beliefs.attributes}
    for attribute, limit in limits.items():
        if attribute not in beliefs.attributes:
            raise InputError(
                f"attributes: {attribute!r} was not fitted; "
                f"{nearest(attribute, beliefs.attributes)}"
            )
        if not limit > 0:
            raise InputError(f"tolerance: {limit} for {attribute!r}; give points above 0")
    return limits


def _pair_rows(index: Sequence[tuple[int, int]], batches: int) -> Floats:
    rows = np.zeros((len(index), batches))
    for row, (i, j) in zip(rows, index, strict=True):
        row[i], row[j] = 1.0, -1.0
    return rows


def _other_rows(batches: int) -> Floats:
    """Each batch minus the mean of the others."""
    rows = np.full((batches, batches), -1.0 / (batches - 1))
    np.fill_diagonal(rows, 1.0)
    return rows
