"""What the gallery shows: every part once, filled with invented coffees."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django import forms
from django.db.models import Q
from django.http import HttpRequest

from coupage.errors import FileProblem
from coupage.web.common.charts import (
    Composition,
    Level,
    Part,
    ProfileChart,
    ProfileRow,
    TrendChart,
    TrendPoint,
    TrendSeries,
)
from coupage.web.common.drawing import Doubt
from coupage.web.common.fields import MassField, NumberField, PercentField
from coupage.web.common.icons import ICONS
from coupage.web.common.listing import Choice, Filter, Listing

__all__ = ["GalleryPage"]


def _doubt(mean: float, sd: float) -> Doubt:
    """Make a normal belief's intervals: 0.6745 and 1.6449 standard deviations to each side."""
    return Doubt(
        mean, mean - 0.6745 * sd, mean + 0.6745 * sd, mean - 1.6449 * sd, mean + 1.6449 * sd
    )


class LotForm(forms.Form):
    name = forms.CharField(max_length=80, help_text="As it stands on the bag or the contract.")
    process = forms.ChoiceField(choices=[("washed", "Washed"), ("natural", "Natural")])
    kilograms = MassField(label="Bought", above=0)
    price = NumberField(label="Price", unit="€/kg", low=0, places=2, required=False)
    moisture = NumberField(
        unit="%", low=0, high=30, required=False, help_text="10 to 12 is usual (SCA 2018)."
    )
    arrived = forms.DateField(required=False, widget=forms.DateInput(attrs={"type": "date"}))
    served = forms.MultipleChoiceField(
        label="Served as",
        required=False,
        choices=[("filter", "Filter"), ("espresso", "Espresso"), ("milk", "With milk")],
        widget=forms.CheckboxSelectMultiple,
    )
    notes = forms.CharField(required=False, widget=forms.Textarea(attrs={"rows": 3}))
    certified = forms.BooleanField(label="Has a certificate", required=False)


class ShareForm(forms.Form):
    component = forms.ChoiceField(
        choices=[
            ("", "Choose a coffee"),
            ("1", "Amber Terrace"),
            ("2", "Low Lantern"),
            ("3", "Ridge Four"),
        ]
    )
    share = PercentField()


class LimitForm(forms.Form):
    low = PercentField(label="At least", required=False, initial=200_000)
    high = PercentField(label="At most", required=False)


ShareFormSet = forms.formset_factory(ShareForm, extra=0, can_delete=True)


@dataclass(frozen=True, slots=True)
class Row:
    name: str
    process: str
    kilograms: str
    price: str
    state: str
    tone: str


_ROWS = (
    Row("Amber Terrace", "washed", "412", "6.10", "in stock", "quiet"),
    Row("Low Lantern", "natural", "58", "7.45", "running low", "attention"),
    Row("Ridge Four", "washed", "240", "5.80", "in stock", "quiet"),
    Row("Salt Orchard", "honey", "0", "6.75", "used up", "stop"),
    Row("Three Wells", "wet hulled", "180", "5.20", "in stock", "quiet"),
)


def _listing(request: HttpRequest) -> Listing[Row]:
    """Return a listing over invented rows: the same address handling without a table behind it."""
    words = request.GET.get("q", "").split()
    rows = [r for r in _ROWS if all(w.lower() in (r.name + r.process).lower() for w in words)]
    asked = request.GET.get("sort", "name")
    key = asked.removeprefix("-")
    if key not in {"name", "price"}:
        asked = key = "name"
    rows.sort(key=lambda r: getattr(r, key), reverse=asked.startswith("-"))
    chosen = request.GET.get("stock", "")
    if chosen not in {"in", "low"}:
        chosen = ""
    keep = {"in": "in stock", "low": "running low"}.get(chosen)
    rows = [r for r in rows if keep is None or r.state == keep]
    return Listing(
        rows=rows,
        found=len(rows),
        number=1,
        size=25,
        search=" ".join(words),
        searchable=True,
        sort=asked,
        default_sort="name",
        sorts=frozenset({"name", "price"}),
        chosen={"stock": chosen},
        filters=(
            Filter(
                "stock", "Stock", (Choice("in", "In stock", Q()), Choice("low", "Running low", Q()))
            ),
        ),
        path=request.path,
    )


def _profile() -> ProfileChart:
    return ProfileChart(
        caption="House blend, recipe of 3 March against its brief",
        rows=(
            ProfileRow("Sweetness", (_doubt(6.8, 0.35),), (6.0, 8.0), "release", "97 %"),
            ProfileRow("Acidity", (_doubt(4.9, 0.55),), (3.0, 5.0), "look again", "58 %"),
            ProfileRow("Body", (_doubt(5.4, 0.4),), (6.0, None), "hold", "7 %"),
            ProfileRow("Bitterness", (_doubt(2.6, 0.3),), (None, 3.5), "release", "99 %"),
            ProfileRow("Aftertaste", (_doubt(6.1, 0.9),)),
        ),
    )


def _pair() -> ProfileChart:
    return ProfileChart(
        caption="Batches 118 and 121",
        series=("Batch 118", "Batch 121"),
        rows=(
            ProfileRow(
                "Sweetness", (_doubt(6.4, 0.3), _doubt(6.6, 0.35)), verdict="same", note="95 %"
            ),
            ProfileRow(
                "Acidity", (_doubt(5.9, 0.3), _doubt(4.2, 0.3)), verdict="different", note="99 %"
            ),
            ProfileRow("Body", (_doubt(5.0, 0.8), _doubt(5.9, 0.9)), verdict="not enough cups"),
            ProfileRow("Bitterness", (None, _doubt(3.1, 0.5)), note="118 not rated"),
        ),
    )


def _fade() -> TrendChart:
    days = (date(2027, 1, 12), date(2027, 1, 26), date(2027, 2, 16), date(2027, 3, 9))
    return TrendChart(
        caption="Sweetness of Amber Terrace with age",
        wanted=(6.0, 8.0),
        series=(
            TrendSeries(
                "Amber Terrace",
                tuple(
                    TrendPoint(at, interval=_doubt(mean, sd))
                    for at, mean, sd in zip(
                        days, (7.1, 7.0, 6.6, 6.1), (0.3, 0.25, 0.3, 0.4), strict=True
                    )
                ),
            ),
        ),
    )


def _losses() -> TrendChart:
    losses = (14.9, 15.1, 15.0, 14.8, 15.3, 15.1, 16.1, 15.0, 14.9, 15.2)
    return TrendChart(
        caption="Loss of the last ten batches of Ridge Four",
        unit="%",
        levels=(Level(15.0, "target", "center"), Level(15.5, "upper"), Level(14.5, "lower")),
        series=(
            TrendSeries(
                "Loss",
                tuple(
                    TrendPoint(
                        date(2027, 3, 1 + 2 * i),
                        loss,
                        flag="above the tolerance" if loss > 15.5 else "",
                        label=f"Batch {112 + i}",
                    )
                    for i, loss in enumerate(losses)
                ),
            ),
        ),
    )


class GalleryPage:
    """Everything ``coupage/gallery.html`` shows."""

    def __init__(self, request: HttpRequest) -> None:
        self.lots = _listing(request)
        self.profile, self.pair, self.fade, self.losses = _profile(), _pair(), _fade(), _losses()
        self.belief = _doubt(6.8, 0.4)
        self.wanted = (6.0, 8.0)
        self.composition = Composition(
            (
                Part("Amber Terrace", 0.45, 1, "washed", "#lists"),
                Part("Low Lantern", 0.30, 2, "natural"),
                Part("Ridge Four", 0.20, 3, "washed"),
                Part("Three Wells", 0.05, 4, "wet hulled"),
            ),
            "House blend",
        )
        self.every_slot = Composition(
            tuple(Part(f"Component {i}", 0.125, i) for i in range(1, 9)), "Eight components"
        )
        self.unfinished = Composition(
            (Part("Amber Terrace", 0.5, 1), Part("Low Lantern", 0.35, 2)), "Unfinished recipe"
        )
        self.form = LotForm(initial={"name": "Amber Terrace", "kilograms": 412_000})
        self.wrong = LotForm(
            {"wrong-name": "", "wrong-kilograms": "four hundred", "wrong-moisture": "45"},
            prefix="wrong",
        )
        self.limits = LimitForm(auto_id="limit-%s")
        self.shares = ShareFormSet(
            initial=[
                {"component": "1", "share": 450_000},
                {"component": "2", "share": 300_000},
                {"component": "3", "share": 150_000},
            ],
            prefix="shares",
        )
        self.facts = (
            ("Producer", "Terrace growers' union"),
            ("Altitude", "1,750 m"),
            ("Crop", "2026"),
            ("Bought", "412 kg in 7 bags", "#lists"),
            ("Moisture", "11.2 %"),
        )
        self.words = (
            ("plum", 7, "fruit"),
            ("cocoa", 5, "roasted"),
            ("orange peel", 3, "fruit"),
            ("toast", 2, "roasted"),
            "tea",
        )
        self.problems = (
            FileProblem(3, "moisture", "'wet' is not a number; write it like 11.2 or 11,2"),
            FileProblem(7, "lot", "'Amber Terace' is not known; did you mean 'Amber Terrace'?"),
            FileProblem(0, "price", "the column is missing; add it or download the empty table"),
        )
        self.shades = tuple(range(10))
        self.icons = sorted(ICONS)
