"""The compact signed statement in a paper's QR code, behind the address of its public page.

    https://office.example/check/c/RM-2026-0042/#<statement>

What stands behind # is never sent to a server. Packed in it (binary.py), big-endian:

    1  version, 1                                   2  first day, in days since 2000-01-01
    8  identifier of the key                        2  last day as printed
    4  moment of issue, seconds since 1970          4  number of the trail's head at issue
    32 hash of that head                            then number, boat, sail number: length (1), UTF-8 text
    1  how many dimensions; each: code (1), hundredths of a millimetre (3)
    64 Ed25519 signature (RFC 8032)

Signed is the address with its #, then everything before the signature: a statement behind another address fails.
The code of a dimension: its place in DIMENSIONS, plus 64 on the second mast, 128 on the third. Codes never change.
"""

from __future__ import annotations

import datetime as dt
import struct
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from office.certificates.seal import binary

VERSION = 1
SIGNATURE_LENGTH = 64
DAY_ZERO = dt.date(2000, 1, 1)
HEAD = struct.Struct(">B8sIHHI32s")
DIMENSIONS = (
    "luff", "foot", "forestay_height", "foretriangle_base", "spinnaker_hoist", "tack_reach", "pole_length",
    "boom_above_sheer", "forestay_length", "mast_weight",
)  # fmt: skip
STATED = 7  # of them, the first so many are stated; the others have their code for a later office
ON_EACH_MAST = 64
LONGEST_TEXT = 60  # bytes; a longer name is cut, which the sign at its end says
CUT = "…"
LARGEST_MM = Decimal(2**24 - 1) / 100  # 167 m: what three bytes hold; a figure beyond it is not stated


class NoStatement(ValueError):
    """The text is not a paper's code; the text is one sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """What a code states. Dimensions: (slug, place of the mast) -> millimetres."""

    key: str
    issued_at: dt.datetime
    valid_from: dt.date
    valid_until: dt.date
    trail_number: int
    trail_head: str
    number: str
    boat: str
    sail_number: str
    dimensions: dict[tuple[str, int], Decimal]


def sign(document: dict[str, Any], key_identifier: str, private: Ed25519PrivateKey) -> str:
    """The text of the code for a certificate, from its snapshot."""
    body = pack(of_snapshot(document, key_identifier))
    address = f"{document['check_at']}#"
    return address + binary.packed(body + private.sign(address.encode() + body))


def split(text: str) -> tuple[str, bytes, bytes]:
    """Address with its #, what is signed behind it, signature. Raises NoStatement."""
    address, mark, packed = text.strip().partition("#")
    if not mark:
        raise NoStatement("It has no # with a signed statement behind: it is an address only, or something else.")
    try:
        content = binary.unpacked(packed)
    except ValueError as error:
        raise NoStatement(f"What stands behind the # is no statement of a certificate: {error}.") from error
    if len(content) <= HEAD.size + SIGNATURE_LENGTH:
        raise NoStatement("What stands behind the # is too short for a statement: a part of the code is missing.")
    return address + mark, content[:-SIGNATURE_LENGTH], content[-SIGNATURE_LENGTH:]


def signature_holds(text: str, public: Ed25519PublicKey) -> bool:
    """Whether the code is signed by that key, to the last byte. Raises NoStatement."""
    address, body, signature = split(text)
    try:
        public.verify(signature, address.encode() + body)
    except InvalidSignature:
        return False
    return True


def of_snapshot(document: dict[str, Any], key_identifier: str) -> Statement:
    """What the code of that certificate states."""
    masts = [mast["name"] for mast in document["rig"]["description"]["masts"]]
    stated = {(row["slug"], masts.index(row["mast"])): row["value"] for row in document["dimensions"]}
    chosen = [(slug, place) for slug in DIMENSIONS[:STATED] for place in range(len(masts)) if (slug, place) in stated]
    return Statement(
        key=key_identifier,
        issued_at=dt.datetime.fromisoformat(document["issued_at"]),
        valid_from=dt.date.fromisoformat(document["validity"]["from"]),
        valid_until=dt.date.fromisoformat(document["validity"]["until"]),
        trail_number=document["trail"]["number"],
        trail_head=document["trail"]["head"],
        number=document["number"],
        boat=_cut(document["boat"]["name"]),
        sail_number=_cut(document["boat"]["sail_number"]),
        dimensions={one: _hundredths(stated[one]) for one in chosen if 0 <= _hundredths(stated[one]) <= LARGEST_MM},
    )


def _hundredths(value: str) -> Decimal:
    return Decimal(value).quantize(Decimal("0.01"), ROUND_HALF_EVEN)


def _cut(text: str) -> str:
    """At most LONGEST_TEXT bytes of UTF-8, never half a sign."""
    if len(text.encode()) <= LONGEST_TEXT:
        return text
    room = LONGEST_TEXT - len(CUT.encode())
    return text.encode()[:room].decode(errors="ignore") + CUT


def pack(one: Statement) -> bytes:
    texts = b"".join(bytes([len(text.encode())]) + text.encode() for text in (one.number, one.boat, one.sail_number))
    rows = b"".join(
        bytes([DIMENSIONS.index(slug) + ON_EACH_MAST * place]) + int(value * 100).to_bytes(3)
        for (slug, place), value in one.dimensions.items()
    )
    head = HEAD.pack(
        VERSION,
        bytes.fromhex(one.key),
        int(one.issued_at.timestamp()),
        (one.valid_from - DAY_ZERO).days,
        (one.valid_until - DAY_ZERO).days,
        one.trail_number,
        bytes.fromhex(one.trail_head),
    )
    return head + texts + bytes([len(one.dimensions)]) + rows


def unpack(body: bytes) -> Statement:
    """What a signed body states. Raises NoStatement for another version and for what no office writes."""
    if body[0] != VERSION:
        raise NoStatement(f"The statement has the form {body[0]}, which this check does not know; it knows {VERSION}.")
    _, key, issued, first, last, row, head = HEAD.unpack_from(body)
    try:
        (number, boat, sail_number), rest = _texts(body[HEAD.size :])
        if len(rest) != 1 + 4 * rest[0]:
            raise ValueError("its length")
        dimensions = {}
        for start in range(1, len(rest), 4):
            place, code = divmod(rest[start], ON_EACH_MAST)
            dimensions[DIMENSIONS[code], place] = Decimal(int.from_bytes(rest[start + 1 : start + 4])) / 100
    except (ValueError, IndexError) as error:
        raise NoStatement("The statement is damaged: its parts do not fit together.") from error
    return Statement(
        key=key.hex(),
        issued_at=dt.datetime.fromtimestamp(issued, dt.UTC),
        valid_from=DAY_ZERO + dt.timedelta(days=first),
        valid_until=DAY_ZERO + dt.timedelta(days=last),
        trail_number=row,
        trail_head=head.hex(),
        number=number,
        boat=boat,
        sail_number=sail_number,
        dimensions=dimensions,
    )


def _texts(content: bytes) -> tuple[list[str], bytes]:
    texts = []
    for _ in range(3):
        length = content[0]
        if len(content) <= length:
            raise ValueError("a text")
        texts.append(content[1 : 1 + length].decode())
        content = content[1 + length :]
    return texts, content
