"""Names and numbers of the invented boats and their owners: plain ASCII, so that they stand in any text as they are."""

from __future__ import annotations

from office.demo.people import DOMAIN

FIRST = (
    "Quiet", "Second", "Copper", "Long", "Plain", "Kindly", "Salted", "Borrowed", "Patient", "Hollow", "Merry", "Early",
    "Winter", "Narrow", "Gentle", "Distant", "Amber", "Crooked", "Sober", "Velvet", "Wandering", "Upper", "Silver",
    "Ninth", "Tidal", "Faithful", "Sudden", "Stone", "Marble", "Hidden",
)  # fmt: skip
SECOND = (
    "Errand", "Lantern", "Argument", "Thimble", "Ledger", "Parcel", "Harrow", "Candle", "Verdict", "Anvil", "Bramble",
    "Compass", "Feather", "Garland", "Hourglass", "Inkwell", "Juniper", "Kettle", "Lattice", "Mandolin", "Needle",
    "Orchard", "Pebble", "Quarrel", "Riddle", "Saffron", "Trumpet", "Umbrella", "Vesper", "Willow",
)  # fmt: skip
THIRD = (
    "of Averell", "of Gull Stairs", "of Old Marrow", "of the Sound", "of Lesser Hythe", "of the North Quay",
    "of Sundry Slip", "of Hestrand", "of Quillon", "of Orrin Bay", "of Tansy Reach", "of the Long Mole",
    "of Brackwell", "of the Ferry", "of Corrow Point", "of the Outer Banks", "of Peverel", "of the Salt Pans",
    "of Aldane", "of the Low Water",
)  # fmt: skip
OWNERS_FIRST = (
    "Maren", "Osric", "Lettice", "Piers", "Sunniva", "Walter", "Hester", "Ivo", "Dagny", "Crispin", "Una", "Rafe",
    "Tamsin", "Edric", "Philippa", "Jorun", "Silas", "Honor", "Anselm", "Berit",
)  # fmt: skip
OWNERS_LAST = (
    "Tolland", "Quarrie", "Saltash", "Merrow", "Kestle", "Wexcombe", "Ashdyke", "Pellinore", "Hartwell", "Oxmoor",
    "Fennimore", "Drayle", "Cotterby", "Lambsea", "Ruddock", "Thornley", "Vantry", "Yarrowby", "Marl", "Strand",
)  # fmt: skip
MOST_BOATS = 900_000  # six digits of a sail number


def boat_name(number: int) -> str:
    """Of three parts; among a hundred thousand boats some six share one."""
    number, first = divmod(number, len(FIRST))
    number, second = divmod(number, len(SECOND))
    return f"{FIRST[first]} {SECOND[(second + first) % len(SECOND)]} {THIRD[number % len(THIRD)]}"


def sail_number(number: int) -> str:
    return f"HVS {100_000 + number}"


def hull_number(number: int, former: str) -> str:
    """After the pattern's: country, a maker of one's own for each hundred thousand, a serial number, its last part."""
    maker, serial = divmod(number, 100_000)
    return f"{former[:3]}IV{chr(ord('A') + maker)}{serial:05d}{former[11:]}"


def owner_name(number: int) -> str:
    number, first = divmod(number, len(OWNERS_FIRST))
    return f"{OWNERS_FIRST[first]} {OWNERS_LAST[number % len(OWNERS_LAST)]}"


def owner_address(number: int) -> str:
    return f"owner{number + 1}@{DOMAIN}"
