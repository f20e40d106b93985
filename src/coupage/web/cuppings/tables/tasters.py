"""Tasters as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.web.common.doors import numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.cuppings.actions.settings import add_taster, change_taster
from coupage.web.cuppings.models import Taster
from coupage.web.people.archive import archive
from coupage.web.people.models import Person


def tasters_layout() -> Layout:
    return Layout(
        "tasters",
        (
            Column("taster", "text", aliases=("name",), help="Each name once."),
            Column(
                "account",
                "text",
                required=False,
                default="",
                help="The sign-in name, or empty for a guest.",
                aliases=("sign in", "sign in name"),
            ),
            Column("put away", "yes-no", required=False, default=False),
        ),
        key=("taster",),
        description="Who sits at tables. A taster that is known is changed.",
    )


def _of(row: dict[str, object], people: dict[str, Person], taster: Taster) -> Taster:
    taster.name = str(row["taster"])
    taster.person = people.get(str(row["account"]))
    return taster


def _plan(table: Table) -> Plan:
    known = {taster.name: taster for taster in Taster.objects.select_related("person")}
    people = {person.sign_in: person for person in Person.objects.all()}
    problems: list[FileProblem] = []
    seats = {t.person_id: t.name for t in known.values() if t.person_id is not None}
    new = 0
    for number, row in numbered(table):
        name, account = str(row["taster"]), str(row["account"])
        there = known.get(name)
        new += there is None
        if account and account not in people:
            problems.append(
                FileProblem(number, "account", f"nobody signs in as {account!r}; leave it empty")
            )
        elif account and seats.get(people[account].pk, name) != name:
            problems.append(
                FileProblem(
                    number, "account", f"{account} tastes as {seats[people[account].pk]} already"
                )
            )
        elif account:
            seats[people[account].pk] = name
        if there is None and any(name.casefold() == other.casefold() for other in known):
            problems.append(
                FileProblem(number, "taster", "differs from a known taster by case only")
            )
        problems += problems_of(
            Taster(name=name), number, {"name": "taster"}, exclude=["person"], unique=False
        )
    return Plan((rows_said(new, "new taster", "new tasters"),), tuple(problems))


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    known = {taster.name: taster for taster in Taster.objects.all()}
    people = {person.sign_in: person for person in Person.objects.all()}
    for row in table.rows:
        there = known.get(str(row["taster"]))
        before = there.person_id if there else None
        taster = _of(dict(row), people, there or Taster())
        if there is None:
            add_taster(taster=taster, by=by, at=at)
        elif before != taster.person_id:
            change_taster(taster=taster, by=by, at=at)
        if taster.archived != row["put away"]:
            archive(taster, archived=bool(row["put away"]), by=by, at=at)
    return f"{rows_said(len(table.rows), 'taster is', 'tasters are')} in."


def taster_rows() -> Iterator[dict[str, object]]:
    for taster in Taster.objects.select_related("person"):
        yield {
            "taster": taster.name,
            "account": taster.person.sign_in if taster.person else "",
            "put away": taster.archived,
        }


TASTERS = Exchange("tasters", "Import tasters", tasters_layout, _plan, _apply, "cuppings:tasters")
