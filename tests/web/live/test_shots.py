"""Espresso and milk rounds are written down, and the sums are those of the trade's examples."""

from __future__ import annotations

from typing import Any

import pytest

from coupage.web.cuppings.models import Cupping
from coupage.web.live.models import Shot
from coupage.web.people.models import Change, Person
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


def typed(table: Cupping, **values: str) -> dict[str, str]:
    code = table.cups.order_by("code")[0].code
    return {f"c-{code}-{name}": value for name, value in values.items()}


def test_extraction_and_dilution_follow_from_what_was_weighed(
    table: Cupping, roaster: Person, signed_in: As
) -> None:
    """18 g to 36 g at 9.5 % is 19 % (trade example); 36 g under 144 g of milk is five times."""
    host = signed_in(roaster)
    address = f"/cuppings/{table.pk}/live/shots/"
    sent = typed(table, dose="18", drink="36", seconds="28", tds="9,5", milk="144")
    assert host.post(address, sent).status_code == 302
    row: Any = host.get(address).context["rows"][0]
    assert (row.ratio, row.extraction, row.dilution) == ("1 : 2.0", "19.0 %", "5.0 times")
    assert row.strength == "1.90 %"
    assert Shot.objects.get().tds_hundredths == 950
    # Sent again, nothing changes and nothing is added to the history.
    host.post(address, sent)
    assert Change.objects.filter(verb__startswith="wrote down shot").count() == 1
    host.post(address, typed(table))
    assert not Shot.objects.exists()


def test_a_row_that_is_not_whole_keeps_what_was_typed(
    table: Cupping, roaster: Person, signed_in: As
) -> None:
    host = signed_in(roaster)
    answer = host.post(f"/cuppings/{table.pk}/live/shots/", typed(table, dose="18", tds="60"))
    assert answer.status_code == 422
    assert "Give this too" in answer.text
    assert 'value="18"' in answer.text
    assert not Shot.objects.exists()
