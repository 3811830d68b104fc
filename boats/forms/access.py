"""Forms by which an owner lets others in."""

from __future__ import annotations

from django import forms

from boats.models import BoatPart


class LetInForm(forms.Form):
    part = forms.ChoiceField(
        label="As",
        choices=[(BoatPart.CO_OWNER, "Co-owner: sees and declares"), (BoatPart.SKIPPER, "Skipper: sees only")],
    )
    name = forms.CharField(label="Name", max_length=120)
    email = forms.EmailField(label="E-mail address", max_length=200)
