"""What anybody may ask."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone


def _day() -> forms.DateField:
    return forms.DateField(
        label="On",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        error_messages={"invalid": "Expected a date as in 2026-05-04."},
    )


class DayForm(forms.Form):
    """The day an answer is for; today unless another is given."""

    on = _day()

    def __init__(self, data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.fields["on"].initial = timezone.localdate

    def clean_on(self) -> Any:
        return self.cleaned_data["on"] or timezone.localdate()


class CheckForm(DayForm):
    q = forms.CharField(
        label="Sail number, boat's name or certificate number",
        max_length=80,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
        error_messages={"required": "Expected a sail number, a boat's name or a certificate number."},
    )
    field_order = ("q", "on")
