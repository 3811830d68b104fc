"""Forms of a visit's way: the list's filter, the request, the plan, the day's conditions, the signature."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from boats.forms.fields import KeyedChoice, day, reason
from computations.catalogue import BOOM_HEIGHT_METHODS
from computations.inputs import ANSWERS, INTERESTS, PREPARATION_ITEMS
from office.people.models import Person, Role
from office.people.queries import people
from surveys.candidates import Candidate
from surveys.logsheet.fields import LARGEST_FILE, LONGEST_REMARK, MAST_STATES
from surveys.models import Visit, VisitState
from surveys.values import Unreadable, read_temperature

METHOD_WORDS = {"string": "By the string", "two_mark": "By two marks"}


class ListFilter(forms.Form):
    """The address of the list holds it all."""

    q = forms.CharField(label="Boat, place or measurer", required=False, max_length=80)
    state = forms.ChoiceField(
        label="State",
        required=False,
        choices=[("", "any"), ("open", "still open"), *VisitState.choices],
    )
    since = day("From", required=False, initial=None)
    until = day("To", required=False, initial=None)


class DayForm(forms.Form):
    """Which day's visits are looked at."""

    on = day("Day")


class AskForm(forms.Form):
    request = forms.CharField(
        label="What is asked for",
        help_text="What changed, what is wanted, when and where the boat can be measured.",
        widget=forms.Textarea(attrs={"rows": 4}),
        max_length=2000,
    )


class PlanForm(forms.Form):
    measurer = forms.ChoiceField(label="Measurer")
    planned_on = day("Day")
    harbour = forms.CharField(label="Harbour or yard", max_length=80)

    def __init__(self, *args: Any, candidates: list[Candidate], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.people = {one.person.key: one.person for one in candidates if one.free}
        measurer = self.fields["measurer"]
        assert isinstance(measurer, forms.ChoiceField)  # noqa: S101 - for the type checker
        measurer.choices = [
            ("", "choose a measurer"),
            *[(one.person.key, one.person.name) for one in candidates if one.free],
        ]


class PlanSeveralForm(forms.Form):
    """One day and measurer for all that are ticked; each its own harbour, unless one is given for all."""

    measurer = KeyedChoice(Person.objects.none(), label="Measurer", empty_label="choose a measurer")
    planned_on = day("Day", initial=None)
    harbour = forms.CharField(
        label="Harbour or yard for all of them",
        max_length=80,
        required=False,
        help_text="Left empty, each keeps the harbour it was planned for, or takes the boat's own.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        measurer = self.fields["measurer"]
        assert isinstance(measurer, forms.ModelChoiceField)  # noqa: S101 - for the type checker
        measurer.queryset = people(role=Role.MEASURER, active=True).order_by("name", "pk")


class ReasonForm(forms.Form):
    reason = reason()


class ConditionsForm(forms.Form):
    """The day's conditions and, for each mast, its state and preparation."""

    edition = forms.IntegerField(widget=forms.HiddenInput)
    date = day("Date of the visit")
    place = forms.CharField(label="Place", max_length=120)
    air_temperature = forms.CharField(
        label="Air temperature",
        max_length=20,
        help_text="At the tape, in the shade. A 20 m reading at 5 °C is 3.5 mm long: figures are corrected by this.",
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        required=False,
    )
    temperature_unit = forms.ChoiceField(label="Degrees", choices=[("degC", "Celsius"), ("degF", "Fahrenheit")])
    interest = forms.ChoiceField(
        label="Your interest in this boat",
        choices=[(one, "none" if one == "none" else one.replace("crew", "paid crew")) for one in INTERESTS],
        help_text="Owner, designer, builder, paid crew or other. With an interest you do not sign, unless the office "
        "grants an exception.",
    )
    remark = forms.CharField(
        label="Remark on the visit", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        self.masts = [mast.name for mast in visit.rig.masts.all()] if visit.rig else []
        kwargs["initial"] = {**self._initial(visit), **kwargs.get("initial", {})}
        super().__init__(*args, **kwargs)
        self.fields["date"].widget.attrs["max"] = timezone.localdate().isoformat()
        for mast in self.masts:
            self._add_mast(mast)

    def _initial(self, visit: Visit) -> dict[str, Any]:
        initial: dict[str, Any] = {
            "edition": visit.edition,
            "date": visit.date,
            "place": visit.place,
            "air_temperature": "" if visit.air_temperature_c is None else f"{visit.air_temperature_c:g}",
            "temperature_unit": "degC",
            "interest": visit.interest,
            "remark": visit.remark,
        }
        for mast in self.masts:
            contrast = visit.band_contrast.get(mast)
            initial[f"contrast-{mast}"] = "" if contrast is None else "yes" if contrast else "no"
            initial[f"state-{mast}"] = visit.mast_state.get(mast, "")
        for one in visit.preparation.all():
            initial[f"prepared-{one.mast}-{one.item}"] = one.answer
            initial[f"remark-{one.mast}-{one.item}"] = one.remark
        return initial

    def _add_mast(self, mast: str) -> None:
        self.fields[f"state-{mast}"] = forms.ChoiceField(
            label="While it is measured, the mast is",
            required=False,
            choices=[("", "not said"), *[(one, one) for one in MAST_STATES]],
        )
        self.fields[f"contrast-{mast}"] = forms.ChoiceField(
            label="The bands contrast with the spar",
            required=False,
            choices=[("", "not said"), ("yes", "yes"), ("no", "no")],
        )
        for item, name in PREPARATION_ITEMS.items():
            self.fields[f"prepared-{mast}-{item}"] = forms.ChoiceField(
                label=name,
                required=False,
                choices=[("", "not said"), *[(one, one.replace("_", " ")) for one in ANSWERS]],
            )
            self.fields[f"remark-{mast}-{item}"] = forms.CharField(
                label=f"Remark on: {name.lower()}", required=False, max_length=LONGEST_REMARK
            )

    def clean_date(self) -> Any:
        date = self.cleaned_data["date"]
        if date > timezone.localdate():
            raise forms.ValidationError(f"Expected today ({timezone.localdate()}) or a day before.")
        return date

    def clean(self) -> None:
        data = super().clean() or self.cleaned_data
        text = data.get("air_temperature", "")
        data["air_temperature_c"] = None
        if text:
            try:
                data["air_temperature_c"] = read_temperature(text, data.get("temperature_unit", "degC"))
            except Unreadable as refusal:
                self.add_error("air_temperature", f"Expected {refusal.expected}.")

    def conditions(self) -> dict[str, Any]:
        """What `set_conditions` takes."""
        data = self.cleaned_data
        names = ("date", "place", "air_temperature_c", "interest", "remark")
        return {
            **{name: data[name] for name in names},
            "band_contrast": {
                mast: data[f"contrast-{mast}"] == "yes" for mast in self.masts if data[f"contrast-{mast}"]
            },
            "mast_state": {mast: data[f"state-{mast}"] for mast in self.masts if data[f"state-{mast}"]},
        }

    def answers(self) -> list[dict[str, str]]:
        """What `answer_preparation` takes: the items that were answered."""
        return [
            {"mast": mast, "item": item, "answer": answer, "remark": self.cleaned_data[f"remark-{mast}-{item}"]}
            for mast in self.masts
            for item in PREPARATION_ITEMS
            if (answer := self.cleaned_data[f"prepared-{mast}-{item}"])
        ]

    def differing(self) -> list[tuple[str, str, str]]:
        """Label, what is stored now and what was typed, of each field where the two differ: for a stale form."""
        found = []
        for name, field in self.fields.items():
            stored, typed = str(self.initial.get(name) or ""), self.data.get(name, "")
            if name != "edition" and typed != stored:
                found.append((str(field.label), stored, typed))
        return found

    def general(self) -> list[forms.BoundField]:
        """The fields that are about no mast."""
        return [self[name] for name in self.fields if "-" not in name]

    def by_mast(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [(mast, [self[name] for name in self.fields if f"-{mast}" in name]) for mast in self.masts]


class UploadForm(forms.Form):
    file = forms.FileField(
        label="Log sheet",
        help_text=f"CSV or XLSX, at most {LARGEST_FILE // 1024 // 1024} MiB. All is checked before any is stored.",
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.xlsx"}),
    )
    amend = forms.BooleanField(
        label="Readings that are stored already with another value are to be amended by those of the file",
        required=False,
    )
    reason = forms.CharField(
        label="Reason for amending", required=False, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )

    def clean(self) -> None:
        data = super().clean() or self.cleaned_data
        if data.get("amend") and not data.get("reason", "").strip():
            self.add_error("reason", "Expected a reason, because readings are to be amended.")


class SettleForm(forms.Form):
    reason = reason("Why it may stand", "The reviewer reads it first, and it is signed with the readings.")

    def __init__(self, *args: Any, methods: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if methods:
            self.fields["choice"] = forms.ChoiceField(
                label="Height of the lower band above the sheer is taken",
                choices=[(one, METHOD_WORDS[one]) for one in BOOM_HEIGHT_METHODS],
                widget=forms.RadioSelect,
            )
            self.order_fields(["choice", "reason"])


class SignForm(forms.Form):
    edition = forms.IntegerField(widget=forms.HiddenInput)
    password = forms.CharField(
        label="Your password, once more",
        strip=False,
        max_length=256,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        help_text="It stands for your signature.",
    )

    def __init__(self, *args: Any, typed_before: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].required = not typed_before


class AnswerForm(forms.Form):
    answer = forms.CharField(label="Your answer", max_length=2000, widget=forms.Textarea(attrs={"rows": 3}))
