"""What is wished of a design: read from a TOML file and flags, and checked at once."""

from __future__ import annotations

import argparse
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from coupage.cli.files import read_bytes
from coupage.errors import InputError
from coupage.units import parse_number

__all__ = ["Together", "Wish", "wish_of"]

_KEYS = (
    "samples",
    "repeats",
    "criterion",
    "order",
    "step",
    "keep",
    "ratings",
    "cupped",
    "brief",
    "tasters",
    "cups",
    "seed",
    "coffee",
    "together",
    "one_of",
    "reference",
)
CRITERIA = ("everywhere", "coefficients", "decision")
ORDERS = ("linear", "quadratic", "special cubic", "full cubic")
MOST_COFFEES, MOST_SAMPLES = 10, 24
Range = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Together:
    """A limit on several coffees together."""

    coffees: tuple[str, ...]
    low: float | None
    high: float | None
    name: str = ""


@dataclass(frozen=True, slots=True)
class Decision:
    """What is known already and what it is to serve: files, and the size of the next table."""

    ratings: str
    cupped: str
    brief: str
    tasters: int = 3
    cups: int = 1


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked of a design; shares are fractions."""

    coffees: Mapping[str, Range]
    samples: int
    repeats: int = 0
    criterion: str = "everywhere"
    order: str = "quadratic"
    step: float = 0.05
    together: Sequence[Together] = ()
    one_of: Sequence[tuple[str, ...]] = ()
    reference: Mapping[str, float] = field(default_factory=dict)
    keep: str | None = None
    decision: Decision | None = None
    seed: int = 0


def wish_of(args: argparse.Namespace) -> Wish:
    """Read the file, let the flags add to it, and check both.

    Raises
    ------
    InputError
        Naming the flag or key, and the remedy.
    """
    top = _file(args.plan) if args.plan is not None else {}
    where = f"{Path(args.plan).name}: " if args.plan is not None else ""
    coffees = _coffees(top.get("coffee", {}), where)
    coffees |= dict(_named_range(word, "--coffee") for word in args.coffee or [])
    together = [_together(entry, where) for entry in _list(top, "together", where)]
    for word in args.together or []:
        names, (low, high) = _named_range(word, "--together")
        together.append(Together(_names(names), low, high))
    one_of = [tuple(map(str, _strings(e, f"{where}one_of"))) for e in _list(top, "one_of", where)]
    one_of += [_names(word) for word in args.one_of or []]
    wish = Wish(
        coffees=coffees,
        samples=_whole(_chosen(args, top, "samples"), "samples", 2, MOST_SAMPLES),
        repeats=_whole(_chosen(args, top, "repeats", 0), "repeats", 0, MOST_SAMPLES - 1),
        criterion=_one(_chosen(args, top, "criterion", "everywhere"), "criterion", CRITERIA),
        order=_one(_chosen(args, top, "order", "quadratic"), "order", ORDERS),
        step=_share(_chosen(args, top, "step", "5%"), "step"),
        together=together,
        one_of=one_of,
        reference=_reference(args, top, where),
        keep=_path(args, top, where, "keep"),
        decision=_decision(args, top, where),
        seed=_whole(_chosen(args, top, "seed", 0), "seed", 0, 2**32 - 1),
    )
    _check(wish)
    return wish


def _file(path: str) -> dict[str, Any]:
    name = Path(path).name
    try:
        top = tomllib.loads(read_bytes(path).decode("utf-8-sig"), parse_float=Decimal)
    except UnicodeDecodeError as error:
        raise InputError(f"{name}: is not UTF-8 text; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{name}: is not TOML: {error}") from error
    for key in top:
        if key not in _KEYS:
            raise InputError(f"{name}: key {key}: is not known; {_nearest(key, _KEYS)}")
    return top


def _coffees(table: Any, where: str) -> dict[str, Range]:
    if not isinstance(table, dict):
        raise InputError(f'{where}key coffee: write a table for each, [coffee."NAME"]')
    found = {}
    for name, limits in table.items():
        at = f'{where}key coffee."{name}"'
        if not isinstance(limits, dict):
            raise InputError(f"{at}: write it as a table with least and most, or empty")
        _known(limits, ("least", "most"), at)
        found[name] = _limits(limits, at)
    return found


def _together(entry: Any, where: str) -> Together:
    at = f"{where}key together"
    if not isinstance(entry, dict):
        raise InputError(f"{at}: write each as [[together]] with coffees, least and most")
    _known(entry, ("name", "coffees", "least", "most"), at)
    low, high = _limits(entry, at)
    if low is None and high is None:
        raise InputError(f"{at}: give least or most")
    return Together(_strings(entry.get("coffees"), at), low, high, str(entry.get("name", "")))


def _limits(table: Mapping[str, Any], at: str) -> Range:
    low, high = (
        _share(table[key], f"{at}.{key}") if key in table else None for key in ("least", "most")
    )
    if low is not None and high is not None and low > high:
        raise InputError(f"{at}: least {100 * low:g} % is more than most {100 * high:g} %")
    return low, high


def _named_range(word: str, flag: str) -> tuple[str, Range]:
    """Read ``NAME``, ``NAME=20%..60%``, ``NAME=..60%``, ``NAME=20%..`` or ``NAME=30%``."""
    name, equals, text = word.partition("=")
    if not name.strip():
        raise InputError(f"{flag}: {word!r} names no coffee; write NAME=20%..60%")
    if not equals:
        if flag == "--together":
            raise InputError(f"{flag}: {word!r} has no limit; write NAME+NAME=30%..60%")
        return name.strip(), (None, None)
    low, dots, high = text.partition("..")
    table = {"least": low.strip(), "most": high.strip() if dots else low.strip()}
    return name.strip(), _limits({k: v for k, v in table.items() if v}, flag)


def _reference(args: argparse.Namespace, top: Mapping[str, Any], where: str) -> dict[str, float]:
    if args.reference is None:
        table = top.get("reference", {})
        if not isinstance(table, dict):
            raise InputError(f'{where}key reference: write {{ "NAME" = "60 %", ... }}')
        at = f"{where}key reference"
    else:
        at, table = "--reference", {}
        for part in args.reference.split("+"):
            name, equals, share = part.rpartition("=")
            if not equals:
                raise InputError(f"{at}: {part!r} has no share; write NAME=60%+NAME=40%")
            table[name.strip()] = share
    shares = {name: _share(value, at) for name, value in table.items()}
    if shares and abs(sum(shares.values()) - 1) > 1e-6:
        raise InputError(
            f"{at}: the shares add up to {100 * sum(shares.values()):g} %; they must make 100 %"
        )
    return shares


def _path(args: argparse.Namespace, top: Mapping[str, Any], where: str, key: str) -> str | None:
    """Return the file that a flag or a key names, or None."""
    given = getattr(args, key)
    if given is not None:
        return str(given)
    if key not in top:
        return None
    if not isinstance(top[key], str):
        raise InputError(f"{where}key {key}: name a file")
    # A path in the file is meant from where the file lies.
    return str(Path(args.plan).parent / top[key])


def _decision(args: argparse.Namespace, top: Mapping[str, Any], where: str) -> Decision | None:
    asked = _chosen(args, top, "criterion", "everywhere") == "decision"
    paths = {key: _path(args, top, where, key) for key in ("ratings", "cupped", "brief")}
    if not asked:
        for key, path in paths.items():
            if path is not None:
                raise InputError(f'{key}: serves only criterion = "decision"; say so, or leave it')
        return None
    for key, path in paths.items():
        if path is None:
            raise InputError(
                f"{key}: a decision needs the ratings so far, what was cupped, and the brief; "
                f"name the file with --{key} or {key} = in the file"
            )
    if _path(args, top, where, "keep") is not None:
        raise InputError("keep: what was cupped counts already by its ratings; leave keep out")
    return Decision(
        **paths,  # type: ignore[arg-type]
        tasters=_whole(_chosen(args, top, "tasters", 3), "tasters", 1, 30),
        cups=_whole(_chosen(args, top, "cups", 1), "cups", 1, 10),
    )


def _check(wish: Wish) -> None:
    if wish.repeats > wish.samples // 2:
        raise InputError(
            f"repeats: {wish.repeats} of {wish.samples} samples; at most half can repeat another"
        )
    if wish.decision is not None and wish.order not in ("linear", "quadratic"):
        raise InputError('order: a decision is planned with order "linear" or "quadratic"')
    if not 2 <= len(wish.coffees) <= MOST_COFFEES:
        raise InputError(
            f"coffee: {len(wish.coffees)} came; name 2 to {MOST_COFFEES} that may be in the blends"
        )
    groups = [(t.coffees, "together") for t in wish.together]
    groups += [(names, "one_of") for names in wish.one_of]
    groups += [(tuple(wish.reference), "reference")]
    for names, what in groups:
        for name in names:
            if name not in wish.coffees:
                raise InputError(
                    f"{what}: {name!r} is not among the coffees; {_nearest(name, wish.coffees)}"
                )


# --- small readers -------------------------------------------------------------------------------


def _chosen(args: argparse.Namespace, top: Mapping[str, Any], name: str, usual: Any = None) -> Any:
    given = getattr(args, name)
    value = top.get(name, usual) if given is None else given
    if value is None:
        raise InputError(f"{name}: say how many, such as --{name} 6 or {name} = 6 in the file")
    return value


def _whole(value: Any, name: str, low: int, high: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
        raise InputError(f"{name}: {value} must be a whole number from {low} to {high}")
    return value


def _one(value: Any, name: str, known: Sequence[str]) -> str:
    if value not in known:
        raise InputError(f"{name}: {value!r} must be one of {', '.join(known)}")
    return str(value)


def _share(value: Any, what: str) -> float:
    if isinstance(value, bool) or not isinstance(value, str | int | Decimal):
        raise InputError(f"{what}: write a share as 20 % or 0.2")
    text = str(value).strip()
    percent = text.endswith("%")
    number = parse_number(text.removesuffix("%").strip(), what) / (100 if percent else 1)
    if not 0 <= number <= 1:
        raise InputError(f"{what}: {text} must be a share from 0 % to 100 %; write 20 % or 0.2")
    return float(number)


def _names(text: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in text.split("+"))


def _strings(value: Any, at: str) -> tuple[str, ...]:
    if not isinstance(value, list) or not value or not all(isinstance(v, str) for v in value):
        raise InputError(f'{at}: write the coffees as a list, ["NAME", "NAME"]')
    return tuple(value)


def _list(top: Mapping[str, Any], key: str, where: str) -> list[Any]:
    value = top.get(key, [])
    if not isinstance(value, list):
        raise InputError(f"{where}key {key}: must be a list")
    return value


def _known(table: Mapping[str, Any], keys: Sequence[str], at: str) -> None:
    for key in table:
        if key not in keys:
            raise InputError(f"{at}.{key}: is not known; {_nearest(key, keys)}")


def _nearest(name: str, known: Sequence[str] | Mapping[str, Any]) -> str:
    near = get_close_matches(name, list(known), n=1)
    return f"did you mean {near[0]!r}?" if near else f"there are {', '.join(known)}"
