"""The form of a hull identification number: ISO 10087 as given from memory; the numbers are invented."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from boats.hin import HinError, check_hin

NORMAL = "QU-TRN00042D424"


@pytest.mark.parametrize(
    "text", [NORMAL, "QUTRN00042D424", "qu-trn00042d424", " QU TRN 00042 D4 24 ", "QU–TRN00042D424", "QU‑TRN00042D424"]
)
def test_with_and_without_its_hyphen(text):
    assert check_hin(text) == NORMAL


@pytest.mark.parametrize(
    ("text", "place", "expected"),
    [
        ("Q1-TRN00042D424", "Place 2,", "a letter was expected there (the country)"),
        ("QU-T.N00042D424", "Place 4,", "a letter or a digit was expected there (the builder)"),
        ("QU-TRN0O042D424", "Place 7,", "other than I, O and Q was expected there (the serial number)"),
        ("QU-TRN0004ID424", "Place 10,", "other than I, O and Q was expected there (the serial number)"),
        ("QU-TRN00042M424", "Place 11,", "a letter from A (January) to L (December)"),
        ("QU-TRN00042DX24", "Place 12,", "a digit was expected there (the year of building)"),
        ("QU-TRN00042D4A4", "Place 13,", "a digit was expected there (the model year)"),
        ("QU-TRN00042D42B", "Place 14,", "a digit was expected there (the model year)"),
        ("QU-TRN00042D42", "13 characters", "14 were expected"),
        ("QU-TRN00042D4241", "15 characters", "14 were expected"),
        ("", "0 characters", "14 were expected"),
    ],
)
def test_error_says_which_place_and_what_was_expected(text, place, expected):
    with pytest.raises(HinError) as error:
        check_hin(text)
    assert place in str(error.value)
    assert expected in str(error.value)


@given(
    serial=st.text(alphabet="ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=5, max_size=5),
    month=st.sampled_from("ABCDEFGHIJKL"),
    year=st.integers(0, 9),
    model=st.integers(0, 99),
)
def test_every_number_of_the_form_stands(serial, month, year, model):
    hin = f"QU-TRN{serial}{month}{year}{model:02}"
    assert check_hin(hin) == hin
