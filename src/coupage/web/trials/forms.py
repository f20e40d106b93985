"""The one screen on which a trial is planned; per cent become parts per million here."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import Q
from django.utils import timezone

from coupage.units import PPM, show_share
from coupage.web.batches.models import Batch
from coupage.web.blends.models import Brief, Recipe
from coupage.web.coffees import groups
from coupage.web.coffees.models import Approach
from coupage.web.coffees.queries import approaches
from coupage.web.common.dates import day_text
from coupage.web.common.fields import NumberField, PercentField
from coupage.web.common.modelforms import ModelChoiceField, ModelForm, ModelMultipleChoiceField
from coupage.web.cuppings.models import Attribute, Cupping, Protocol, Taster
from coupage.web.trials.design import Asked, Shares
from coupage.web.trials.models import MOST_COFFEES, MOST_SAMPLES, Plan, PlanCoffee, PlanGroup

__all__ = ["PlanScreen", "SendForm", "SharesForm", "WeighForm"]

_BLANK_GROUPS = 2
_MOST_GROUPS = 12


class PlanForm(ModelForm[Plan]):
    """The question and the size of the table."""

    samples = NumberField(
        label="Samples on the table",
        low=2,
        high=MOST_SAMPLES,
        places=0,
        initial=Decimal(6),
        help_text="Hidden repeats and the reference are among them.",
    )
    repeats = NumberField(
        label="Of them hidden repeats",
        low=0,
        high=MOST_SAMPLES - 1,
        places=0,
        initial=Decimal(1),
        help_text="The same blend under a second code; it shows the tasters' own noise.",
    )
    tasters = NumberField(label="Tasters", low=1, high=30, places=0, initial=Decimal(3))
    cups = NumberField(label="Cups of each sample", low=1, high=10, places=0, initial=Decimal(1))
    difference = NumberField(
        label="Difference that should be seen",
        unit="points",
        low=Decimal("0.1"),
        high=10,
        places=1,
        initial=Decimal(1),
    )

    class Meta:
        model = Plan
        fields = [
            "name",
            "purpose",
            "brief",
            "order",
            "samples",
            "repeats",
            "reference",
            "tasters",
            "cups",
            "step_ppm",
            "keep",
            "one_approach",
            "difference",
            "note",
        ]
        widgets = {"purpose": forms.RadioSelect, "note": forms.Textarea(attrs={"rows": 2})}
        error_messages = {"name": {"unique": "Another plan has this name."}}
        help_texts = {
            "brief": "Then only its attributes count.",
            "order": "With pairings a blend may taste of more or less than the sum of its parts.",
            "reference": "A recipe that stands among the samples, whatever it tells.",
            "step_ppm": "What your scale and your patience can weigh.",
            "keep": "Tables that were revealed are knowledge; what they taught is not asked again.",
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        briefs = Brief.objects.filter(Q(archived=False) | Q(pk=self.instance.brief_id))
        recipes = Recipe.objects.filter(
            Q(sealed=True, blend__archived=False) & ~Q(state=Recipe.State.RETIRED)
            | Q(pk=self.instance.reference_id)
        )
        self.fields["brief"].queryset = briefs  # type: ignore[attr-defined]
        self.fields["brief"].empty_label = "none"  # type: ignore[attr-defined]
        self.fields["reference"].queryset = recipes.select_related("blend")  # type: ignore[attr-defined]
        self.fields["reference"].empty_label = "none"  # type: ignore[attr-defined]

    def clean(self) -> None:
        super().clean()
        values = self.cleaned_data
        if values.get("purpose") == Plan.Purpose.DECISION and not values.get("brief"):
            self.add_error("brief", "Name the brief that the recipe shall serve.")
        samples, repeats = values.get("samples"), values.get("repeats")
        if samples is not None and repeats is not None and repeats >= samples:
            self.add_error("repeats", f"must be fewer than the {samples} samples")

    def _get_validation_exclusions(self) -> set[str]:
        # What clean() says in words beside the field need not be said again by a constraint.
        missing = {"brief"} if "brief" in self.errors else set()
        found: set[str] = super()._get_validation_exclusions()  # type: ignore[misc]
        return found | missing


class CoffeeForm(forms.Form):
    """One coffee that may be in the blends, and its limits."""

    picked = forms.BooleanField(required=False, label="may be used")
    low = PercentField(label="At least", required=False)
    high = PercentField(label="At most", required=False)

    def __init__(
        self, approach: Approach, batch: Batch | None, data: Any, initial: dict[str, Any]
    ) -> None:
        self.approach, self.batch = approach, batch
        super().__init__(data, prefix=f"coffee-{approach.pk}", initial=initial)

    def clean(self) -> None:
        super().clean()
        values = self.cleaned_data
        low, high = values.get("low"), values.get("high")
        if not values.get("picked") and (low or high is not None):
            self.add_error("picked", "Tick this coffee, or empty its limits.")
        if low is not None and high is not None and low > high:
            self.add_error("high", f"must not be less than {show_share(low)}")

    def coffee(self) -> PlanCoffee | None:
        """Return the coffee with its limits, or None where it is not ticked."""
        values = self.cleaned_data
        if not values.get("picked"):
            return None
        high = values["high"]
        return PlanCoffee(
            approach=self.approach,
            low_ppm=values["low"] or 0,
            high_ppm=PPM if high is None else high,
        )


class GroupForm(forms.Form):
    """A limit on several coffees together."""

    rule = forms.ChoiceField(label="Which coffees", required=False)
    low = PercentField(label="At least", required=False)
    high = PercentField(label="At most", required=False)

    def __init__(
        self,
        index: int,
        offered: Sequence[tuple[str, str]],
        data: Any,
        initial: dict[str, Any] | None,
    ) -> None:
        super().__init__(data, prefix=f"group-{index}", initial=initial)
        self.index = index
        self.fields["rule"].choices = [("", "no limit"), *offered]  # type: ignore[attr-defined]

    def clean(self) -> None:
        super().clean()
        values = self.cleaned_data
        rule, low, high = values.get("rule"), values.get("low"), values.get("high")
        if "rule" in self.errors:
            return
        if not rule and (low is not None or high is not None):
            self.add_error("rule", "Say which coffees this limit is for, or empty it.")
        if rule and low is None and high is None and not {"low", "high"} & self.errors.keys():
            self.add_error("low", "Give a lower or an upper limit.")
        if low is not None and high is not None and low > high:
            self.add_error("high", f"must not be less than {show_share(low)}")

    def group(self) -> PlanGroup | None:
        values = self.cleaned_data
        if not values.get("rule"):
            return None
        return PlanGroup(rule=values["rule"], low_ppm=values["low"], high_ppm=values["high"])


class PlanScreen:
    """All forms of the one screen, valid only together."""

    def __init__(
        self,
        data: Any = None,
        *,
        plan: Plan | None = None,
        batches: dict[int, list[Batch]],
        offered: Sequence[Approach],
        initial: dict[str, Any] | None = None,
        ticked: Sequence[Approach] = (),
    ) -> None:
        self.form = PlanForm(data, instance=plan, initial=initial)
        kept = {c.approach: c for c in plan.coffees.all()} if plan is not None else {}
        self.coffees = [
            CoffeeForm(
                approach,
                next(iter(batches.get(approach.pk, [])), None),
                data,
                initial=_limits(kept.get(approach)) | {"picked": approach in {*kept, *ticked}},
            )
            for approach in offered
        ]
        saved = list(plan.groups.all()) if plan is not None else []
        rules = groups.choices(offered)
        count = min(_MOST_GROUPS, len(saved) + _BLANK_GROUPS)
        if data is not None:
            count = max(count, sum(f"group-{i}-rule" in data for i in range(_MOST_GROUPS)))
        self.groups = [
            GroupForm(i, rules, data, _group_initial(saved[i]) if i < len(saved) else None)
            for i in range(count)
        ]
        self.problem = ""

    @property
    def all(self) -> list[forms.BaseForm]:
        return [self.form, *self.coffees, *self.groups]

    def is_valid(self) -> bool:
        """Check every form, so that every fault is shown at once."""
        if not all([form.is_valid() for form in self.all]):  # noqa: C419
            return False
        picked = sum(form.coffee() is not None for form in self.coffees)
        if not 2 <= picked <= MOST_COFFEES:
            self.form.add_error(
                None,
                f"Tick 2 to {MOST_COFFEES} coffees that may be in the blends; {picked} "
                f"{'is' if picked == 1 else 'are'} ticked.",
            )
        rules = [group.rule for group in self._found_groups()]
        twice = {rule for rule in rules if rules.count(rule) > 1}
        if twice:
            approaches = [form.approach for form in self.coffees]
            said = ", ".join(sorted(groups.words(rule, approaches) for rule in twice))
            self.form.add_error(None, f"There are two limits on {said}; write them as one.")
        return not self.form.errors

    def _found_groups(self) -> list[PlanGroup]:
        return [group for form in self.groups if (group := form.group()) is not None]

    def asked(self) -> Asked:
        """Return what was asked."""
        coffees = [coffee for form in self.coffees if (coffee := form.coffee()) is not None]
        return Asked(self.form.save(commit=False), tuple(coffees), tuple(self._found_groups()))

    @classmethod
    def offered(cls, plan: Plan | None = None) -> list[Approach]:
        """Return the coffees in use, and those that the plan has already."""
        found = list(approaches())
        kept = [c.approach for c in plan.coffees.all()] if plan is not None else []
        return found + [approach for approach in kept if approach not in found]


def _limits(coffee: PlanCoffee | None) -> dict[str, Any]:
    if coffee is None:
        return {}
    return {
        "low": coffee.low_ppm or None,
        "high": coffee.high_ppm if coffee.high_ppm < PPM else None,
    }


def _group_initial(group: PlanGroup) -> dict[str, Any]:
    return {"rule": group.rule, "low": group.low_ppm, "high": group.high_ppm}


class SharesForm(forms.Form):
    """One blend by hand: a share for each coffee of the plan."""

    def __init__(
        self, coffees: Sequence[PlanCoffee], *args: Any, shares: Shares | None = None, **kw: Any
    ) -> None:
        super().__init__(*args, **kw)
        self.coffees = tuple(coffees)
        for i, coffee in enumerate(self.coffees):
            self.fields[f"share-{coffee.pk}"] = PercentField(
                label=str(coffee.approach),
                required=False,
                initial=shares[i] if shares is not None and shares[i] else None,
            )

    def clean(self) -> None:
        super().clean()
        if self.errors:
            return
        total = sum(self.shares())
        if total != PPM:
            off = show_share(abs(PPM - total))
            raise ValidationError(
                f"The shares add up to {show_share(total)}: {off} "
                f"{'are missing' if total < PPM else 'too much'}."
            )

    def shares(self) -> Shares:
        """Return the shares in the order of the coffees."""
        return tuple(self.cleaned_data.get(f"share-{c.pk}") or 0 for c in self.coffees)


class _BatchChoice(ModelChoiceField[Batch]):
    def label_from_instance(self, obj: Batch) -> str:
        roasted = timezone.localtime(obj.roasted_at)
        return f"{obj.number}, roasted {day_text(roasted)}, {obj.verdict}"


class SendForm(forms.Form):
    """The table that a plan is sent to."""

    name = forms.CharField(label="Name of the table", max_length=80)
    held_at = forms.DateTimeField(
        label="When",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )
    protocol = ModelChoiceField[Protocol](
        queryset=Protocol.objects.filter(archived=False), empty_label=None
    )
    attributes = ModelMultipleChoiceField[Attribute](
        queryset=Attribute.objects.filter(archived=False),
        widget=forms.CheckboxSelectMultiple,
        label="Rated",
    )
    tasters = ModelMultipleChoiceField[Taster](
        queryset=Taster.objects.filter(archived=False),
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="More can take a seat later.",
    )

    def __init__(self, *args: Any, batches: dict[Approach, list[Batch]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.approaches = list(batches)
        for approach, found in batches.items():
            self.fields[f"batch-{approach.pk}"] = _BatchChoice(
                queryset=Batch.objects.filter(pk__in=[b.pk for b in found]).order_by("-roasted_at"),
                label=f"Batch of {approach}",
                initial=found[0].pk if found else None,
                empty_label="choose" if not found else None,
                error_messages={"required": "No batch can be weighed from; roast one first."},
            )

    def clean_name(self) -> str:
        name: str = self.cleaned_data["name"]
        if Cupping.objects.filter(name=name).exists():
            raise ValidationError("Another table has this name.")
        return name

    def chosen(self) -> dict[Approach, Batch]:
        return {a: self.cleaned_data[f"batch-{a.pk}"] for a in self.approaches}


class WeighForm(forms.Form):
    """On what scale a plan is weighed before it is sent."""

    protocol = ModelChoiceField[Protocol](
        queryset=Protocol.objects.filter(archived=False), empty_label=None
    )
    resolution = NumberField(
        label="Smallest step of the scale",
        unit="g",
        above=0,
        high=10,
        places=3,
        initial=Decimal("0.1"),
    )
    purge = NumberField(
        label="Grinder purge before each sample",
        unit="g",
        low=0,
        high=500,
        places=1,
        initial=Decimal(5),
        help_text="Ground and thrown away, mixed as the sample is.",
    )
