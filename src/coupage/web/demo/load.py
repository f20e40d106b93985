"""Write the demo roastery into an empty database, in one transaction."""

from __future__ import annotations

import datetime as dt

from django.apps import apps
from django.db import models, transaction

from coupage.errors import InputError
from coupage.web.demo.generate import SEED, generate
from coupage.web.demo.write import Writer
from coupage.web.people import history
from coupage.web.people.models import Roastery

__all__ = ["empty", "load_demo"]


@transaction.atomic
def load_demo(*, today: dt.date, seed: int = SEED, replace: bool = False) -> Roastery:
    """Load the demo roastery.

    Parameters
    ----------
    today : datetime.date
        The day on which the demo is looked at; the last batches are a day old then, one table is
        under way and one is planned for the day after.
    seed : int
        Another seed gives the same world with another truth.
    replace : bool
        Empty a demo that is there before, with everything that was added to it. A roastery that
        is no demo is never emptied.

    Returns
    -------
    Roastery
        The demo, marked by ``is_demo``.

    Raises
    ------
    InputError
        When the database holds anything that would be mixed up with the demo.
    """
    _make_room(replace=replace)
    writer = Writer(generate(seed=seed), today)
    writer.write()
    history.record(
        writer.roastery,
        verb="set up",
        by=writer.person["tamsin"],
        at=writer.moment(120, 9 * 60),
        note="Demo roastery, invented from first to last.",
    )
    return writer.roastery


def _make_room(*, replace: bool) -> None:
    roastery = Roastery.objects.select_for_update().first()
    if roastery is not None and roastery.is_demo:
        if not replace:
            raise InputError(
                "demo: it is loaded already; ask for it to be replaced if all that was added to "
                "it may go"
            )
        empty()
    elif found := next((model for model in _ours() if model._base_manager.exists()), None):
        raise InputError(
            f"demo: this database holds {found._meta.verbose_name_plural} of a real roastery, "
            "which the demo would be mixed up with; name another data folder in COUPAGE_DATA"
        )


def _ours() -> list[type[models.Model]]:
    """Return the models of all apps of Coupage, later apps first."""
    return [
        model
        for config in reversed(list(apps.get_app_configs()))
        if config.name.startswith("coupage.web.")
        for model in config.get_models()
    ]


def empty() -> None:
    """Take every row of our own models out, those that ledgers and seals hold fast too."""
    for model in _ours():
        # Raw, because rows that protect each other all go; the database looks at its foreign
        # keys when the transaction ends. A sealed sample or recipe goes before its shares (models
        # come in the order in which they are written down), which its seal would hold fast.
        model._base_manager.all()._raw_delete("default")
