"""A rig's description: what the boat has, and one part of the form for each mast she may have."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator

from boats import rigs
from boats.forms import fields
from boats.models import Mast, Rig
from computations import inputs

QUESTIONS = {
    "inner_forestay": "Inner forestay",
    "spinnaker": "Spinnaker",
    "pole": "Spinnaker pole",
    "bowsprit": "Bowsprit",
    "headsail_foil": "Headsail foil",
}
NO_MAST = "no such mast"


def _words(keys: tuple[str, ...]) -> list[tuple[str, str]]:
    return [(key, key.replace("_", " ")) for key in keys]


def _pairs(label: str) -> forms.IntegerField:
    return forms.IntegerField(
        label=label,
        required=False,
        validators=[MinValueValidator(0), MaxValueValidator(rigs.MOST_PAIRS)],
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )


class RigForm(forms.Form):
    rig_type = forms.ChoiceField(
        label="Rig",
        choices=_words(inputs.RIG_TYPES),
        help_text="Ketch and yawl have a mizzen besides the main mast; a schooner a fore mast, and perhaps a mizzen.",
    )
    since = fields.day("The boat has had this rig since")
    outrigger = forms.BooleanField(label="Forestay on an outrigger ahead of the mast", required=False)
    inner_forestay = fields.yes_no(QUESTIONS["inner_forestay"])
    spinnaker = fields.yes_no(QUESTIONS["spinnaker"])
    pole = fields.yes_no(QUESTIONS["pole"])
    bowsprit = fields.yes_no(QUESTIONS["bowsprit"])
    headsail_foil = fields.yes_no(QUESTIONS["headsail_foil"])
    pole_identification = forms.CharField(label="Identification of the pole", max_length=60, required=False)
    number = forms.IntegerField(widget=forms.HiddenInput)
    reason = fields.reason("Why the rig is described anew")

    def __init__(self, *args: Any, first: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if first:
            self.fields["reason"].required = False
            self.fields["reason"].label = "Remark"
            self.fields["reason"].help_text = ""

    @staticmethod
    def initial_of(rig: Rig | None) -> dict[str, Any]:
        if rig is None:
            return {"number": 0}
        said = {name: fields.as_yes_no(getattr(rig, name)) for name in QUESTIONS}
        plain = {name: getattr(rig, name) for name in ("rig_type", "outrigger", "pole_identification", "number")}
        return {**said, **plain}

    def description(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in (*rigs.RIG_FIELDS, "since", "reason", "number")}


class MastForm(forms.Form):
    """One mast. `material` left at “no such mast” means the boat has none of this name."""

    material = forms.ChoiceField(label="Material", required=False)
    mast_identification = forms.CharField(
        label="Identification of the mast",
        max_length=60,
        required=False,
        help_text="The maker's number or the office's own mark.",
    )
    boom_identification = forms.CharField(label="Identification of the boom", max_length=60, required=False)
    spreader_pairs = _pairs("Pairs of spreaders")
    runner_pairs = _pairs("Pairs of runners")
    jumper_pairs = _pairs("Pairs of jumpers")
    checkstays = fields.yes_no("Checkstays")
    rigging_material = forms.ChoiceField(
        label="Standing rigging", required=False, choices=[("", "not said"), *_words(inputs.RIGGING_MATERIALS)]
    )
    upper_band = forms.BooleanField(label="Has an upper band", required=False, initial=True)

    def __init__(self, data: Any = None, *, mast: str, initial: dict[str, Any]) -> None:
        super().__init__(data, prefix=mast, initial=initial)
        self.mast = mast
        empty = [] if mast == "main" else [("", NO_MAST)]
        material = self.fields["material"]
        material.choices = [*empty, *_words(inputs.MAST_MATERIALS)]  # type: ignore[attr-defined]
        material.required = mast == "main"

    @property
    def title(self) -> str:
        return f"{self.mast.capitalize()} mast"

    @staticmethod
    def initial_of(mast: Mast | None) -> dict[str, Any]:
        if mast is None:
            return {}
        known = {name: getattr(mast, name) for name in rigs.MAST_FIELDS}
        return {**known, "checkstays": fields.as_yes_no(mast.checkstays)}

    def description(self) -> dict[str, Any] | None:
        """None where the boat has no such mast."""
        if not self.cleaned_data["material"]:
            return None
        return {**self.cleaned_data, "name": self.mast}


class RigForms:
    """The form of a rig with its masts' parts, handled as one."""

    def __init__(self, current: Rig | None, data: Any = None) -> None:
        known = {mast.name: mast for mast in current.masts.all()} if current else {}
        self.rig = RigForm(data, first=current is None, initial=RigForm.initial_of(current))
        self.masts = [
            MastForm(data, mast=name, initial=MastForm.initial_of(known.get(name))) for name in inputs.MAST_NAMES
        ]

    def is_valid(self) -> bool:
        """Every part is checked before the masts are held against the type of rig: errors never stop at the first."""
        valid = [form.is_valid() for form in (self.rig, *self.masts)]
        if not all(valid):
            return False
        try:
            rigs.cleaned_masts(self.rig.cleaned_data["rig_type"], self.described_masts())
        except ValueError as error:
            self.rig.add_error("rig_type", str(error))
        return self.rig.is_valid()

    def described_masts(self) -> list[dict[str, Any]]:
        return [mast for form in self.masts if (mast := form.description())]

    def rejected(self) -> bool:
        return any(form.errors for form in (self.rig, *self.masts))
