"""Fits are kept and found again; a long one never keeps a page waiting."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator

import pytest

from coupage.panel import fit
from coupage.web.cuppings import beliefs, kept
from coupage.web.cuppings.columns import columns_of
from coupage.web.cuppings.models import Cupping, FittedBeliefs, Rating
from coupage.web.people.models import Person, Role
from tests.web import things
from tests.web.conftest import As
from tests.web.cuppings.conftest import work_is_over


@pytest.fixture(autouse=True)
def forgetful() -> Iterator[None]:
    """No fit of another test is remembered in this process."""
    beliefs._memory.clear()
    yield
    beliefs._memory.clear()


def revealed() -> Cupping:
    table = things.cupping(state="revealed", revealed_at=things.NOW)
    things.rate_all(table)
    return table


def count_fits(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    made: list[int] = []

    def counted(*args: object, **more: object) -> object:
        made.append(1)
        return fit(*args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(beliefs, "fit", counted)
    return made


@pytest.mark.django_db
def test_nothing_is_believed_before_a_reveal() -> None:
    things.rate_all(things.cupping())
    assert beliefs.beliefs_now() is None


@pytest.mark.django_db
def test_beliefs_are_those_of_the_panel_on_the_same_columns() -> None:
    revealed()
    columns = columns_of(Cupping.objects.filter(state="revealed"))
    found = beliefs.beliefs_now()
    assert found is not None
    direct = fit(columns.ratings, columns.samples)
    recipe = {direct.components[0]: 1.0}
    for attribute, belief in direct.profile(recipe).items():
        assert found.profile(recipe)[attribute].mean == pytest.approx(belief.mean, abs=1e-9)


@pytest.mark.django_db
def test_the_same_data_are_fitted_once_also_by_another_process(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    revealed()
    made = count_fits(monkeypatch)
    first = beliefs.beliefs_now()
    beliefs.beliefs_now()
    beliefs._memory.clear()  # as in another process, which only shares the database
    again = beliefs.beliefs_now()
    assert len(made) == 1
    assert first is not None
    assert again is not None
    assert again.fingerprint == first.fingerprint


@pytest.mark.django_db
@pytest.mark.parametrize("what", ["rating", "void", "new coffee", "threshold"])
def test_a_change_of_what_counts_makes_a_new_fit(
    what: str, monkeypatch: pytest.MonkeyPatch, roastery: object
) -> None:
    table = revealed()
    revealed()
    made = count_fits(monkeypatch)
    beliefs.beliefs_now()
    if what == "rating":
        Rating.objects.filter(cup__cupping=table).update(value=1)
    elif what == "void":
        Cupping.objects.filter(pk=table.pk).update(void=True)
    elif what == "new coffee":
        things.approach_version()
    else:
        type(roastery).objects.update(verdict_chance="0.95")  # type: ignore[attr-defined]
    beliefs.beliefs_now()
    assert len(made) == 2


def test_a_page_does_not_wait_for_a_long_fit_and_finds_it_later(
    shared: None, monkeypatch: pytest.MonkeyPatch, signed_in: As
) -> None:
    person: Person = things.person(Role.ROASTER)
    blend = things.recipe().blend
    revealed()
    monkeypatch.setattr(beliefs, "AT_ONCE", 0)
    made, go = count_fits(monkeypatch), threading.Event()
    slow = beliefs.fit
    monkeypatch.setattr(beliefs, "fit", lambda *a, **k: (go.wait(20), slow(*a, **k))[1])
    client = signed_in(person)
    try:
        note = client.get(f"/blends/{blend.pk}/")
        assert note.status_code == 202
        assert note.headers["Refresh"] == "1"
        assert "being worked out" in note.text
        assert client.get("/blends/").status_code == 202, "a second page waits for the same fit"
        assert client.get("/coffees/").status_code == 200, "others do not wait"
        go.set()
        until = time.monotonic() + 20
        while client.get("/blends/").status_code == 202 and time.monotonic() < until:
            time.sleep(0.05)
        assert client.get(f"/blends/{blend.pk}/").status_code == 200
        assert len(made) == 1
        assert FittedBeliefs.objects.exclude(data=b"").count() == 1
    finally:
        go.set()
        work_is_over()
        type(things.recipe()).objects.update(sealed=False)


def test_a_fit_whose_worker_died_is_taken_over(
    shared: None, monkeypatch: pytest.MonkeyPatch, signed_in: As
) -> None:
    person: Person = things.person(Role.ROASTER)
    revealed()
    monkeypatch.setattr(beliefs, "AT_ONCE", 0)
    monkeypatch.setattr(kept, "STALE", kept.STALE * 0)
    client = signed_in(person)
    monkeypatch.setattr(kept.threading.Thread, "start", lambda _: None)  # dies at once
    try:
        assert client.get("/blends/").status_code == 202
        monkeypatch.undo()
        monkeypatch.setattr(beliefs, "AT_ONCE", 0)
        monkeypatch.setattr(kept, "STALE", kept.STALE * 0)
        until = time.monotonic() + 20
        while client.get("/blends/").status_code == 202 and time.monotonic() < until:
            time.sleep(0.05)
        assert client.get("/blends/").status_code == 200
    finally:
        work_is_over()
