"""Which recipes to hold against each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from coupage.errors import InputError
from coupage.web.blends import queries
from coupage.web.blends.models import Brief, Recipe
from coupage.web.blends.sides import Side, parts_of
from coupage.web.blends.written import read_typed
from coupage.web.coffees.queries import approaches
from coupage.web.common.feedback import sentence
from coupage.web.common.modelforms import ModelChoiceField

__all__ = ["MOST", "CompareForm"]

MOST = 4


class _RecipeChoice(ModelChoiceField[Recipe]):
    def label_from_instance(self, obj: Recipe) -> str:
        return f"{obj.blend.name}, version {obj.version}, {obj.state}"


class CompareForm(forms.Form):
    """Two to four recipes, each chosen from a list or typed; what is typed counts."""

    brief = ModelChoiceField[Brief](
        queryset=Brief.objects.all(),
        required=False,
        empty_label="the brief of the first",
        label="Held to the brief",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        recipes = queries.recipes().filter(sealed=True).order_by("blend__name", "-version")
        for n in range(1, MOST + 1):
            self.fields[f"recipe_{n}"] = _RecipeChoice(
                queryset=recipes, required=False, label=f"Recipe {n}", empty_label="none"
            )
            self.fields[f"typed_{n}"] = forms.CharField(
                required=False,
                max_length=600,
                label=f"or typed {n}",
                widget=forms.TextInput(
                    attrs={"placeholder": "45 % first coffee, 55 % second", "autocomplete": "off"}
                ),
            )

    @staticmethod
    def asked(query: Mapping[str, Any]) -> bool:
        """Say whether anything was chosen or typed."""
        return any(key.startswith(("recipe_", "typed_")) for key in query)

    @property
    def rows(self) -> Iterator[tuple[Any, Any]]:
        """Pairs of fields, as the page shows them."""
        return ((self[f"recipe_{n}"], self[f"typed_{n}"]) for n in range(1, MOST + 1))

    def clean(self) -> None:
        super().clean()
        offered = list(approaches())
        for n in range(1, MOST + 1):
            text = self.cleaned_data.get(f"typed_{n}", "")
            if not text:
                continue
            try:
                self.cleaned_data[f"typed_{n}"] = read_typed(text, offered)
            except InputError as problem:
                self.add_error(f"typed_{n}", sentence(problem))
        if not self.errors and not self.sides():
            raise ValidationError("Choose a recipe, or type one.")

    def sides(self) -> list[Side]:
        """Return what was chosen, in its order."""
        found = []
        for n in range(1, MOST + 1):
            typed = self.cleaned_data.get(f"typed_{n}")
            recipe = self.cleaned_data.get(f"recipe_{n}")
            if typed:
                found.append(Side(f"typed {n}", typed, self._weekly()))
            elif recipe is not None:
                weekly = recipe.blend.weekly_g
                found.append(
                    Side(
                        f"{recipe.blend.name} {recipe.version}",
                        dict(parts_of(recipe)),
                        weekly / 1000 if weekly else None,
                    )
                )
        return found

    def _recipes(self) -> list[Recipe]:
        chosen = (self.cleaned_data.get(f"recipe_{n}") for n in range(1, MOST + 1))
        return [recipe for recipe in chosen if recipe is not None]

    def _weekly(self) -> float | None:
        """A typed recipe would be made as much of as the first blend that is compared with it."""
        weekly = next((r.blend.weekly_g for r in self._recipes() if r.blend.weekly_g), None)
        return weekly / 1000 if weekly else None

    def first_brief(self) -> Brief | None:
        """Return the brief of the first recipe that has one."""
        return next((r.blend.brief for r in self._recipes() if r.blend.brief), None)
