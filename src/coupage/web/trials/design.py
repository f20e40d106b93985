"""A plan handed to the computing rooms: its region, what is known already, the search, the loss."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError
from coupage.mixture import (
    Aim,
    Doubt,
    Group,
    Region,
    Seeing,
    Spreads,
    Trials,
    assess,
    choose_trials,
    distinct,
    model_matrix,
    seen_chance,
    with_repeats,
)
from coupage.mixture.candidates import candidates
from coupage.mixture.terms import Order
from coupage.panel import Beliefs, Priors, Spread
from coupage.recipe import decision_doubt, sample_noise, table_spreads
from coupage.units import PPM, whole_shares
from coupage.web.blends.models import Recipe
from coupage.web.blends.serving import room_brief
from coupage.web.coffees import groups
from coupage.web.coffees.models import Approach
from coupage.web.cuppings.columns import component_name
from coupage.web.trials.models import Plan, PlanCoffee, PlanGroup

__all__ = ["LONGEST_S", "Asked", "Found", "Room", "Shares"]

Floats = npt.NDArray[np.float64]
Shares = tuple[int, ...]  # parts per million, in the order of the coffees

LONGEST_S = 12.0
_FULL_SEARCH = 12  # a full search takes about so many times as long as one from two starts
_FEW_STARTS = 2
_ANY = "any attribute"


@dataclass(frozen=True, slots=True)
class Asked:
    """A plan with its coffees and limits, saved or not."""

    plan: Plan
    coffees: tuple[PlanCoffee, ...]
    groups: tuple[PlanGroup, ...] = ()

    @property
    def approaches(self) -> list[Approach]:
        return [coffee.approach for coffee in self.coffees]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(component_name(approach) for approach in self.approaches)


@dataclass(frozen=True, slots=True)
class Found:
    """The blends of a search, and whether time cut it short."""

    trials: tuple[Shares, ...]
    hurried: bool


@dataclass(frozen=True)
class Room:
    """Everything about a plan that costs time, worked out once for a page.

    Without beliefs about these coffees the priors of the panel's model stand in for them.
    """

    asked: Asked
    beliefs: Beliefs | None
    attributes: tuple[str, ...] = ()

    # --- the question ------------------------------------------------------------------------

    @cached_property
    def region(self) -> Region:
        """Recipes within the limits.

        Raises
        ------
        InfeasibleError
            When there is none; it names the limits that clash.
        InputError
            When a rule names no coffee of the plan.
        """
        asked = self.asked
        name = dict(zip(asked.approaches, asked.names, strict=True))
        limits = []
        for group in asked.groups:
            said = groups.words(group.rule, asked.approaches)
            found = [name[a] for a in groups.members(group.rule, asked.approaches)]
            if not found:
                raise InputError(f"none of the chosen coffees belongs to the limit on {said}")
            limits.append(
                Group(
                    dict.fromkeys(found, 1.0),
                    -np.inf if group.low_ppm is None else group.low_ppm / PPM,
                    np.inf if group.high_ppm is None else group.high_ppm / PPM,
                    name=said,
                )
            )
        lots: dict[int, list[str]] = {}
        for approach, named in name.items():
            lots.setdefault(approach.lot_id, []).append(named)
        return Region(
            asked.names,
            [coffee.low_ppm / PPM for coffee in asked.coffees],
            [coffee.high_ppm / PPM for coffee in asked.coffees],
            limits,
            exclusive=list(lots.values()) if asked.plan.one_approach else (),
        )

    @property
    def step(self) -> float:
        return self.asked.plan.step_ppm / PPM

    @cached_property
    def reference(self) -> Shares | None:
        """The recipe that stands among the samples.

        Raises
        ------
        InputError
            When it holds another coffee than those of the plan.
        """
        recipe = self.asked.plan.reference
        return None if recipe is None else self._shares_of(recipe)

    def _shares_of(self, recipe: Recipe) -> Shares:
        at = {approach: i for i, approach in enumerate(self.asked.approaches)}
        shares = [0] * len(at)
        for share in recipe.shares.all():
            if share.approach not in at:
                raise InputError(
                    f"the reference {recipe} holds {share.approach}, which is not among the "
                    "chosen coffees; tick it, or take another reference"
                )
            shares[at[share.approach]] = share.share_ppm
        return tuple(shares)

    # --- what is known -----------------------------------------------------------------------

    @cached_property
    def known(self) -> Beliefs | None:
        """Beliefs over the plan's coffees, in their order."""
        if self.beliefs is None or not set(self.asked.names) <= set(self.beliefs.components):
            return None
        return self.beliefs.restrict(self.asked.names)

    @cached_property
    def minded(self) -> tuple[str, ...]:
        """The attributes that count: those of the brief, else all intensities; liking never."""
        brief = self.asked.plan.brief
        if brief is not None:
            return room_brief(brief).attributes
        if self.known is not None:
            rated = tuple(a for a in self.known.attributes if a in self.attributes)
            return rated or self.known.attributes
        return self.attributes or (_ANY,)

    def spreads(self, attribute: str, cups: int) -> Spreads:
        """Sds of a table, from the panel; from the priors where nothing was rated."""
        return table_spreads(self._spread.get(attribute), cups)

    @cached_property
    def _spread(self) -> Mapping[str, Spread]:
        return {} if self.known is None else self.known.spread()

    def noise_sd(self, attribute: str) -> float:
        """Sd of one sample's mean rating about the model, in points."""
        plan = self.asked.plan
        return sample_noise(self.spreads(attribute, plan.cups), plan.tasters, plan.cups)

    @cached_property
    def covariances(self) -> Mapping[str, Floats]:
        """Covariance of the coefficients by attribute, before the table."""
        q, order = len(self.asked.coffees), self.asked.plan.order
        p = q if order == Plan.Order.LINEAR else q + q * (q - 1) // 2
        found = {}
        for attribute in self.minded:
            known = self.known
            if self.asked.plan.keep and known is not None and attribute in known.attributes:
                found[attribute] = known.moments(attribute)[1][:p, :p]
            else:
                found[attribute] = _before(q, Priors())[:p, :p]
        return found

    @cached_property
    def prior(self) -> Floats:
        """Precision of the coefficients counted in samples, averaged over the attributes."""
        parts = [_inverse(self.covariances[a]) * self.noise_sd(a) ** 2 for a in self.minded]
        return np.asarray(np.mean(parts, axis=0))

    @cached_property
    def doubt(self) -> Doubt | None:
        """What the choice of a recipe for the brief hinges on."""
        plan = self.asked.plan
        if plan.purpose != Plan.Purpose.DECISION or plan.brief is None:
            return None
        return decision_doubt(
            room_brief(plan.brief),
            self.region,
            step=self.step,
            means={attribute: self._mean(attribute) for attribute in self.minded},
            covariances=self.covariances,
            noise_sd={attribute: self.noise_sd(attribute) for attribute in self.minded},
            order=plan.order,  # type: ignore[arg-type]
        )

    def _mean(self, attribute: str) -> Floats:
        q, known = len(self.asked.coffees), self.known
        if known is not None and attribute in known.attributes:
            return known.moments(attribute)[0]
        mean = np.zeros(q + q * (q - 1) // 2)
        mean[:q] = Priors().mean
        return mean

    # --- answers -----------------------------------------------------------------------------

    def choose(self) -> Found:
        """Choose the blends: a short search first, a full one when there is time for it.

        Raises
        ------
        InputError
            When the numbers do not fit each other, the limits, or the step.
        """
        plan, start = self.asked.plan, time.monotonic()
        trials = self._search(_FEW_STARTS)
        hurried = (time.monotonic() - start) * _FULL_SEARCH > LONGEST_S
        if not hurried:
            full = self._search(None)
            trials = full if full.value < trials.value else trials
        aim = self._aim()
        points = distinct(
            trials.points,
            candidates(self.region, self.step, np.random.default_rng(0)),
            aim,
            fixed=() if trials.reference is None else (trials.reference,),
        )
        points = with_repeats(points, plan.repeats, aim)
        rows = tuple(tuple(whole_shares(row.tolist())) for row in np.clip(points, 0, 1))
        return Found(rows, hurried)

    def _aim(self) -> Aim:
        """What the search makes small, for the exchange of repeats too many."""
        order: Order = self.asked.plan.order  # type: ignore[assignment]
        if self.doubt is not None:
            return Aim.of(self.doubt, order)
        if self.asked.plan.purpose == Plan.Purpose.COEFFICIENTS:
            return Aim(order, [(self.prior, None)])
        x, weights = self.region.average_points(4)
        rows = model_matrix(x, order)
        return Aim(order, [(self.prior, (rows * weights[:, None]).T @ rows)])

    def _search(self, starts: int | None) -> Trials:
        plan = self.asked.plan
        return choose_trials(
            self.region,
            plan.samples - plan.repeats,
            plan.order,  # type: ignore[arg-type]
            plan.purpose,  # type: ignore[arg-type]
            prior_precision=None if self.doubt else self.prior,
            step=self.step,
            reference=None if self.reference is None else np.array(self.reference) / PPM,
            doubt=self.doubt,
            starts=starts,
        )

    def told(self, trials: Sequence[Shares], against: Sequence[Shares]) -> float:
        """How much some trials tell of what others do; 1 when as much.

        The ratio of the doubt that is left: average variance (taste everywhere, decision) or
        generalised variance per term (coefficients), what is known already included.
        """
        now, then = self._value(trials), self._value(against)
        if self.asked.plan.purpose == Plan.Purpose.COEFFICIENTS:
            return float(np.exp(then - now))
        return float(then / now) ** (2 if self.doubt else 1) if now > 0 else 1.0

    def _value(self, trials: Sequence[Shares]) -> float:
        plan = self.asked.plan
        return assess(
            self.region,
            np.array(trials, dtype=float) / PPM,
            plan.order,  # type: ignore[arg-type]
            plan.purpose,  # type: ignore[arg-type]
            prior_precision=None if self.doubt else self.prior,
            doubt=self.doubt,
        ).value

    def seeing(self, trials: Sequence[Shares], sure: float) -> dict[str, Seeing]:
        """How often the table shows the plan's difference between two of its blends."""
        if len(set(trials)) < 2:  # all blends are the same: there is no difference to see
            return {}
        return {attribute: self.see(trials, attribute, sure) for attribute in self.minded}

    def see(
        self,
        trials: Sequence[Shares],
        attribute: str,
        sure: float,
        *,
        cups: int | None = None,
        tasters: int | None = None,
    ) -> Seeing:
        """Answer for one attribute, and perhaps for another number of cups or tasters.

        The table is judged by itself, from what the panel's model starts with: what earlier tables
        taught would make a difference that they did not show look unlikely from the outset.
        """
        plan = self.asked.plan
        before = _before(len(self.asked.coffees), Priors())
        p = len(next(iter(self.covariances.values())))
        cups = plan.cups if cups is None else cups
        return seen_chance(
            float(plan.difference),
            np.array(trials, dtype=float) / PPM,
            plan.tasters if tasters is None else tasters,
            cups,
            spreads=self.spreads(attribute, cups),
            order=plan.order,  # type: ignore[arg-type]
            prior_precision=_inverse(before[:p, :p]),
            sure=sure,
            one_batch=True,  # a plan is sent to a table with one batch of each coffee
        )

    def broken(self, shares: Shares) -> list[str]:
        """Which limits a blend breaks, in words; none when it may be cupped."""
        said, region = [], self.region
        x = np.array(shares, dtype=float) / PPM
        for name, share, low, high in zip(region.names, x, region.lower, region.upper, strict=True):
            if share < low - 1e-9:
                said.append(f"at least {100 * low:g} % {name}")
            if share > high + 1e-9:
                said.append(f"at most {100 * high:g} % {name}")
        for group in region.groups:
            total = sum(x[region.names.index(n)] * c for n, c in group.coefficients.items())
            if total < group.lower - 1e-9:
                said.append(f"{group.name} at least {100 * group.lower:g} %")
            if total > group.upper + 1e-9:
                said.append(f"{group.name} at most {100 * group.upper:g} %")
        said += [
            f"at most one of {', '.join(few)}"
            for few in region.exclusive
            if sum(x[region.names.index(n)] > 1e-9 for n in few) > 1
        ]
        return said


def _before(q: int, priors: Priors) -> Floats:
    """Covariance of the coefficients before the first cup, by the priors of the panel's model."""
    p = q + q * (q - 1) // 2
    covariance = priors.pairing**2 * np.eye(p)
    covariance[:q, :q] = priors.coffee**2 * np.eye(q) + priors.mean_sd**2
    return covariance


def _inverse(covariance: Floats) -> Floats:
    nudge = 1e-10 * np.trace(covariance) / len(covariance)
    found = np.linalg.inv(covariance + nudge * np.eye(len(covariance)))
    return np.asarray((found + found.T) / 2)
