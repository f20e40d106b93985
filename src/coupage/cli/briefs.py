"""A brief as a TOML file: what the blend must taste like, from which coffees, at which cost.

The format is Coupage's own and small enough to type::

    name = "Carries in milk"
    cost_cap = 13.50            # most that a roasted kilogram may cost
    currency = "EUR"
    max_coffees = 3             # most coffees in the blend (4)
    min_share = "10 %"          # least share of a coffee that is in it (5 %)
    step = "5 %"                # shares are multiples of this (5 %)
    batch_kg = 40               # kilograms to blend; recipes that stock_kg cannot fill are left out

    [want.body]                 # one table per attribute, named as in the ratings
    at_least = 6                # or at_most = 4, between = [3, 5], close_to = [4, 7]
    best = 7                    # where it is as good as can be (optional)
    must = true                 # counts for "on brief" (false)
    importance = 2              # weight among the wants (1)
    fade = 1                    # points outside the range at which it is worth nothing (1)

    [coffee."Wadoru, light"]    # optional, named as in the samples
    green_price = 9.40          # money per green kilogram
    freight = 0.60              # money per green kilogram (0)
    loss = "14 %"               # weight loss in the drum
    stock_kg = 55               # roasted kilograms that can be had
    least = "10 %"              # bounds on its share
    most = "60 %"
    never_cupped = true         # needed for a coffee that is not in the samples

    [costs]                     # money per roasted kilogram, optional
    roasting = 0.80
    packaging = 0.55
    labour = 1.10
    overhead = 0.90

A share is a fraction (``0.1``) or a text with its sign (``"10 %"``).
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from difflib import get_close_matches
from typing import Any

from coupage.errors import InputError
from coupage.recipe import Brief, Want
from coupage.units import parse_number

__all__ = ["BriefFile", "Coffee", "read_brief"]

_TOP = ("name", "cost_cap", "currency", "max_coffees", "min_share", "step", "batch_kg")
_TABLES = ("want", "coffee", "costs")
_KINDS = {"at_least": 1, "at_most": 1, "between": 2, "close_to": 2}
_WANT = (*_KINDS, "best", "must", "importance", "fade")
_COFFEE = ("green_price", "freight", "loss", "stock_kg", "least", "most", "never_cupped")
_COSTS = ("roasting", "packaging", "labour", "overhead")
Table = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Coffee:
    """What a brief says of one coffee; money per green kilogram, shares as fractions."""

    green_price: Decimal | None = None
    freight: Decimal = Decimal(0)
    loss: Decimal | None = None
    stock_kg: Decimal | None = None
    least: Decimal = Decimal(0)
    most: Decimal = Decimal(1)
    never_cupped: bool = False


@dataclass(frozen=True, slots=True)
class BriefFile:
    """A brief with the coffees, costs and step that belong to it.

    ``costs`` is money per roasted kilogram by the names of `coupage.cost.roasted_cost`.
    """

    filename: str
    brief: Brief
    step: Decimal = Decimal("0.05")
    currency: str = ""
    batch_kg: Decimal | None = None
    coffees: Mapping[str, Coffee] = field(default_factory=dict)
    costs: Mapping[str, Decimal] = field(default_factory=dict)

    def check_against(self, attributes: Sequence[str], components: Sequence[str]) -> None:
        """Raise InputError when the ratings or samples do not know a name of the brief."""
        for want in self.brief.attributes:
            if want not in attributes:
                raise InputError(
                    f"{self.filename}: key want.{want}: no such attribute was rated; "
                    f"{_nearest(want, attributes)}"
                )
        for name, coffee in self.coffees.items():
            if name not in components and not coffee.never_cupped:
                raise InputError(
                    f'{self.filename}: key coffee."{name}": is not in the samples; '
                    f"{_nearest(name, components)}; a coffee that nobody has cupped yet needs "
                    "never_cupped = true"
                )


def read_brief(data: bytes, filename: str) -> BriefFile:
    r"""Read a brief.

    Raises
    ------
    InputError
        Naming the file, the key and the remedy.

    Examples
    --------
    >>> made = read_brief(b"[want.body]\nat_least = 6\nmust = true", "brief.toml")
    >>> made.brief.wants[0].event, made.step
    ((6.0, inf), Decimal('0.05'))
    """
    return _Reader(filename).read(data)


class _Reader:
    def __init__(self, filename: str) -> None:
        self.filename = filename

    def read(self, data: bytes) -> BriefFile:
        try:
            top = tomllib.loads(data.decode("utf-8-sig"), parse_float=Decimal)
        except UnicodeDecodeError:
            raise InputError(f"{self.filename}: is not UTF-8 text; save it as UTF-8") from None
        except tomllib.TOMLDecodeError as error:
            raise InputError(f"{self.filename}: is not valid TOML: {error}") from None
        self._known(top, (*_TOP, *_TABLES), "")
        wants = tuple(self._want(n, t) for n, t in self._tables(top, "want").items())
        if not wants:
            raise self._fail("want", "has no attribute; add a table such as [want.body]")
        costs = self._table(top.get("costs", {}), "costs")
        self._known(costs, _COSTS, "costs.")
        step = self._share(top, "step", Decimal("0.05"), "")
        if not 0 < step <= 1 or (1 / step) % 1:
            raise self._fail("step", f"{step} does not divide 100 %; write 5 %, 10 % or 2.5 %")
        return BriefFile(
            filename=self.filename,
            brief=self._brief(top, wants),
            step=step,
            currency=self._text(top, "currency"),
            batch_kg=self._number(top, "batch_kg", "", low=0),
            coffees={n: self._coffee(n, t) for n, t in self._tables(top, "coffee").items()},
            costs={k: self._needed(costs, k, "costs.") for k in costs},
        )

    def _brief(self, top: Table, wants: tuple[Want, ...]) -> Brief:
        cap = self._number(top, "cost_cap", "", low=0)
        most = top.get("max_coffees", 4)
        if not isinstance(most, int) or isinstance(most, bool) or most < 1:
            raise self._fail("max_coffees", f"{most!r} must be a whole number from 1 on")
        name = self._text(top, "name") or "brief"
        least = self._share(top, "min_share", Decimal("0.05"), "")
        try:
            return Brief(name, wants, _float(cap), most, float(least))
        except InputError as error:
            raise InputError(f"{self.filename}: {error}") from None

    def _want(self, attribute: str, table: Table) -> Want:
        where = f"want.{attribute}."
        self._known(table, _WANT, where)
        kinds = [kind for kind in _KINDS if kind in table]
        if len(kinds) != 1:
            told = "two ranges" if kinds else "no range"
            raise self._fail(where[:-1], f"has {told}; give one of {', '.join(_KINDS)}")
        (kind,) = kinds
        low, high = self._range(table, kind, where)
        best = self._number(table, "best", where)
        target = None
        if best is not None:
            if kind == "at_least":
                high = best
            elif kind == "at_most":
                low = best
            elif kind == "close_to":
                target = best
            else:
                raise self._fail(f"{where}best", "has no meaning with between; use close_to")
        importance = self._needed(table, "importance", where, Decimal(1))
        must, fade = (
            self._flag(table, "must", where),
            self._needed(table, "fade", where, Decimal(1)),
        )
        try:
            return Want(
                attribute,
                kind.replace("_", " "),  # type: ignore[arg-type]
                _float(low),
                _float(high),
                float(importance),
                must,
                target=_float(target),
                fade=float(fade),
            )
        except InputError as error:
            raise InputError(f"{self.filename}: key {where[:-1]}: {error}") from None

    def _range(self, table: Table, kind: str, where: str) -> tuple[Decimal | None, Decimal | None]:
        if _KINDS[kind] == 1:
            end = self._needed(table, kind, where)
            return (end, None) if kind == "at_least" else (None, end)
        ends = table[kind]
        if not isinstance(ends, list) or len(ends) != 2:
            raise self._fail(f"{where}{kind}", f"{ends!r} must be two numbers, like [3, 5]")
        pair = {str(i): end for i, end in enumerate(ends)}
        low, high = (self._needed(pair, i, f"{where}{kind}, number ") for i in pair)
        return low, high

    def _coffee(self, name: str, table: Table) -> Coffee:
        where = f'coffee."{name}".'
        self._known(table, _COFFEE, where)
        loss = self._share(table, "loss", None, where)
        price = self._number(table, "green_price", where, low=0)
        if price is not None and loss is None:
            raise self._fail(where[:-1], 'has a green_price but no loss; add loss = "15 %", say')
        least = self._share(table, "least", Decimal(0), where)
        most = self._share(table, "most", Decimal(1), where)
        if least > most:
            raise self._fail(f"{where}least", f"{least} is above most {most}; swap them")
        return Coffee(
            green_price=price,
            freight=self._needed(table, "freight", where, Decimal(0)),
            loss=loss,
            stock_kg=self._number(table, "stock_kg", where, low=0),
            least=least,
            most=most,
            never_cupped=self._flag(table, "never_cupped", where),
        )

    # ---- values -------------------------------------------------------------------------------

    def _fail(self, key: str, message: str) -> InputError:
        return InputError(f"{self.filename}: key {key}: {message}")

    def _known(self, table: Table, known: Sequence[str], where: str) -> None:
        for key in table:
            if key not in known:
                raise self._fail(f"{where}{key}", f"is unknown; {_nearest(key, known)}")

    def _tables(self, top: Table, key: str) -> dict[str, Table]:
        outer = self._table(top.get(key, {}), key)
        return {name: self._table(inner, f"{key}.{name}") for name, inner in outer.items()}

    def _table(self, value: object, key: str) -> Table:
        if not isinstance(value, dict):
            raise self._fail(key, f"must be a table; write it as [{key}]")
        return value

    def _text(self, table: Table, key: str) -> str:
        value = table.get(key, "")
        if not isinstance(value, str):
            raise self._fail(key, f'{value!r} must be text in quotes, like "EUR"')
        return value

    def _flag(self, table: Table, key: str, where: str) -> bool:
        value = table.get(key, False)
        if not isinstance(value, bool):
            raise self._fail(f"{where}{key}", f"{value!r} must be true or false, without quotes")
        return value

    def _number(
        self, table: Table, key: str, where: str, *, low: int | None = None
    ) -> Decimal | None:
        if key not in table:
            return None
        value = table[key]
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            raise self._fail(
                f"{where}{key}", f"{value!r} must be a number without quotes, like 6.5"
            )
        number = Decimal(value)
        if not number.is_finite() or (low is not None and number < low):
            raise self._fail(f"{where}{key}", f"{number} must be a number from {low or 0} on")
        return number

    def _needed(self, table: Table, key: str, where: str, default: Decimal = Decimal(0)) -> Decimal:
        number = self._number(table, key, where, low=0)
        return default if number is None else number

    def _share(self, table: Table, key: str, default: Any, where: str) -> Any:
        if key not in table:
            return default
        value = table[key]
        remedy = 'write it like 0.15 or "15 %"'
        if isinstance(value, str) and value.strip().endswith("%"):
            try:
                share = parse_number(value.strip().rstrip("%")) / 100
            except InputError:
                raise self._fail(f"{where}{key}", f"{value!r} is not a share; {remedy}") from None
        elif isinstance(value, int | Decimal) and not isinstance(value, bool):
            share = Decimal(value)
        else:
            raise self._fail(f"{where}{key}", f"{value!r} is not a share; {remedy}")
        if not (share.is_finite() and 0 <= share <= 1):
            raise self._fail(f"{where}{key}", f"{value!r} is not from 0 to 100 %; {remedy}")
        return share


def _float(number: Decimal | None) -> float | None:
    return None if number is None else float(number)


def _nearest(name: str, known: Sequence[str]) -> str:
    near = get_close_matches(name, known, n=1, cutoff=0.5)
    return f"did you mean {near[0]}?" if near else f"known are {', '.join(known[:10])}"
