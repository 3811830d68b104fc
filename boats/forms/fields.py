"""Fields that several forms of the register share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.utils import timezone

from office.people.models import Person


def day(label: str, help_text: str = "", **options: Any) -> forms.DateField:
    return forms.DateField(
        label=label,
        help_text=help_text,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        error_messages={"invalid": "Expected a date as in 2026-05-04."},
        **{"initial": timezone.localdate, **options},
    )


def reason(label: str = "Reason", help_text: str = "Kept with the change and read years later.") -> forms.CharField:
    return forms.CharField(label=label, help_text=help_text, widget=forms.Textarea(attrs={"rows": 3}), max_length=1000)


def yes_no(label: str) -> forms.TypedChoiceField:
    """True, False, or None where nothing is said."""
    return forms.TypedChoiceField(
        label=label,
        required=False,
        choices=[("", "not said"), ("yes", "yes"), ("no", "no")],
        coerce=lambda text: text == "yes",
        empty_value=None,
    )


def as_yes_no(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


class KeyedChoice(forms.ModelChoiceField):  # type: ignore[type-arg]  # not subscriptable when run
    """A choice by the public key; whatever cannot be a key is refused before a database is asked."""

    def __init__(self, queryset: Any, *, to_field_name: str = "key", **options: Any) -> None:
        super().__init__(queryset, to_field_name=to_field_name, **options)

    def to_python(self, value: Any) -> Any:
        if isinstance(value, str) and "\0" in value:
            raise forms.ValidationError(self.error_messages["invalid_choice"], code="invalid_choice")
        return super().to_python(value)


def person(label: str) -> KeyedChoice:
    return KeyedChoice(
        Person.objects.filter(is_active=True).order_by("name", "pk"),
        label=label,
        empty_label="choose a person",
        help_text="Someone missing is first invited, on the page of people.",
    )


def checked(clean: Callable[[Any], Any], value: Any) -> Any:
    """The tidy value, or the sentence of the ValueError as the field's error."""
    try:
        return clean(value)
    except ValueError as error:
        raise forms.ValidationError(str(error)) from error


class FigureField(forms.FloatField):
    """A finite number, with a decimal point or a decimal comma."""

    widget = forms.TextInput(attrs={"inputmode": "decimal"})

    def to_python(self, value: Any) -> Any:
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)
