"""Forms of the events' pages."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from boats.forms.fields import day, reason
from office.racing.deadlines import Edition, usual_edition
from office.racing.entry_file import LARGEST_FILE, MOST_ENTRIES
from office.racing.models import Event


def _line(label: str, longest: int, help_text: str = "", *, required: bool = True, **attrs: str) -> forms.CharField:
    return forms.CharField(
        label=label, help_text=help_text, max_length=longest, required=required, widget=forms.TextInput(attrs=attrs)
    )


class EventForm(forms.Form):
    name = _line("Name of the event", 120)
    place = _line("Place", 120, required=False)
    first_day = day("First day")
    last_day = day("Last day", "The same day for an event of one day.")
    first_series_last_day = day(
        "Last day of the first series", "Only where the first series ends before the event does.", required=False,
        initial=None,
    )  # fmt: skip
    rules_edition = forms.ChoiceField(
        label="Racing rules, edition",
        help_text="It decides until when a boat on a signed statement must show her certificate.",
        choices=Edition.choices,
    )
    equipment_rules_by = _line(
        "Document that invokes the equipment rules", 200,
        "Equipment rules bind only where class rules or a document of the event invoke them.", required=False,
    )  # fmt: skip
    edition = forms.IntegerField(required=False, widget=forms.HiddenInput())

    def __init__(self, data: Any = None, *, event: Event | None = None, **kwargs: Any) -> None:
        names = [name for name in self.base_fields if event is not None]
        start = {name: getattr(event, name) for name in names}
        super().__init__(data, initial=start or {"rules_edition": usual_edition(timezone.localdate())}, **kwargs)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        first, last, series = (data.get(name) for name in ("first_day", "last_day", "first_series_last_day"))
        if first and last and last < first:
            self.add_error("last_day", f"Expected a day not before the first, {first.isoformat()}.")
        elif first and last and series and not first <= series <= last:
            self.add_error("first_series_last_day", "Expected one of the event's days.")
        return data


class MemberForm(forms.Form):
    email = forms.EmailField(
        label="E-mail address", help_text="The one they sign in with; they need the role of race committee."
    )


class ListForm(forms.Form):
    file = forms.FileField(
        label="Entry list as a file",
        required=False,
        help_text=f"CSV or XLSX, at most {MOST_ENTRIES:,} entries and {LARGEST_FILE // 1024 // 1024} MiB.",
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx"}),
    )
    pasted = forms.CharField(
        label="Or pasted",
        required=False,
        strip=False,
        max_length=LARGEST_FILE,
        help_text=(
            "Copied out of a spreadsheet, or typed. The first row names the columns, sail_number or boat among them; "
            "others are carried through."
        ),
        widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false", "placeholder": "sail_number,boat"}),
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.errors and bool(data.get("file")) == bool((data.get("pasted") or "").strip()):
            self.add_error(None, "Expected a file or a pasted list, one of the two.")
        return data


class SettleForm(forms.Form):
    """`boat`: a key, "" for none of the register. `entry`: what the page showed, so that a newer list is noticed."""

    entry = forms.CharField(max_length=400, widget=forms.HiddenInput())
    boat = forms.CharField(max_length=32, required=False, widget=forms.HiddenInput())
    reason = _line("Remark", 300, required=False)


class StatementForm(forms.Form):
    signatory = _line("Signed by", 120, "The person in charge of the boat, as on the statement.", autocomplete="off")
    signed_at = forms.DateTimeField(
        label="Signed at",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"],
        error_messages={"invalid": "Expected a date and a time as in 2026-05-04 09:30."},
    )
    remark = _line("Remark", 300, required=False)
    entry = forms.CharField(max_length=400, widget=forms.HiddenInput())

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["signed_at"].initial = timezone.localtime().replace(second=0, microsecond=0)


class SettleStatementForm(forms.Form):
    reason = reason("How it is settled", "As in: the certificate was shown on paper; the boat does not race.")
