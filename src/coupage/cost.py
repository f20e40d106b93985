"""What a roasted kilogram costs, line by line, and what it must be sold for.

Weight leaves in the drum, money does not: the green that went in has to be paid from the roasted
coffee that came out, so landed green is divided by the yield (1 - loss). Adding the loss on top
(price times 1 + loss) understates the cost: at a loss of 18 % by 3.3 % of the green.

All amounts are in one currency, whichever the caller keeps; nothing here is rounded. Sums are
done in :class:`decimal.Decimal` with 28 digits.

References
----------
.. [1] Specialty Coffee Association of America (2009), worked example of a roaster's cost per
   pound: (1.89 + 0.12) / 0.82 = 2.45 (secondary source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Context, Decimal, InvalidOperation, localcontext

from coupage.errors import InputError

__all__ = [
    "CostCard",
    "CostLine",
    "GreenLine",
    "component_costs",
    "price_for_margin",
    "roasted_cost",
]

Number = Decimal | float | int
PerCoffee = Number | Mapping[str, Number]

_CONTEXT = Context(prec=28)
_ZERO = Decimal(0)
_ONE = Decimal(1)
_SHARES_TOLERANCE = Decimal("1e-9")


@dataclass(frozen=True, slots=True)
class GreenLine:
    """One coffee of the recipe in one roasted kilogram of the blend.

    Attributes
    ----------
    component
        Name of the coffee.
    share
        Its share of the roasted blend, a fraction.
    loss
        Weight loss in the drum, a fraction of the green.
    price, freight
        Money per green kilogram.
    duty
        Fraction of price plus freight.
    """

    component: str
    share: Decimal
    loss: Decimal
    price: Decimal
    freight: Decimal
    duty: Decimal

    @property
    def landed(self) -> Decimal:
        """Money per green kilogram in the roastery: price, freight and duty."""
        with localcontext(_CONTEXT):
            return (self.price + self.freight) * (_ONE + self.duty)

    @property
    def green_kg(self) -> Decimal:
        """Green kilograms that go into one roasted kilogram of the blend."""
        with localcontext(_CONTEXT):
            return self.share / (_ONE - self.loss)

    @property
    def per_kg(self) -> Decimal:
        """Money per roasted kilogram of the blend: landed green divided by the yield."""
        with localcontext(_CONTEXT):
            return self.share * self.landed / (_ONE - self.loss)

    @property
    def shrink(self) -> Decimal:
        """The part of ``per_kg`` that pays for weight that left in the drum."""
        with localcontext(_CONTEXT):
            return self.per_kg - self.share * self.landed


@dataclass(frozen=True, slots=True)
class CostLine:
    """One line of a cost card: what it is for and money per roasted kilogram."""

    what: str
    per_kg: Decimal


@dataclass(frozen=True, slots=True)
class CostCard:
    """The cost of one roasted kilogram of a recipe, line by line.

    Attributes
    ----------
    green
        One line per coffee, in the order of the recipe.
    roasting, packaging, labour, overhead
        Money per roasted kilogram.
    """

    green: tuple[GreenLine, ...]
    roasting: Decimal
    packaging: Decimal
    labour: Decimal
    overhead: Decimal

    @property
    def lines(self) -> tuple[CostLine, ...]:
        """Every line as it is added up; their sum is :attr:`total` exactly."""
        with localcontext(_CONTEXT):
            landed = sum((g.share * g.landed for g in self.green), _ZERO)
            shrink = sum((g.shrink for g in self.green), _ZERO)
        return (
            CostLine("landed green", landed),
            CostLine("weight lost in roasting", shrink),
            CostLine("roasting", self.roasting),
            CostLine("packaging", self.packaging),
            CostLine("labour", self.labour),
            CostLine("overhead", self.overhead),
        )

    @property
    def coffee(self) -> Decimal:
        """Landed green per roasted kilogram, already divided by the yield."""
        with localcontext(_CONTEXT):
            return sum((g.per_kg for g in self.green), _ZERO)

    @property
    def total(self) -> Decimal:
        """Money per roasted kilogram."""
        with localcontext(_CONTEXT):
            return sum((line.per_kg for line in self.lines), _ZERO)

    def margin(self, price: Number) -> Decimal:
        """Share of a selling price per kilogram that is left after this cost."""
        amount = _amount(price, "price")
        if amount <= 0:
            raise InputError(f"price: {price} must be more than 0 to have a margin")
        with localcontext(_CONTEXT):
            return (amount - self.total) / amount

    def if_price(self, component: str, green_price: Number) -> Decimal:
        """Total per roasted kilogram if one coffee's green price were another.

        The line of a price move: the total is a straight line in each green price.

        Raises
        ------
        InputError
            When the recipe holds no such coffee, or the price is negative.
        """
        amount = _amount(green_price, "green_price", component)
        for line in self.green:
            if line.component == component:
                with localcontext(_CONTEXT):
                    change = (amount - line.price) * (_ONE + line.duty) * line.green_kg
                    return self.total + change
        names = ", ".join(g.component for g in self.green)
        raise InputError(f"component: {component!r} is not in this recipe; it holds {names}")


def roasted_cost(
    recipe: Mapping[str, Number],
    green_price: PerCoffee,
    losses: PerCoffee,
    *,
    roasting: Number = 0,
    packaging: Number = 0,
    labour: Number = 0,
    overhead: Number = 0,
    freight: PerCoffee = 0,
    duty: PerCoffee = 0,
) -> CostCard:
    """Work out what one roasted kilogram of a recipe costs.

    Parameters
    ----------
    recipe
        Share of each coffee in the roasted blend; fractions that sum to 1.
    green_price
        Money per green kilogram of each coffee, or one price for all.
    losses
        Weight loss of each coffee in the drum, ``1 - roasted/green``, or one for all.
    roasting, packaging, labour, overhead
        Money per roasted kilogram.
    freight
        Money per green kilogram to bring it in, per coffee or one for all.
    duty
        Customs duty as a fraction of price plus freight, per coffee or one for all.

    Returns
    -------
    CostCard

    Raises
    ------
    InputError
        When shares do not sum to 1, a coffee has no price or loss, an amount is negative or a
        loss is not in [0, 1).

    Examples
    --------
    The Specialty Coffee Association of America's example [1]_, per pound (any mass unit works
    as long as it is one): green 1.89, freight 0.12, 18 % loss.

    >>> card = roasted_cost({"house": 1}, 1.89, 0.18, freight=0.12)
    >>> round(card.total, 2), round(card.lines[1].per_kg, 2)
    (Decimal('2.45'), Decimal('0.44'))
    """
    if not recipe:
        raise InputError("recipe: it is empty; give at least one coffee with its share")
    shares = {name: _amount(share, "recipe", name) for name, share in recipe.items()}
    with localcontext(_CONTEXT):
        total = sum(shares.values(), _ZERO)
    if abs(total - 1) > _SHARES_TOLERANCE:
        raise InputError(f"recipe: the shares sum to {total:f}; they must sum to 1")
    green = tuple(
        GreenLine(
            component=name,
            share=share,
            loss=_loss(losses, name),
            price=_of(green_price, name, "green_price"),
            freight=_of(freight, name, "freight"),
            duty=_of(duty, name, "duty"),
        )
        for name, share in shares.items()
    )
    return CostCard(
        green=green,
        roasting=_amount(roasting, "roasting"),
        packaging=_amount(packaging, "packaging"),
        labour=_amount(labour, "labour"),
        overhead=_amount(overhead, "overhead"),
    )


def component_costs(
    green_price: Mapping[str, Number],
    losses: PerCoffee,
    *,
    freight: PerCoffee = 0,
    duty: PerCoffee = 0,
) -> dict[str, Decimal]:
    """Landed green per roasted kilogram of each coffee on its own.

    A blend's coffee cost is the share-weighted sum of these, which is what
    ``coupage.recipe.choose`` takes as ``cost_per_kg``.

    Examples
    --------
    >>> costs = component_costs({"washed": 6, "natural": "7.5"}, {"washed": 0.14, "natural": 0.17})
    >>> {name: str(round(cost, 2)) for name, cost in costs.items()}
    {'washed': '6.98', 'natural': '9.04'}
    """
    return {
        name: roasted_cost({name: 1}, green_price, losses, freight=freight, duty=duty).total
        for name in green_price
    }


def price_for_margin(cost: Number | CostCard, margin: Number) -> Decimal:
    """Return the selling price that leaves ``margin`` of itself: cost / (1 - margin).

    Not cost times (1 + margin): that leaves less than was asked for.

    Raises
    ------
    InputError
        When the cost is negative or the margin is not in [0, 1).

    Examples
    --------
    >>> price_for_margin(6, 0.25)
    Decimal('8')
    """
    amount = _amount(cost.total if isinstance(cost, CostCard) else cost, "cost")
    share = _amount(margin, "margin")
    if share >= 1:
        raise InputError(
            f"margin: {margin} is not a share of the price; give a fraction from 0 up to, "
            "but not including, 1 (25 % is 0.25)"
        )
    with localcontext(_CONTEXT):
        return amount / (_ONE - share)


def _amount(value: Number, argument: str, component: str = "") -> Decimal:
    """Read a number as the decimal a person wrote: 0.12 is 12/100, not its binary neighbour."""
    where = f"{argument} of {component!r}" if component else argument
    try:
        amount = value if isinstance(value, Decimal) else Decimal(str(value))
    except InvalidOperation:
        raise InputError(f"{where}: {value!r} is not a number") from None
    if not amount.is_finite() or amount < 0:
        raise InputError(f"{where}: {value} must be a finite number, 0 or more")
    return amount


def _of(values: PerCoffee, component: str, argument: str) -> Decimal:
    if isinstance(values, Mapping):
        if component not in values:
            raise InputError(f"{argument}: nothing is given for {component!r}; add it")
        return _amount(values[component], argument, component)
    return _amount(values, argument)


def _loss(losses: PerCoffee, component: str) -> Decimal:
    loss = _of(losses, component, "losses")
    if loss >= 1:
        raise InputError(
            f"losses: {loss} for {component!r} leaves no coffee; give the fraction of the green "
            "weight that is lost, from 0 up to, but not including, 1 (15 % is 0.15)"
        )
    return loss
