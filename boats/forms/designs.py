"""Designs and the limits entered for them."""

from __future__ import annotations

from typing import Any

from django import forms

from boats.forms import fields
from computations.catalogue import DIMENSIONS
from computations.inputs import MAST_NAMES


class DesignFilter(forms.Form):
    q = forms.CharField(label="Design or designer", max_length=80, required=False)


class DesignForm(forms.Form):
    name = forms.CharField(label="Name", max_length=80)
    designer = forms.CharField(label="Designer", max_length=120, required=False)
    remark = forms.CharField(label="Remark", widget=forms.Textarea(attrs={"rows": 3}), max_length=2000, required=False)


def _dimensions() -> list[tuple[str, str]]:
    return [
        (kind.slug, f"{kind.name}{f' {kind.symbol}' if kind.symbol else ''} ({kind.unit})")
        for kind in DIMENSIONS.values()
    ]


class LimitForm(forms.Form):
    dimension = forms.ChoiceField(label="Dimension", choices=_dimensions)
    mast = forms.ChoiceField(label="Mast", choices=[(name, name) for name in MAST_NAMES])
    least = fields.FigureField(label="Least", required=False, help_text="Or empty.")
    greatest = fields.FigureField(label="Greatest", required=False, help_text="Or empty.")
    source = forms.CharField(
        label="Source", max_length=200, help_text="Which document, edition and clause the limit stands in."
    )

    def clean(self) -> None:
        super().clean()
        data: dict[str, Any] = self.cleaned_data
        least, greatest = data.get("least"), data.get("greatest")
        if not self.errors and least is None and greatest is None:
            raise forms.ValidationError("Give the least figure, the greatest, or both.")


class EndLimitForm(forms.Form):
    reason = fields.reason()
