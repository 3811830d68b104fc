"""Forms of the register of complaints. What they let through, the actions still judge."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.db.models import Q
from django.utils import timezone

from boats.forms.fields import KeyedChoice, day, reason
from boats.models import Boat
from boats.names import normalise_sail_number
from office.certificates.models import Certificate
from office.complaints.changes import LONGEST
from office.complaints.models import OUTCOMES, Complaint, Kind, State
from office.people.access import OFFICE
from office.people.models import Person, Role
from surveys.models import Instrument, Visit

SEVERAL = "Several boats bear it: add the national letters, or name the certificate."
MOST_OFFERED = 12  # certificates, and visits, that an owner chooses from


def _text(label: str, rows: int = 5, **options: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=LONGEST, widget=forms.Textarea(attrs={"rows": rows}), **options)


def _people(*roles: str) -> Any:
    """Active people who hold one of the roles today, each once."""
    held = Q(role_holdings__role__in=roles, role_holdings__ended_at=None)
    return Person.objects.filter(held, is_active=True).distinct().order_by("name", "pk")


class ListFilter(forms.Form):
    """The address of the list holds it all."""

    q = forms.CharField(label="Words, boat, certificate or instrument", required=False, max_length=80)
    state = forms.ChoiceField(
        label="State", required=False, choices=[("", "any"), ("open", "still open"), *State.choices]
    )
    kind = forms.ChoiceField(label="Kind", required=False, choices=[("", "any"), *Kind.choices])


class SubjectForm(forms.Form):
    """What it is about; each part may be left empty. `about` in the cleaned data is what the actions take."""

    boat = forms.CharField(label="Boat's sail number", required=False, max_length=40)
    visit_day = day(
        "Day of the visit", required=False, initial=None, help_text="With the boat's sail number."
    )  # fmt: skip
    certificate = forms.CharField(label="Number of the certificate", required=False, max_length=20)
    instrument = forms.CharField(label="Mark of the instrument", required=False, max_length=20)
    concerned = KeyedChoice(
        Person.objects.none(), label="Whom it is about", required=False, empty_label="nobody in particular"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        concerned = self.fields["concerned"]
        assert isinstance(concerned, forms.ModelChoiceField)  # noqa: S101 - for the type checker
        concerned.queryset = _people(Role.MEASURER, *OFFICE)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        boat = self._boat(given.pop("boat", ""))
        visit_day = given.pop("visit_day", None)
        given["about"] = {
            "boat": boat,
            "visit": self._visit(boat, visit_day),
            "certificate": self._named(Certificate, "number", given.pop("certificate", ""), "certificate"),
            "instrument": self._named(Instrument, "identifier", given.pop("instrument", ""), "instrument"),
        }
        return given

    def _boat(self, text: str) -> Boat | None:
        if not text.strip():
            return None
        number, _ = normalise_sail_number(text)
        found = list(Boat.objects.filter(sail_number_normal=number)[:2]) if number else []
        if number and not found:
            found = list(Boat.objects.filter(sail_digits=number)[:2])
        if len(found) != 1:
            self.add_error("boat", SEVERAL if found else "Not known.")
            return None
        return found[0]

    def _visit(self, boat: Boat | None, visit_day: dt.date | None) -> Visit | None:
        if visit_day is None:
            return None
        on_that_day = Q(date=visit_day) | Q(date=None, planned_on=visit_day)
        visit = Visit.objects.filter(on_that_day, boat=boat).order_by("-pk").first() if boat else None
        if visit is None:
            self.add_error("visit_day", "No visit to that boat has that day." if boat else "Name the boat as well.")
        return visit

    def _named(self, model: Any, column: str, text: str, field: str) -> Any:
        if not text.strip():
            return None
        found = model.objects.filter(**{f"{column}__iexact": text.strip()}).first()
        if found is None:
            self.add_error(field, "Not known.")
        return found


class ReceiveForm(SubjectForm):
    kind = forms.ChoiceField(label="What it is", choices=Kind.choices, widget=forms.RadioSelect, initial=Kind.COMPLAINT)
    received_on = day("Received, or found, on")
    text = _text("What it says")
    name = forms.CharField(
        label="From whom", required=False, max_length=120, help_text="Empty for the office's own finding."
    )  # fmt: skip
    contact = forms.CharField(
        label="How they are reached", required=False, max_length=200,
        help_text="The e-mail address of a person the office knows makes the complaint theirs: they follow its course.",
    )  # fmt: skip

    field_order = ("kind", "received_on", "text", "name", "contact")

    def clean(self) -> dict[str, Any]:
        given = super().clean()
        contact = given.get("contact", "").strip()
        known = Person.objects.filter(email__iexact=contact, is_active=True).first() if "@" in contact else None
        if known is not None:
            given |= {"complainant": known, "name": "", "contact": ""}
        return given


class SendForm(forms.Form):
    """An owner's complaint about their own boat."""

    about = forms.ChoiceField(label="It is about", required=False)  # an answer of nothing is the boat in general
    text = _text(
        "What is wrong", help_text="What you expected, what happened instead, and what you would have the office do."
    )

    def __init__(self, *args: Any, boat: Boat, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = Certificate.objects.filter(boat=boat).select_related("visit__boat").defer("snapshot")
        certificates = list(rows.order_by("-issued_at")[:MOST_OFFERED])
        visits = list(boat.visits.exclude(measurer=None).order_by("-date", "-pk")[:MOST_OFFERED])
        self.offered: dict[str, dict[str, Any]] = {"": {}}
        self.offered |= {one.number: {"certificate": one} for one in certificates}
        self.offered |= {one.key: {"visit": one} for one in visits}
        about = self.fields["about"]
        assert isinstance(about, forms.ChoiceField)  # noqa: S101 - for the type checker
        about.choices = [
            ("", f"{boat.name} in general"),
            *((one.number, f"certificate {one.number}, in force from {one.valid_from}") for one in certificates),
            *((one.key, f"the visit of {one.date or one.planned_on or 'a day not yet set'}") for one in visits),
        ]

    def chosen(self) -> dict[str, Any]:
        return {"text": self.cleaned_data["text"], **self.offered[self.cleaned_data["about"]]}


class ReportForm(forms.Form):
    """What a measurer found wrong in a visit of theirs."""

    instrument = KeyedChoice(
        Instrument.objects.none(), to_field_name="identifier", label="It comes from an instrument", required=False,
        empty_label="no, or not known",
    )  # fmt: skip
    text = _text(
        "What is not as it should be", help_text="What happened, since when, and which readings it may have touched."
    )

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        instrument = self.fields["instrument"]
        assert isinstance(instrument, forms.ModelChoiceField)  # noqa: S101 - for the type checker
        instrument.queryset = Instrument.objects.filter(readings__visit=visit).distinct()


class StepForm(forms.Form):
    """A step with the edition it was asked for."""

    edition = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, complaint: Complaint, **kwargs: Any) -> None:
        super().__init__(*args, **{"initial": {}, **kwargs})
        self.complaint = complaint
        self.initial.setdefault("edition", complaint.edition)


class AcknowledgeForm(StepForm):
    acknowledged_on = day("Acknowledged on")


class AssignForm(StepForm):
    investigator = KeyedChoice(Person.objects.none(), label="Who looks into it", empty_label="choose a person")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        investigator = self.fields["investigator"]
        assert isinstance(investigator, forms.ModelChoiceField)  # noqa: S101 - for the type checker
        investigator.queryset = _people(*OFFICE)


class DecideForm(StepForm):
    findings = _text("What was found")
    outcome = forms.ChoiceField(label="Outcome", widget=forms.RadioSelect)
    measures = _text(
        "What is done", 3, required=False, help_text="For this one, and so that it does not come again."
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        outcome = self.fields["outcome"]
        assert isinstance(outcome, forms.ChoiceField)  # noqa: S101 - for the type checker
        outcome.choices = [(one.value, one.label) for one in OUTCOMES[Kind(self.complaint.kind)]]


class CloseForm(StepForm):
    told_on = day("Told on", required=False, initial=timezone.localdate)
    told_how = _text("How, or why nobody is told", 2)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.complaint.kind == Kind.COMPLAINT:
            self.fields["told_on"].label = "The complainant was told what came of it on"
            self.fields["told_how"].label = "How"


class ReasonForm(StepForm):
    reason = reason()


class NoteForm(StepForm):
    text = _text("What was done or heard", 3)


class ConsequenceForm(StepForm):
    certificate = forms.CharField(
        label="Number of the certificate", max_length=20,
        help_text="One that has been suspended, withdrawn, replaced or amended because of this.",
    )  # fmt: skip

    def clean_certificate(self) -> Certificate:
        number = self.cleaned_data["certificate"].strip()
        found = Certificate.objects.filter(number__iexact=number).first()
        if found is None:
            raise forms.ValidationError("No certificate bears that number.")
        return found


class SubjectStepForm(SubjectForm, StepForm):
    """Begins with what is named. Boat and visit left as they were stay themselves, whatever else is of that number or
    day, and where they have none.
    """

    def __init__(self, *args: Any, complaint: Complaint, **kwargs: Any) -> None:
        one = complaint
        initial = {
            "boat": one.boat.sail_number if one.boat else "",
            "visit_day": _day_of(one.visit) if one.visit and not one.certificate else None,
            "certificate": one.certificate.number if one.certificate else "",
            "instrument": one.instrument.identifier if one.instrument else "",
            "concerned": one.concerned.key if one.concerned else "",
        }
        super().__init__(*args, complaint=complaint, **{"initial": initial, **kwargs})

    def _boat(self, text: str) -> Boat | None:
        named = self.complaint.boat
        return named if named and text.strip() == named.sail_number else super()._boat(text)

    def _visit(self, boat: Boat | None, visit_day: dt.date | None) -> Visit | None:
        named = None if self.complaint.certificate else self.complaint.visit
        if named and boat and named.boat_id == boat.pk and _day_of(named) == visit_day:
            return named
        return super()._visit(boat, visit_day)


def _day_of(visit: Visit) -> dt.date | None:
    return visit.date or visit.planned_on
