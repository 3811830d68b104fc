"""A photograph and its removal."""

from __future__ import annotations

from typing import Any

from django import forms

from surveys.logsheet.fields import LONGEST_REMARK
from surveys.models import Visit
from surveys.photographs import EXPECTED
from surveys.reading_rows import rows_of
from surveys.reading_words import place_words
from surveys.row_keys import place_of


class PhotoForm(forms.Form):
    photo = forms.FileField(
        label="Photograph",
        help_text=f"{EXPECTED[0].upper()}{EXPECTED[1:]}, at most 12 MiB. Place, time and camera are taken out of it.",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )
    row = forms.ChoiceField(label="Shows", required=False)
    remark = forms.CharField(label="Remark", required=False, max_length=LONGEST_REMARK)

    def __init__(self, *args: Any, visit: Visit, **more: Any) -> None:
        super().__init__(*args, **more)
        self.visit = visit
        rows = [one for one in rows_of(visit) if not one.open_position] if visit.rig else []
        choices = [(one.key, place_words(one.kind, one.mast, one.position)) for one in rows]
        self.fields["row"].choices = [("", "the visit as a whole"), *choices]  # type: ignore[attr-defined]

    def given(self, data: dict[str, Any]) -> dict[str, Any]:
        """What the action takes."""
        place = place_of(self.visit, data["row"]) if data["row"] else None
        return {"file": data["photo"], "size": data["photo"].size, "place": place, "remark": data["remark"]}


class RemovePhotoForm(forms.Form):
    reason = forms.CharField(label="Reason", max_length=300, widget=forms.Textarea(attrs={"rows": 3}))
