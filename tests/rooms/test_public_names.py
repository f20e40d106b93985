"""Every room says in ``__all__`` what is public, and nothing else is; errors are a family."""

from __future__ import annotations

import importlib
import inspect

import pytest

from coupage import errors

ROOMS = (
    "errors",
    "units",
    "mixture",
    "difference",
    "table",
    "roast",
    "panel",
    "recipe",
    "cost",
    "plan",
    "sheets",
)


@pytest.mark.parametrize("room", ROOMS)
def test_all_is_complete_and_true(room: str) -> None:
    module = importlib.import_module(f"coupage.{room}")
    assert len(set(module.__all__)) == len(module.__all__)
    defined = {
        name
        for name, thing in vars(module).items()
        if not name.startswith("_")
        and (inspect.isclass(thing) or inspect.isfunction(thing))
        and thing.__module__.startswith(f"coupage.{room}")
    }
    assert defined == {
        name
        for name in module.__all__
        if inspect.isclass(getattr(module, name)) or inspect.isfunction(getattr(module, name))
    }


@pytest.mark.parametrize("room", ROOMS)
def test_public_functions_and_classes_explain_themselves(room: str) -> None:
    module = importlib.import_module(f"coupage.{room}")
    silent = [
        name
        for name in module.__all__
        if (inspect.isclass(getattr(module, name)) or inspect.isfunction(getattr(module, name)))
        and not (getattr(module, name).__doc__ or "").strip()
    ]
    assert not silent


def test_every_error_is_an_input_error_and_stands_in_the_tree() -> None:
    tree = errors.__doc__ or ""
    for name in errors.__all__:
        thing = getattr(errors, name)
        if inspect.isclass(thing) and issubclass(thing, Exception):
            assert issubclass(thing, errors.InputError)
            assert name in tree
