"""Ed25519: RFC 8032, section 7.1, tests 1 to 3, both ways, by the signatures that certificates bear.

Keys, messages and signatures from memory; each was found again as a line of the vectors that come with the
`cryptography` library (asymmetric/Ed25519/sign.input).
"""

from __future__ import annotations

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from office.certificates.seal import statement_file

VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe"
            "24655141438e7a100b"
        ),
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302a"
            "eeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed2"
            "8dc027beceea1ec40a"
        ),
    ),
]


def flipped(content: bytes) -> bytes:
    """One bit less or more, in the middle."""
    changed = bytearray(content)
    changed[len(changed) // 2] ^= 1
    return bytes(changed)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_both_ways_and_one_bit_flipped(secret: str, public: str, message: str, signature: str) -> None:
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    signed, text = bytes.fromhex(signature), bytes.fromhex(message)
    assert private.public_key().public_bytes_raw() == bytes.fromhex(public)
    assert private.sign(text) == signed
    known = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
    known.verify(signed, text)
    broken = [(flipped(signed), text), (signed, flipped(text) if text else b"\0")]
    for wrong_signature, wrong_text in broken:
        with pytest.raises(InvalidSignature):
            known.verify(wrong_signature, wrong_text)
    with pytest.raises(InvalidSignature):
        Ed25519PublicKey.from_public_bytes(flipped(bytes.fromhex(public))).verify(signed, text)


def test_a_certificates_signature_is_of_that_kind() -> None:
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(VECTORS[1][0]))
    assert statement_file.decoded(statement_file.sign("r", private)) == bytes.fromhex(VECTORS[1][3])  # "r" is 72
