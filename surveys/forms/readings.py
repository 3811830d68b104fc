"""Forms of one take."""

from __future__ import annotations

from typing import Any

from django import forms

from boats.forms.fields import KeyedChoice
from computations.catalogue import READINGS
from surveys.logsheet.fields import LONGEST_REMARK, LONGEST_WRITTEN
from surveys.models import Instrument, Reading, Visit
from surveys.queries import usable_instruments
from surveys.reading_rows import UNITS

REASON_LENGTH = 300


class AmendForm(forms.Form):
    text = forms.CharField(
        label="Value", max_length=LONGEST_WRITTEN, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    unit = forms.ChoiceField(label="Unit", required=False)
    instrument = KeyedChoice(Instrument.objects.none(), label="Instrument", required=False, to_field_name="identifier")
    remark = forms.CharField(label="Remark", required=False, max_length=LONGEST_REMARK)
    reason = forms.CharField(label="Reason", max_length=REASON_LENGTH, widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, reading: Reading, visit: Visit, **kwargs: Any) -> None:
        kind = READINGS[reading.slug]
        kwargs["initial"] = {
            "text": reading.written,
            "unit": reading.unit_written or kind.unit,
            "instrument": reading.instrument.identifier if reading.instrument else "",
            "remark": reading.remark,
        }
        super().__init__(*args, **kwargs)
        units = list(UNITS[kind.quantity])
        if reading.unit_written and reading.unit_written not in units:
            units.append(reading.unit_written)
        unit, instrument = self.fields["unit"], self.fields["instrument"]
        assert isinstance(unit, forms.ChoiceField)  # noqa: S101 - for the type checker
        assert isinstance(instrument, forms.ModelChoiceField)  # noqa: S101
        unit.choices = [(one, one) for one in units]
        suits = [one.pk for one in usable_instruments(visit.date) if one.kind in kind.instrument_kinds]
        instrument.queryset = Instrument.objects.filter(pk__in=[*suits, reading.instrument_id or 0])
        if visit.signed_at is None:
            self.fields["reason"].required = False
            self.fields["reason"].help_text = "May be left empty before the first signature."


class WithdrawForm(forms.Form):
    reason = forms.CharField(label="Reason", max_length=REASON_LENGTH, widget=forms.Textarea(attrs={"rows": 2}))
