"""Forms of the spot checks' pages."""

from __future__ import annotations

from typing import Any

from django import forms

from boats.forms.fields import FigureField, day
from computations.inputs import INSTRUMENT_KINDS
from office.racing.spot_figures import Item
from surveys.logsheet.fields import ACCURACY_CLASSES


class BeginForm(forms.Form):
    """`rows`: what the certificate states, by (dimension, mast)."""

    items = forms.MultipleChoiceField(
        label="What to check",
        widget=forms.CheckboxSelectMultiple(),
        error_messages={"required": "Choose at least one dimension."},
    )
    day = day("Day")
    place = forms.CharField(label="Place", required=False, max_length=120)
    air_temperature_c = FigureField(
        label="Air temperature, °C", required=False, help_text="Tapes and spars follow it; it belongs to every length."
    )

    def __init__(self, *args: Any, rows: dict[Item, dict[str, Any]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        several = len({mast for _, mast in rows}) > 1
        self.fields["items"].choices = [  # type: ignore[attr-defined]
            (f"{slug} {mast}", _label(row, mast if several else "")) for (slug, mast), row in rows.items()
        ]

    def clean_items(self) -> list[Item]:
        return [(slug, mast) for slug, _, mast in (text.partition(" ") for text in self.cleaned_data["items"])]


def _label(row: dict[str, Any], mast: str) -> str:
    name = f"{row['name']} {row['symbol']}".strip()
    where = f", {mast} mast" if mast else ""
    return f"{name}{where}: {row['value']} ± {row['expanded_uncertainty']} {row['unit']}"


class InstrumentForm(forms.Form):
    """An inspector's own piece. Class and limits are what its marks or papers say."""

    identifier = forms.CharField(label="Mark", max_length=20, help_text="As on the piece, or one of your own.")
    kind = forms.ChoiceField(label="Kind", choices=[(kind, kind.replace("_", " ")) for kind in INSTRUMENT_KINDS])
    accuracy_class = forms.ChoiceField(
        label="Accuracy class", required=False, choices=[("", "not marked"), *((one, one) for one in ACCURACY_CLASSES)],
        help_text="Printed on tapes and rules.",
    )  # fmt: skip
    limit_of_error = FigureField(label="Limit of error, mm or kg", required=False, min_value=0.0)
    nominal_length_mm = FigureField(label="Nominal length, mm", required=False, min_value=1.0)


class FinishForm(forms.Form):
    remark = forms.CharField(
        label="Remark", required=False, max_length=1000, widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Printed on the report.",
    )  # fmt: skip
