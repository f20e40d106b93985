"""Forms that set up a table."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from coupage.web.batches.models import Batch
from coupage.web.common.dates import day_text
from coupage.web.common.fields import NumberField
from coupage.web.common.modelforms import ModelChoiceField, ModelForm
from coupage.web.common.shares import ShareFormSet, ShareRow
from coupage.web.cuppings import queries
from coupage.web.cuppings.models import Attribute, Cupping, Protocol, Sample, Taster

__all__ = [
    "CuppingForm",
    "FactsForm",
    "PourBatchForm",
    "PourSampleForm",
    "ReasonForm",
    "SeatForm",
    "TrialForm",
    "WeighForm",
    "passes_of",
    "trial_parts",
]

MOST_CUPS_OF_ONE = 10
_LONGEST_PASS = 30


def passes_of(text: str) -> list[str]:
    """Part the names of passes at their commas.

    >>> passes_of("warm,  cool")
    ['warm', 'cool']
    """
    return [" ".join(part.split()) for part in text.split(",") if part.strip()]


def checked_passes(text: str) -> str:
    """Return passes as they are kept, or say what is wrong with them."""
    names = passes_of(text)
    if len({name.casefold() for name in names}) < len(names):
        raise ValidationError("Two passes have one name; give each a name of its own.")
    if any(len(name) > _LONGEST_PASS for name in names):
        raise ValidationError(f"A pass has at most {_LONGEST_PASS} letters; part them by commas.")
    if len(names) > 8:
        raise ValidationError("More than 8 passes; nobody tastes that long.")
    return ", ".join(names)


def cups_field(**kwargs: Any) -> NumberField:
    return NumberField(
        label="Cups",
        low=1,
        high=MOST_CUPS_OF_ONE,
        places=0,
        help_text="More than one are hidden repeats, each under a code of its own.",
        **kwargs,
    )


class FactsForm(ModelForm[Cupping]):
    """What can be corrected about a table in any state."""

    held_at = forms.DateTimeField(
        label="Held",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        help_text="The age of each coffee on the table is counted to this moment.",
    )

    class Meta:
        model = Cupping
        fields = ["name", "held_at", "protocol", "note"]
        help_texts = {
            "name": "Tasters see it before the reveal: do not name what is on the table.",
            "note": "Tasters do not see it.",
        }
        error_messages = {"name": {"unique": "Another table has this name; each is given once."}}
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = Protocol.objects.filter(archived=False)
        if self.instance.pk:
            offered = offered | Protocol.objects.filter(pk=self.instance.protocol_id)
        protocol = cast(Any, self.fields["protocol"])
        protocol.queryset, protocol.empty_label = offered.distinct(), "Choose a protocol"


class CuppingForm(FactsForm):
    """A table with its rounds and what is rated in them."""

    passes = forms.CharField(
        required=False,
        max_length=200,
        help_text="Names of the rounds, parted by commas. Empty: those of the protocol.",
    )
    attributes = forms.ModelMultipleChoiceField(
        label="What is rated",
        queryset=Attribute.objects.none(),
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one attribute."},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = queries.attributes()
        chosen = cast(Any, self.fields["attributes"])
        if self.instance.pk:
            asked = self.instance.asked.values_list("attribute_id", flat=True)
            offered = (offered | Attribute.objects.filter(pk__in=asked)).distinct()
            chosen.initial = list(asked)
            self.fields["passes"].initial = ", ".join(
                self.instance.rounds.values_list("name", flat=True)
            )
        else:
            chosen.initial = list(offered.filter(standard=True).values_list("pk", flat=True))
        chosen.queryset = offered

    def clean_passes(self) -> str:
        return checked_passes(self.cleaned_data["passes"])

    def rounds(self) -> list[str]:
        """Return the rounds, the protocol's where none are named."""
        return passes_of(self.cleaned_data["passes"]) or passes_of(
            self.cleaned_data["protocol"].passes
        )


class _BatchChoice(ModelChoiceField[Batch]):
    def label_from_instance(self, obj: Batch) -> str:
        approach = obj.approach_version.approach
        held = ", on hold" if obj.verdict == "hold" else ""
        roasted = f"{day_text(timezone.localtime(obj.roasted_at))}"
        return f"{obj.number}: {approach}, roasted {roasted}{held}"


class PourBatchForm(forms.Form):
    """A batch as it is."""

    batch = _BatchChoice(queryset=Batch.objects.none(), empty_label="Choose a batch")
    cups = cups_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(Any, self.fields["batch"]).queryset = queries.batches_to_cup()


class PourSampleForm(forms.Form):
    """A sample that was made before, by a recipe say."""

    sample = ModelChoiceField[Sample](queryset=Sample.objects.none(), empty_label="Choose a sample")
    cups = cups_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(Any, self.fields["sample"]).queryset = queries.samples_to_cup()


class TrialForm(forms.Form):
    """What goes with the shares of a trial blend."""

    label = forms.CharField(
        label="Name of the trial",
        max_length=80,
        help_text="What stands on the jar; each name once.",
    )
    cups = cups_field()

    def clean_label(self) -> str:
        label: str = self.cleaned_data["label"].strip()
        if Sample.objects.filter(label=label).exists():
            raise ValidationError("Another sample has this name; each name is given once.")
        return label


class _PartForm(ShareRow):
    """One batch and its share of the trial blend."""

    noun = "batch"
    component = _BatchChoice(
        queryset=Batch.objects.none(), required=False, label="Batch", empty_label="choose"
    )
    field_order = ("component", "share")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(Any, self.fields["component"]).queryset = queries.batches_to_cup()


_PartFormSet = forms.formset_factory(_PartForm, formset=ShareFormSet, extra=3, max_num=12)


def trial_parts(data: Any = None) -> ShareFormSet:
    """Return the rows of batches and shares of a trial blend."""
    return cast(ShareFormSet, _PartFormSet(data))


class SeatForm(forms.Form):
    """A taster that is known, or the name of a guest."""

    taster = ModelChoiceField[Taster](
        queryset=Taster.objects.none(), required=False, empty_label="Choose a taster"
    )
    guest = forms.CharField(
        label="or a guest's name",
        max_length=60,
        required=False,
        help_text="A guest needs no account; you enter their ratings.",
    )

    def __init__(self, *args: Any, table: Cupping, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        free = Taster.objects.filter(archived=False).exclude(seats__cupping=table)
        cast(Any, self.fields["taster"]).queryset = free

    def clean_guest(self) -> str:
        guest = " ".join(self.cleaned_data["guest"].split())
        if guest and Taster.objects.filter(name__iexact=guest).exists():
            raise ValidationError(
                f"{guest} is known already; choose the name from the list, or tell the two apart."
            )
        return guest

    def clean(self) -> None:
        super().clean()
        if self.errors:
            return
        taster, guest = self.cleaned_data["taster"], self.cleaned_data["guest"]
        if bool(taster) == bool(guest):
            self.add_error("taster", "Choose a taster, or type a guest's name; not both.")


class ReasonForm(forms.Form):
    """A reason that history keeps."""

    reason = forms.CharField(
        label="Why it is opened again",
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say why; it stays in the history beside your name."},
    )


class WeighForm(forms.Form):
    """What the scale can show and what the grinder keeps."""

    resolution = NumberField(
        label="Smallest step of the scale", unit="g", above=0, high=10, places=3
    )
    purge = NumberField(
        label="Purge of the grinder per sample",
        unit="g",
        low=0,
        high=200,
        places=1,
        help_text="Ground with each sample and thrown away, so that the last one is out.",
    )
