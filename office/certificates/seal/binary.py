"""Bytes as text that a QR code packs well and an address bears: three signs of 41 for each two bytes.

41 ** 3 = 68,921 >= 65,536, and a single last byte takes two signs. All signs belong to QR's alphanumeric set (ISO/IEC
18004, 7.4.4: eleven bits for two) and may stand in the fragment of an address as they are (RFC 3986, 3.5).
"""

from __future__ import annotations

SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ$+-/:"
VALUES = {sign: value for value, sign in enumerate(SIGNS)}


def packed(content: bytes) -> str:
    """Big-endian pairs, the most significant sign first."""
    signs = []
    for start in range(0, len(content) - 1, 2):
        value = int.from_bytes(content[start : start + 2])
        signs += [SIGNS[value // 1681], SIGNS[value // 41 % 41], SIGNS[value % 41]]
    if len(content) % 2:
        signs += [SIGNS[content[-1] // 41], SIGNS[content[-1] % 41]]
    return "".join(signs)


def unpacked(text: str) -> bytes:
    """The bytes again. ValueError for what `packed` never writes."""
    try:
        values = [VALUES[sign] for sign in text]
    except KeyError as error:
        raise ValueError(f"the sign {error} does not belong here") from error
    try:
        return _from_values(values)
    except OverflowError as error:
        raise ValueError("three signs stand for more than two bytes") from error


def _from_values(values: list[int]) -> bytes:
    whole = len(values) - len(values) % 3
    content = bytearray()
    for first, second, third in zip(values[0:whole:3], values[1:whole:3], values[2:whole:3], strict=True):
        content += (first * 1681 + second * 41 + third).to_bytes(2)
    rest = values[whole:]
    if len(rest) == 1:
        raise ValueError("a sign is missing at the end")
    if rest:
        content += (rest[0] * 41 + rest[1]).to_bytes(1)
    return bytes(content)
