"""Form fields that take figures as people type them and give them back in whole, exact units.

A field's ``unit`` stands behind the box as text, so nobody has to guess; :class:`MassField` and
:class:`PercentField` convert at this edge and nowhere further in.
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from coupage.errors import InputError
from coupage.units import GRAMS_PER_KG, GRAMS_PER_LB, GRAMS_PER_OZ, MassUnit, parse_number

__all__ = ["ClockField", "MassField", "NumberField", "PercentField"]

_GRAMS: dict[MassUnit, Decimal] = {
    "kg": GRAMS_PER_KG,
    "g": Decimal(1),
    "lb": GRAMS_PER_LB,
    "oz": GRAMS_PER_OZ,
}


_MOST_DIGITS = 15


class NumberField(forms.Field):
    """A decimal number with a unit: ``14.2``, ``14,2`` and ``1 250`` are all understood.

    A ``type=number`` box would refuse a decimal comma or drop it in silence, so this is a text
    box that asks phones for their number keys.
    """

    def __init__(
        self,
        *,
        unit: str = "",
        low: Decimal | float | None = None,
        high: Decimal | float | None = None,
        places: int | None = None,
        above: Decimal | float | None = None,
        **kwargs: Any,
    ) -> None:
        self.unit = unit
        self.low = None if low is None else Decimal(str(low))
        self.high = None if high is None else Decimal(str(high))
        self.above = None if above is None else Decimal(str(above))
        self.places = places
        kwargs.setdefault(
            "widget",
            forms.TextInput(
                attrs={"inputmode": "decimal", "autocomplete": "off", "class": "number"}
            ),
        )
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> Decimal | None:
        if value in self.empty_values:
            return None
        if isinstance(value, Decimal | int):
            return Decimal(value)
        try:
            number = parse_number(str(value), "number")
        except InputError as error:
            raise ValidationError(str(error).removeprefix("number: "), code="invalid") from error
        if number.adjusted() > _MOST_DIGITS:
            raise ValidationError("is too large; check the unit", code="too_high")
        if number and number.adjusted() < -_MOST_DIGITS:
            raise ValidationError("has more digits than can be kept", code="too_fine")
        return number

    def validate(self, value: Any) -> None:
        super().validate(value)
        if value is None:
            return
        unit = f" {self.unit}" if self.unit else ""
        if self.above is not None and value <= self.above:
            raise ValidationError(f"must be more than {self.above}{unit}", code="too_low")
        if self.low is not None and value < self.low:
            raise ValidationError(f"must be at least {self.low}{unit}", code="too_low")
        if self.high is not None and value > self.high:
            raise ValidationError(f"must be at most {self.high}{unit}", code="too_high")
        if self.places is not None and -_exponent(value) > self.places:
            raise ValidationError(
                f"has more than {self.places} digits behind the point", code="too_fine"
            )

    def prepare_value(self, value: Any) -> Any:
        """Write a stored number without the zeros of its column; typed text stays as it is."""
        if isinstance(value, Decimal):
            return f"{value.normalize():f}"
        return value

    def has_changed(self, initial: Any, data: Any) -> bool:
        if self.disabled:
            return False
        try:
            return bool(self.clean_or_none(data) != initial)
        except ValidationError:
            return True

    def clean_or_none(self, data: Any) -> Any:
        """Return what ``data`` stands for, without the checks of range."""
        return self.to_python(data)


class MassField(NumberField):
    """A mass typed in a unit, given back as whole grams.

    Set ``form.fields["green"].unit`` to the person's unit before the form is shown or checked.
    """

    def __init__(self, *, unit: MassUnit = "kg", **kwargs: Any) -> None:
        super().__init__(unit=unit, **kwargs)

    def _factor(self) -> Decimal:
        return _GRAMS[self.unit]  # type: ignore[index]

    def clean(self, value: Any) -> int | None:
        number = super().clean(value)
        return None if number is None else self._whole(number)

    def _whole(self, number: Decimal) -> int:
        return int((number * self._factor()).to_integral_value(ROUND_HALF_EVEN))

    def clean_or_none(self, data: Any) -> Any:
        number = self.to_python(data)
        return None if number is None else self._whole(number)

    def prepare_value(self, value: Any) -> Any:
        """Turn whole grams into the unit; text that was typed stays as it was typed.

        Written with the fewest digits that give the same grams again: 453592 g were 1000 lb.
        """
        if not isinstance(value, int):
            return value
        exact = Decimal(value) / self._factor()
        for places in range(5):
            text = f"{exact:.{places}f}"
            if self._whole(Decimal(text)) == value:
                break
        return text


class PercentField(NumberField):
    """A share typed in per cent, given back as whole parts per million."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("low", 0)
        kwargs.setdefault("high", 100)
        super().__init__(unit="%", places=kwargs.pop("places", 4), **kwargs)

    def clean(self, value: Any) -> int | None:
        number = super().clean(value)
        return None if number is None else int(number * 10_000)

    def clean_or_none(self, data: Any) -> Any:
        number = self.to_python(data)
        return None if number is None else int(number * 10_000)

    def prepare_value(self, value: Any) -> Any:
        """Turn parts per million into per cent; text that was typed stays as it was typed."""
        if isinstance(value, int):
            return _plain(Decimal(value) / 10_000, 4)
        return value


class ClockField(forms.Field):
    """A stretch of time typed as ``10:40`` or in seconds, given back as whole seconds."""

    def __init__(self, **kwargs: Any) -> None:
        self.unit = "min:s"
        kwargs.setdefault(
            "widget",
            forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off", "class": "number"}),
        )
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> int | None:
        if value in self.empty_values:
            return None
        if isinstance(value, int):
            return value
        text = str(value).strip()
        clock = re.fullmatch(r"(\d{1,3}):([0-5]\d)", text)
        if clock:
            return int(clock[1]) * 60 + int(clock[2])
        if re.fullmatch(r"\d{1,4}", text):
            return int(text)
        raise ValidationError(f"{text!r} is no time; write it like 10:40, or in seconds like 640")

    def validate(self, value: Any) -> None:
        super().validate(value)
        if value is not None and not 1 <= value <= 7200:
            raise ValidationError("must be between 1 second and 120 minutes")

    def prepare_value(self, value: Any) -> Any:
        return f"{value // 60}:{value % 60:02d}" if isinstance(value, int) else value

    def has_changed(self, initial: Any, data: Any) -> bool:
        try:
            return bool(self.to_python(data) != initial)
        except ValidationError:
            return True


def _exponent(value: Decimal) -> int:
    exponent = value.normalize().as_tuple().exponent
    return exponent if isinstance(exponent, int) else 0


def _plain(value: Decimal, places: int) -> str:
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
