"""Forms of the office's kit."""

from __future__ import annotations

from django import forms

from boats.forms.fields import FigureField, KeyedChoice, day, reason
from computations.inputs import INSTRUMENT_KINDS
from office.people.models import Person, Role
from office.people.queries import people
from surveys.actions.instruments import STEEL_EXPANSION
from surveys.instrument_models import LONGEST_FIRMWARE
from surveys.logsheet.fields import ACCURACY_CLASSES, LONGEST_INSTRUMENT


class InstrumentForm(forms.Form):
    identifier = forms.CharField(
        label="The office's mark",
        max_length=LONGEST_INSTRUMENT,
        help_text="As it is written on the piece, such as T-07.",
    )
    kind = forms.ChoiceField(label="Kind", choices=[(one, one.replace("_", " ")) for one in INSTRUMENT_KINDS])
    maker = forms.CharField(label="Maker", required=False, max_length=80)
    serial_number = forms.CharField(label="Serial number", required=False, max_length=60)
    firmware = forms.CharField(
        label="Firmware or software version", required=False, max_length=LONGEST_FIRMWARE, help_text="If it has one."
    )
    accuracy_class = forms.ChoiceField(
        label="Accuracy class",
        required=False,
        choices=[("", "none stated"), *[(one, one) for one in ACCURACY_CLASSES]],
        help_text="Tapes and rules, as printed on them (OIML R 35-1).",
    )
    limit_of_error = FigureField(
        label="Limit of error", required=False, help_text="Callipers and levels in mm, scales in kg: ± this much."
    )
    nominal_length_mm = FigureField(label="Nominal length, mm", required=False, help_text="A 30 m tape: 30000.")
    reference_temperature_c = FigureField(label="Reference temperature, °C", initial=20)
    expansion_per_k = FigureField(label="Expansion, per kelvin", initial=STEEL_EXPANSION, help_text="Steel: 0.0000115.")
    keeper = KeyedChoice(Person.objects.none(), label="Kept by", required=False, empty_label="the office")

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        keeper = self.fields["keeper"]
        assert isinstance(keeper, forms.ModelChoiceField)  # noqa: S101 - for the type checker
        keeper.queryset = people(role=Role.MEASURER, active=True).order_by("name", "pk")


class CalibrationForm(forms.Form):
    calibrated_on = day("Calibrated on")
    due_on = day("Due again on", initial=None)
    error = FigureField(
        label="Error at the nominal length",
        initial=0,
        help_text="True minus indicated: mm, or kg for a scale. A tape that is too long for what it says is positive.",
    )
    expanded_uncertainty = FigureField(label="Its expanded uncertainty U", required=False, help_text="Same unit.")
    coverage_factor = FigureField(label="Its factor k", initial=2)
    laboratory = forms.CharField(label="Laboratory", required=False, max_length=120)
    reference = forms.CharField(label="Number of the calibration certificate", required=False, max_length=80)
    accreditation = forms.CharField(label="The laboratory's accreditation number", required=False, max_length=60)


class MaintenanceForm(forms.Form):
    done_on = day("Done on")
    done_by = forms.CharField(label="Done by", max_length=120, help_text="The workshop, or whoever did it.")
    what = forms.CharField(label="What was done", max_length=2000, widget=forms.Textarea(attrs={"rows": 3}))
    firmware = forms.CharField(
        label="New firmware or software version",
        required=False,
        max_length=LONGEST_FIRMWARE,
        help_text="Only where this changed it.",
    )


class OutOfUseForm(forms.Form):
    edition = forms.IntegerField(widget=forms.HiddenInput)
    since = day("Not to be used since")
    reason = reason()


class InstrumentFilter(forms.Form):
    q = forms.CharField(label="Mark, maker or keeper", max_length=80, required=False)
    kind = forms.ChoiceField(
        label="Kind", required=False, choices=[("", "any"), *[(one, one.replace("_", " ")) for one in INSTRUMENT_KINDS]]
    )
    due = forms.ChoiceField(
        label="Calibration",
        required=False,
        choices=[
            ("", "any"),
            ("overdue", "overdue"),
            ("due_soon", "due within 60 days"),
            ("in_date", "in date"),
            ("none", "none on record"),
        ],
    )
    within = forms.IntegerField(label="Due within … days", required=False, min_value=0, max_value=3660)
    out_of_use = forms.BooleanField(label="Also those out of use", required=False)
