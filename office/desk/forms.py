"""Forms of the reviewer's pages."""

from __future__ import annotations

from typing import Any

from django import forms

from computations.catalogue import READINGS
from surveys.models import Visit

WHOLE_VISIT = ""


class QueryForm(forms.Form):
    """A question on one reading, or on the visit as a whole."""

    about = forms.ChoiceField(label="About", required=False)
    question = forms.CharField(label="Question", widget=forms.Textarea(attrs={"rows": 3}), max_length=2000)

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        places = sorted(
            {(reading.slug, reading.mast, reading.position) for reading in visit.readings.all()},
            key=lambda place: (READINGS[place[0]].order, place[1:]),
        )
        several = len({mast for _, mast, _ in places}) > 1
        choices = [(WHOLE_VISIT, "the visit as a whole")]
        for slug, mast, position in places:
            words = [READINGS[slug].name, position, mast if several else ""]
            choices.append((f"{slug}|{mast}|{position}", ", ".join(word for word in words if word)))
        self.fields["about"].choices = choices  # type: ignore[attr-defined]

    def place(self) -> dict[str, str]:
        """slug, mast and position the question is about; all empty for the whole visit."""
        slug, _, rest = self.cleaned_data["about"].partition("|")
        mast, _, position = rest.partition("|")
        return {"slug": slug, "mast": mast, "position": position}


class ReturnForm(forms.Form):
    reason = forms.CharField(
        label="Why it goes back",
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        help_text="The measurer reads this first. Questions on single readings go with it.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        # It stands on the same page as the other decision, whose field has the same name.
        super().__init__(*args, **{"auto_id": "id_return_%s", **kwargs})


class DecisionForm(forms.Form):
    edition = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(
        label="Why it is accepted",
        widget=forms.Textarea(attrs={"rows": 3}),
        max_length=2000,
        help_text="What changed and why that is right; it stays in the trail for good.",
    )
