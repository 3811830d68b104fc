"""Owners and other interested people."""

from __future__ import annotations

from typing import Any

from django import forms

from boats.forms import fields
from boats.models import InterestKind


class OwnerForm(forms.Form):
    person = fields.person("New owner")
    since = fields.day("Owner since")


class EndForm(forms.Form):
    until = fields.day("Last day")
    reason = fields.reason()


class OwnInterestForm(forms.Form):
    """What a person declares of themself."""

    kind = forms.ChoiceField(label="Interest", choices=InterestKind)
    since = fields.day("Since")
    remark = forms.CharField(label="Remark", max_length=200, required=False)


class InterestForm(OwnInterestForm):
    """What the office records of anyone."""

    person = fields.person("Person")
    field_order = ("person", "kind", "since", "remark")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["person"].help_text = ""


class EndReasonForm(forms.Form):
    reason = fields.reason()
