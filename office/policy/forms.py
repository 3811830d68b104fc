"""The form of an edition of the policy: one field for every assumption and every dimension's limit."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from django import forms

from computations.catalogue import DIMENSIONS
from computations.inputs import Assumptions
from computations.typesetting import unit_word
from office.policy.models import Consequence, PolicyEdition, Unauthorised, ValidityRule
from office.policy.queries import DEFAULT_LIMIT
from office.policy.validation import TAPE_CLASSES

# Plain names of the fields of computations.inputs.Assumptions; a test asks for all of them.
ASSUMPTION_NAMES = {
    "reading_end_mm": "Reading one end of a tape, mm",
    "tape_temperature_k": "Tape's temperature, K",
    "band_edge_mm": "Edge of a band, mm",
    "sheer_point_mm": "Point of the sheer, mm",
    "tape_at_sheer_mm": "Tape at the sheer, mm",
    "string_straightness_mm": "Straightness of the string, mm",
    "sheave_edge_mm": "Edge of a sheave, mm",
    "deck_intersection_mm": "Where the mast meets the deck, mm",
    "balance_point_mm": "Balance point, mm",
    "calliper_mm": "Calliper without a limit of error of its own, mm",
    "scale_kg": "Scale without a limit of error of its own, kg",
    "default_tape_class": "Class of a tape whose record names none",
    "coverage_factor": "Coverage factor k",
    "spar_to_20_c": "Bring the spar to 20 °C as well",
}
PLAIN = (
    "office_name", "office_place", "accreditation", "number_prefix", "rules_text", "validity_rule", "validity_months",
    "show_previous_to_measurer", "renewal_months", "reminder_days", "on_sold", "on_rig_changed", "on_mast_damaged",
    "on_unauthorised",
)  # fmt: skip


def limit_name(slug: str) -> str:
    """What people call the limit of this dimension, with its unit."""
    if slug == DEFAULT_LIMIT:
        return "Every other dimension, in its own unit"
    kind = DIMENSIONS[slug]
    unit = unit_word(kind.unit)
    return f"{kind.name}{f', {unit}' if unit else ''}"


class PolicyForm(forms.Form):
    edition = forms.IntegerField(widget=forms.HiddenInput)
    office_name = forms.CharField(label="Name of the office", max_length=120)
    office_place = forms.CharField(label="Place", max_length=120, required=False)
    accreditation = forms.CharField(
        label="The office's accreditation number", max_length=60, required=False,
        help_text="Printed on certificates. Empty: nothing is printed.",
    )  # fmt: skip
    number_prefix = forms.RegexField(
        r"^[A-Za-z0-9]{1,8}$", label="Certificate numbers begin with", help_text="1 to 8 letters or digits."
    )
    validity_rule = forms.ChoiceField(label="A certificate runs", choices=ValidityRule.choices)
    validity_months = forms.IntegerField(
        label="Number of months", min_value=1, max_value=120, help_text="Counts when the rule is a number of months."
    )
    rules_text = forms.CharField(
        label="The rules that call for the measurement",
        required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3}), help_text="Printed on certificates.",
    )  # fmt: skip
    show_previous_to_measurer = forms.BooleanField(
        label="Measurers see the previous figures before they sign", required=False
    )
    renewal_months = forms.IntegerField(
        label="Renewed without a new visit until so many months after measuring", min_value=0, max_value=120,
        help_text="0: never.",
    )  # fmt: skip
    reminder_days = forms.CharField(
        label="Owners are reminded so many days before the end", required=False, max_length=40,
        help_text="Numbers with commas between, as in 60, 14. Empty: never.",
    )  # fmt: skip
    on_sold = forms.ChoiceField(label="When an owner declares her sold", choices=Consequence.choices)
    on_rig_changed = forms.ChoiceField(label="When an owner declares the rig changed", choices=Consequence.choices)
    on_mast_damaged = forms.ChoiceField(label="When an owner declares the mast damaged", choices=Consequence.choices)
    on_unauthorised = forms.ChoiceField(
        label="When somebody was not authorised for a method used", choices=Unauthorised.choices,
        help_text="Authorisations stand on the page of each person.",
    )  # fmt: skip
    reason = forms.CharField(
        label="Reason for the change",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say why; one sentence is enough."},
    )

    def __init__(self, *args: Any, edition: PolicyEdition, **kwargs: Any) -> None:
        initial = {name: getattr(edition, name) for name in PLAIN} | {"edition": edition.pk}
        initial |= {f"assumption_{name}": value for name, value in edition.assumptions.items()}
        initial |= {f"limit_{slug}": value for slug, value in edition.change_limits.items()}
        kwargs["initial"] = initial
        super().__init__(*args, **kwargs)
        for field in fields(Assumptions):
            self.fields[f"assumption_{field.name}"] = _assumption_field(field.name, field.default)
        for slug in (DEFAULT_LIMIT, *DIMENSIONS):
            self.fields[f"limit_{slug}"] = _number(limit_name(slug))

    def plain(self) -> list[forms.BoundField]:
        return [self[name] for name in PLAIN]

    def assumptions(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name.startswith("assumption_")]

    def limits(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name.startswith("limit_")]

    def stated(self) -> dict[str, Any]:
        """What the edition is to state; assumptions and limits left empty are not stated at all."""
        return {name: self.cleaned_data[name] for name in PLAIN} | {
            "assumptions": self._filled("assumption_"),
            "change_limits": self._filled("limit_"),
        }

    def _filled(self, prefix: str) -> dict[str, Any]:
        return {
            name.removeprefix(prefix): value
            for name, value in self.cleaned_data.items()
            if name.startswith(prefix) and value not in {None, ""}
        }


def _assumption_field(name: str, default: object) -> forms.Field:
    label = ASSUMPTION_NAMES[name]
    if isinstance(default, bool):
        usual = "yes" if default else "no"
        return forms.TypedChoiceField(
            label=label,
            required=False,
            choices=[("", f"as usual ({usual})"), ("True", "yes"), ("False", "no")],
            coerce=lambda text: text == "True",
            empty_value=None,
        )
    if isinstance(default, str):
        choices = [("", f"as usual ({default})"), *((name, name) for name in TAPE_CLASSES)]
        return forms.ChoiceField(label=label, required=False, choices=choices)
    return _number(label, f"Empty: {default:g}, as usual.")


def _number(label: str, help_text: str = "") -> forms.FloatField:
    field = forms.FloatField(label=label, required=False, help_text=help_text, localize=False)
    field.widget.attrs.update({"inputmode": "decimal", "step": "any"})
    field.validators.append(_greater_than_zero)
    return field


def _greater_than_zero(value: float) -> None:
    if value <= 0:
        raise forms.ValidationError(f"This must be greater than 0; found {value:g}.")
