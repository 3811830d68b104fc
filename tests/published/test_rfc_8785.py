"""Canonical JSON: RFC 8785, sections 3.2.2 to 3.2.4 and appendix B, by the form that snapshots are signed in.

The test files that go with the RFC (arrays, french, structures, unicode, values, weird) from memory; that two of them
are right is shown by the SHA-256 of their canonical bytes, which was read. The doubles of appendix B: five read, as
marked, the others from memory. The sorting example of 3.2.3 and the bytes of 3.2.4 from memory.
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
# Appendix B; the first five read, the others from memory.
DOUBLES = {
    "4340000000000001": "9007199254740994", "444b1ae4d6e2ef50": "1e+21", "3eb0c6f7a0b5ed8d": "0.000001",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7", "8000000000000000": "0",
    "0000000000000000": "0", "0000000000000001": "5e-324", "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308", "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992", "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000", "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23", "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000", "444b1ae4d6e2ef4f": "999999999999999900000",
    "41b3de4355555553": "333333333.3333332", "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333", "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343", "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}  # fmt: skip
# Appendix B's last rows, from memory: what a double can hold and JSON cannot.
NO_NUMBERS = ("7fffffffffffffff", "7ff0000000000000", "fff0000000000000")

# Section 3.2.4, from memory: the canonical bytes of the example of 3.2.2.
VALUES_BYTES = """
7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72 75 65 2c 66 61 6c 73 65 5d 2c 22 6e 75 6d 62 65 72 73 22 3a
5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 33 33 33 2c 31 65 2b 33 30 2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37
5d 2c 22 73 74 72 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30 30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f 22 7d"""

# Section 3.2.3, from memory: names, in the order in which the section writes them, and the order they are to have.
NAMES = r"""{"\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
"\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis"}"""
NAMES_SORTED = [
    "Carriage Return", "One", "Control", "Latin Small Letter O With Diaeresis", "Euro Sign", "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]  # fmt: skip

# Test files that go with the RFC, from memory: as given, and canonical.
FILES = {
    "arrays": (r'[ 56, { "d": true, "10": null, "1": [ ] } ]', '[56,{"1":[],"10":null,"d":true}]'),
    "french": (
        (
            r'{ "peach": "This sorting order", "p\u00e9ch\u00e9": "is wrong according to French", '
            r'"p\u00eache": "but canonicalization MUST", "sin": "ignore locale" }'
        ),
        (
            '{"peach":"This sorting order","péché":"is wrong according to French",'
            '"pêche":"but canonicalization MUST","sin":"ignore locale"}'
        ),
    ),
    "structures": (
        (
            r'{ "1": {"f": {"f": "hi","F": 5} ,"\n": 56.0}, "10": { }, "": "empty", "a": { }, '
            r'"111": [ {"e": "yes","E": "no" } ], "A": { } }'
        ),
        r'{"":"empty","1":{"\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{"E":"no","e":"yes"}],"A":{},"a":{}}',
    ),
    "unicode": (r'{ "Unnormalized Unicode": "A\u030a" }', '{"Unnormalized Unicode":"A\u030a"}'),
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


@pytest.mark.parametrize(("given", "canonical"), FILES.values(), ids=list(FILES))
def test_files_that_go_with_the_rfc(given: str, canonical: str) -> None:
    """Recursive sorting, empty names, no locale, no normalisation (sections 3.1 and 3.2.3)."""
    assert rfc8785.dumps(json.loads(given)).decode() == canonical


def test_bytes_of_the_example() -> None:
    assert rfc8785.dumps(json.loads(VALUES)) == bytes.fromhex(VALUES_BYTES)


def test_names_are_sorted_by_their_utf_16_units() -> None:
    text = snapshot.canonical(json.loads(NAMES))
    assert list(json.loads(text).values()) == NAMES_SORTED


def test_canonical_is_its_own_canonical_form() -> None:
    for _, canonical in [*FILES.values(), ("", VALUES_CANONICAL)]:
        assert rfc8785.dumps(json.loads(canonical)).decode() == canonical


@pytest.mark.parametrize("bits", NO_NUMBERS)
def test_doubles_that_are_no_numbers_are_refused(bits: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(rfc8785.CanonicalizationError):
        rfc8785.dumps(number)


@pytest.mark.parametrize("number", [float("nan"), float("inf"), -float("inf"), 2**60])
def test_what_has_no_canonical_form_is_refused(number: float) -> None:
    with pytest.raises(rfc8785.CanonicalizationError):
        rfc8785.dumps(number)
