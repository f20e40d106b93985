"""Espresso and milk rounds: how each drink was made, and the sums that follow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coupage.table import extraction_percolation, milk_dilution, milk_strength
from coupage.web.cuppings.models import Cup, Cupping
from coupage.web.live.forms import ShotForm
from coupage.web.live.models import Shot

__all__ = ["ShotRow", "shot_forms", "shot_rows"]


@dataclass(frozen=True, slots=True)
class ShotRow:
    """One cup with its boxes, and what the figures in them come to."""

    cup: Cup
    form: ShotForm
    ratio: str
    extraction: str
    dilution: str
    strength: str


def shot_forms(table: Cupping, sent: Mapping[str, str] | None) -> dict[Cup, ShotForm]:
    """Return a form for every cup, in the order of the codes."""
    there = {shot.cup_id: shot for shot in Shot.objects.filter(cup__cupping=table)}
    return {
        cup: ShotForm(sent, prefix=f"c-{cup.code}", initial=ShotForm.initial_of(there.get(cup.pk)))
        for cup in table.cups.order_by("code")
    }


def shot_rows(table: Cupping, forms: Mapping[Cup, ShotForm]) -> tuple[ShotRow, ...]:
    """Return the rows of the page."""
    there = {shot.cup_id: shot for shot in Shot.objects.filter(cup__cupping=table)}
    return tuple(_row(cup, form, there.get(cup.pk)) for cup, form in forms.items())


def _row(cup: Cup, form: ShotForm, shot: Shot | None) -> ShotRow:
    if shot is None:
        return ShotRow(cup, form, "–", "–", "–", "–")
    dose, drink = shot.dose_mg / 1000, shot.drink_mg / 1000
    tds = None if shot.tds_hundredths is None else shot.tds_hundredths / 10_000
    milk = shot.milk_g
    strength = "–"
    if tds is not None:
        solids = milk_strength(tds, drink, milk) if milk else tds
        strength = f"{100 * solids:.2f} %"
    return ShotRow(
        cup=cup,
        form=form,
        ratio=f"1 : {drink / dose:.1f}",
        extraction="–"
        if tds is None
        else f"{100 * extraction_percolation(tds, drink, dose):.1f} %",
        dilution=f"{milk_dilution(drink, milk):.1f} times" if milk else "–",
        strength=strength,
    )
