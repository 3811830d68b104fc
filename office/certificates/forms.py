"""Forms of the certificates' pages: the list's filter, the day to begin, the confirmation, the withdrawal."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.http import HttpRequest
from django.utils import timezone

from boats.forms.fields import FigureField, day
from boats.models import DeclarationKind
from office.certificates.standing import WORDS

LONGEST_REASON = 1000


def reason_field(help_text: str, *, required: bool = True) -> forms.CharField:
    return forms.CharField(
        label="Reason",
        help_text=help_text,
        required=required,
        max_length=LONGEST_REASON,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "A reason is needed: it is kept with the certificate and read years later."},
    )


def ticked_numbers(request: HttpRequest) -> list[str]:
    """The certificates ticked in a list; what has not the form of a number is none."""
    return [one for one in request.POST.getlist("number") if re.fullmatch(r"[A-Za-z0-9-]{1,20}", one)]


class FilterForm(forms.Form):
    q = forms.CharField(label="Number, boat or sail number", required=False, max_length=80)
    standing = forms.ChoiceField(
        label="Standing", required=False, choices=[("", "any"), *((str(key), word) for key, word in WORDS.items())]
    )
    ends = forms.IntegerField(label="Ends within … days", required=False, min_value=0, max_value=3660)
    on = day("On the day", required=False)


class BeginForm(forms.Form):
    """From which day: asked first, because it decides the last day and what is replaced."""

    valid_from = day("In force from", "Today or later, within a year.")


def confirm_field(label: str, missing: str) -> forms.BooleanField:
    """A tick that is asked for anew each time the page is shown: what it confirms may have changed."""
    widget = forms.CheckboxInput(check_test=lambda value: False)
    return forms.BooleanField(label=label, widget=widget, error_messages={"required": missing})


class ConfirmForm(forms.Form):
    """The issue itself: what was shown is confirmed, or corrected before."""

    valid_from = forms.DateField(widget=forms.HiddenInput())
    replacing = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput())
    reason = reason_field("Printed on the certificate.", required=False)
    confirmed = confirm_field(
        "I have read what the certificate will state, and the office answers for it",
        "Confirm that you have read what it will state; it can never be edited.",
    )

    def __init__(self, *args: Any, correction: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        reason = self.fields["reason"]
        reason.required = correction
        if not correction:
            reason.help_text = "May stay empty. Printed on the certificate where it is given."


class WithdrawForm(forms.Form):
    on = day("No longer in force from", "Today or later: what the office answered before stands.")
    reason = reason_field("Owners and race committees will ask; the reason is kept and shown with the certificate.")
    confirmed = confirm_field(
        "Withdraw this certificate for good", "Confirm that it is to be withdrawn; only a new certificate can follow."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"on": timezone.localdate()})
        super().__init__(*args, **kwargs)


class SuspendForm(forms.Form):
    since = day("Not in force from", "Today or later; it counts again once it is reinstated.")
    reason = reason_field("Owners and race committees will ask; the reason is kept and shown with the certificate.")


class ReinstateForm(forms.Form):
    on = day("In force again from", "Today or later.")
    reason = reason_field("What was found, and by whom; kept with the certificate.")


class EndingForm(forms.Form):
    until = day("Ending on this day at the latest")


class RenewalsForm(EndingForm):
    since = day("Or ended since", "Those that no other followed.", required=False)


class RecallForm(forms.Form):
    """The days on which the instrument was wrong, and by how much where that is known."""

    first = day("Wrong from", "Empty: from the beginning.", required=False, initial=None)
    last = day("to", "The last day; empty: today.", required=False)
    error = FigureField(
        label="Its error then, where known",
        required=False,
        min_value=-1000,
        max_value=1000,
        help_text="True minus indicated at its nominal length, in mm (kg for a scale), in place of the one applied.",
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("first") and data.get("last") and data["last"] < data["first"]:
            self.add_error("last", "The last day lies before the first.")
        return data


class RecallActForm(forms.Form):
    verb = forms.ChoiceField(
        label="The ticked certificates are",
        choices=[("suspend", "suspended from today, until reinstated"), ("withdraw", "withdrawn from today, for good")],
    )
    reason = reason_field("One reason for all; kept and shown with each certificate.")


class DeclareForm(forms.Form):
    kind = forms.ChoiceField(label="What has happened", choices=DeclarationKind.choices, widget=forms.RadioSelect)
    happened_on = day("On the day")
    text = forms.CharField(
        label="In your words", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 4})
    )


class SettleForm(forms.Form):
    decision = forms.ChoiceField(label="What becomes of the certificate", choices=[], widget=forms.RadioSelect)
    reason = reason_field("The owner reads it.")

    def __init__(self, *args: Any, decisions: dict[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["decision"].choices = list(decisions.items())  # type: ignore[attr-defined]


class HandOverForm(forms.Form):
    sold_on = day("Sold on", "The last day of your ownership.")
    name = forms.CharField(label="The new owner's name", max_length=120)
    email = forms.EmailField(label="The new owner's e-mail address", max_length=200)
    text = forms.CharField(
        label="Remark for the office", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3})
    )
    confirmed = confirm_field(
        "I hand her over: from the day after, her pages are closed to me", "Confirm that you hand her over."
    )


class AmendForm(forms.Form):
    text = forms.CharField(
        label="What is to be read instead",
        help_text="As in: for “Petra Skaw” read “Petra Skau”.",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    reason = reason_field("Printed on the amendment.")
    confirmed = confirm_field(
        "It touches no figure of the certificate",
        "Confirm that no figure is touched; a figure needs a new certificate.",
    )
