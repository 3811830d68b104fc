"""Canonical JSON: RFC 8785, sections 3.2.2 and 3.2.3 and appendix B, by the form that snapshots are signed in.

Two of the test files that go with the RFC (values, weird) from memory; that they are right is shown by the SHA-256 of
their canonical bytes, which was read. The doubles are those of appendix B, read.
"""

from __future__ import annotations

import hashlib
import json
import struct

import pytest
import rfc8785

from office.certificates import snapshot

VALUES = r"""{"numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
"string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/", "literals": [null, true, false]}"""
VALUES_CANONICAL = (
    '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
)
WEIRD = {
    "\u20ac": "Euro Sign", "\r": "Carriage Return", "\n": "Newline", "1": "One", "\u0080": "Control\u007f",
    "\U0001f602": "Smiley", "\u00f6": "Latin Small Letter O With Diaeresis",
    "\ufb33": "Hebrew Letter Dalet With Dagesh", "</script>": "Browser Challenge",
}  # fmt: skip
DOUBLES = {
    "4340000000000001": "9007199254740994",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "8000000000000000": "0",
}


def test_values() -> None:
    text = rfc8785.dumps(json.loads(VALUES))
    assert text.decode() == VALUES_CANONICAL
    assert hashlib.sha256(text).hexdigest().startswith("2d5e01a3")
    assert hashlib.sha256(text).hexdigest().endswith("aacb")


def test_weird_names_in_the_order_of_their_utf_16_units() -> None:
    text = snapshot.canonical(WEIRD)
    assert list(json.loads(text)) == ["\n", "\r", "1", "</script>", "\u0080", "ö", "€", "\U0001f602", "\ufb33"]
    assert snapshot.sha256(text).startswith("6af595a9")
    assert snapshot.sha256(text).endswith("94d1")


@pytest.mark.parametrize(("bits", "text"), DOUBLES.items())
def test_doubles(bits: str, text: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert rfc8785.dumps(number).decode() == text


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -float("inf"), 2**60])
def test_what_has_no_canonical_form_is_refused(number: float) -> None:
    with pytest.raises(rfc8785.CanonicalizationError):
        rfc8785.dumps(number)
