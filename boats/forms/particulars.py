"""A boat's particulars, the filter of the list, and the search for a spar."""

from __future__ import annotations

from typing import Any

from django import forms

from boats import particulars
from boats.forms import fields
from boats.matching import matches
from boats.models import Boat, Design
from boats.names import normalise_sail_number


class ParticularsForm(forms.Form):
    """What is known of a boat. `changing` is the boat that would change, None for a new one.

    A sail number that another boat bears is not refused, but must be meant: the form then asks for a tick.
    """

    name = forms.CharField(label="Name", max_length=80)
    sail_number = forms.CharField(
        label="Sail number",
        max_length=20,
        help_text="Three national letters and the number, as on the sail: QUA 117.",
    )
    also_meant = forms.BooleanField(
        label="The boat named here is another one: both bear this sail number", required=False
    )
    hin = forms.CharField(
        label="Hull identification number",
        max_length=40,
        required=False,
        help_text="From the transom: country, builder, serial, month and year, model year, as in QU-TRN00042D424.",
    )
    design = fields.KeyedChoice(Design.objects.all(), label="Design", required=False, empty_label="none, or not known")
    builder = forms.CharField(label="Builder", max_length=120, required=False)
    year = forms.IntegerField(
        label="Year of building", required=False, widget=forms.TextInput(attrs={"inputmode": "numeric"})
    )
    harbour = forms.CharField(label="Home harbour", max_length=80, required=False)

    def __init__(self, *args: Any, changing: Boat | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.changing = changing
        self.same_number: list[Boat] = []
        if self.is_bound:
            self.same_number = self._bearers(str(self.data.get("sail_number", "")))
        if not self.same_number:
            del self.fields["also_meant"]

    def _bearers(self, text: str) -> list[Boat]:
        number = normalise_sail_number(text)[0]
        others = [match.boat for match in matches(text) if match.boat.sail_number_normal == number]
        was = self.changing.sail_number_normal if self.changing else ""
        return [] if number == was else [boat for boat in others if boat != self.changing]

    def clean_name(self) -> str:
        return str(fields.checked(particulars.clean_name, self.cleaned_data["name"]))

    def clean_sail_number(self) -> str:
        return str(fields.checked(particulars.clean_sail_number, self.cleaned_data["sail_number"]))

    def clean_hin(self) -> str:
        return str(fields.checked(particulars.clean_hin, self.cleaned_data["hin"]))

    def clean_year(self) -> int | None:
        year: int | None = fields.checked(particulars.clean_year, self.cleaned_data["year"])
        return year

    def clean(self) -> None:
        super().clean()
        if self.same_number and not self.cleaned_data.get("also_meant"):
            named = " and ".join(str(boat) for boat in self.same_number)
            self.add_error("also_meant", f"{named} bears this sail number already: tick this if another boat is meant.")

    def particulars(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in particulars.FIELDS}


class ChangeForm(ParticularsForm):
    """The same for a registered boat, with the reason and the edition the person saw."""

    reason = fields.reason("Why she changes")
    edition = forms.IntegerField(widget=forms.HiddenInput)

    @staticmethod
    def initial_of(boat: Boat) -> dict[str, Any]:
        known = {name: getattr(boat, name) for name in particulars.FIELDS}
        return {**known, "design": boat.design.key if boat.design else None, "edition": boat.edition}


class FilterForm(forms.Form):
    """What the address of the list holds."""

    q = forms.CharField(label="Sail number, or words of the name", max_length=80, required=False)
    design = fields.KeyedChoice(Design.objects.all(), label="Design", required=False, empty_label="every design")


class SparForm(forms.Form):
    mark = forms.CharField(label="Identification of a mast, boom or pole", max_length=60)
