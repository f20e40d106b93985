"""Forms about curves: files, their columns, and how a machine's curves are looked at."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms

from coupage.web.common.fields import NumberField
from coupage.web.common.modelforms import ModelForm
from coupage.web.curves.models import FileColumns, Probe

__all__ = ["ColumnsForm", "ProbeForm", "ReasonForm", "UploadForm"]

MOST_FILES = 400
MARKS = 6


class _ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class _FilesField(forms.FileField):
    """Several files at once."""

    def clean(self, data: Any, initial: Any = None) -> list[Any]:  # noqa: ARG002  Django's name
        given = data if isinstance(data, list | tuple) else [data] if data else []
        if not given:
            raise forms.ValidationError("Choose at least one file.")
        if len(given) > MOST_FILES:
            raise forms.ValidationError(
                f"{len(given)} files came; at most {MOST_FILES} are taken at once."
            )
        return list(given)


class UploadForm(forms.Form):
    """Curve files, and whether they take the place of curves that are there."""

    curves = _FilesField(
        label="Curve files",
        widget=_ManyFiles(attrs={"accept": ".csv,.xlsx,.txt,.tsv"}),
        help_text="CSV or XLSX, one roast each, named by the batch: R-118.csv.",
    )
    replace = forms.BooleanField(
        required=False, label="Replace curves that are there", initial=False
    )


class ColumnsForm(ModelForm[FileColumns]):
    """Which column of a logger's files holds what."""

    time_column = forms.ChoiceField(label="Time from charge is in")
    bean_column = forms.ChoiceField(label="Bean temperature is in")

    class Meta:
        model = FileColumns
        fields = ["time_column", "time_unit", "bean_column", "fahrenheit"]
        labels = {"time_unit": "Time is written as"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offered = [("", "choose"), *((h, h) for h in self.instance.headings if h)]
        self.fields["time_column"].choices = offered  # type: ignore[attr-defined]
        self.fields["bean_column"].choices = offered  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        time, bean = self.cleaned_data.get("time_column"), self.cleaned_data.get("bean_column")
        if time and time == bean:
            self.add_error("bean_column", "One column cannot be both; choose another.")
        return cleaned


class ProbeForm(ModelForm[Probe]):
    """How curves of a machine are looked at, and the temperatures at which its phases end."""

    band_c = NumberField(
        label="Band around a single reference",
        unit="°C",
        low=0.1,
        high=30,
        places=1,
        help_text="On either side. The band of released roasts finds its own width.",
    )
    smoothing_s = forms.IntegerField(
        label="Smoothing over",
        min_value=3,
        max_value=300,
        widget=forms.NumberInput(attrs={"data-unit": "s"}),
    )
    skip_s = forms.IntegerField(
        label="Leave out after charge",
        min_value=0,
        max_value=600,
        widget=forms.NumberInput(attrs={"data-unit": "s"}),
        help_text="While the probe still falls, no comparison says much.",
    )

    class Meta:
        model = Probe
        fields = ["align", "band_c", "smoothing_s", "skip_s"]
        labels = {"align": "Lay curves over each other"}

    def __init__(self, *args: Any, marks: list[tuple[str, Decimal]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for i in range(MARKS):
            name, degrees = marks[i] if i < len(marks) else ("", None)
            self.fields[f"mark_{i}"] = forms.CharField(
                label=f"Phase {i + 1} ends at", max_length=30, required=False, initial=name
            )
            self.fields[f"degrees_{i}"] = NumberField(
                label="Temperature",
                unit="°C",
                low=50,
                high=300,
                places=1,
                required=False,
                initial=degrees,
            )

    @property
    def mark_rows(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        return [(self[f"mark_{i}"], self[f"degrees_{i}"]) for i in range(MARKS)]

    def marks(self) -> dict[str, Decimal]:
        """Return the phases that were filled in, by name."""
        pairs = (
            (self.cleaned_data.get(f"mark_{i}", ""), self.cleaned_data.get(f"degrees_{i}"))
            for i in range(MARKS)
        )
        return {name: degrees for name, degrees in pairs if name and degrees is not None}

    def clean(self) -> dict[str, Any] | None:
        cleaned = super().clean()
        seen: set[str] = set()
        for i in range(MARKS):
            name = self.cleaned_data.get(f"mark_{i}", "")
            degrees = self.cleaned_data.get(f"degrees_{i}")
            if name and degrees is None and f"degrees_{i}" not in self.errors:
                self.add_error(f"degrees_{i}", "Say at which temperature it ends.")
            if degrees is not None and not name:
                self.add_error(f"mark_{i}", "Give the phase's end a name, such as yellow.")
            if name and name in seen:
                self.add_error(f"mark_{i}", "This name stands twice.")
            seen.add(name)
        return cleaned


class ReasonForm(forms.Form):
    """Why a curve becomes the reference."""

    reason = forms.CharField(
        max_length=200,
        label="Why this curve",
        error_messages={"required": "Say why; whoever reads a comparison later wants to know."},
    )
