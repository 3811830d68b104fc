"""What people might send: files, entries, codes and forms that began well and went wrong somewhere."""

from __future__ import annotations

import json
import string
from typing import Any, NamedTuple

from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from hypothesis import strategies as st

from tests.office.test_bad_input import GOOD, HEADER, HOSTILE, TEXT, row, workbook
from tests.office.test_urls_by_role import World
from tests.surveys.makers import picture

ROWS = ("luff_between_bands-main-one", "foot_distance-main-one", "band_to_sheer-main-port", "nothing-main-one", "")
ENTRIES = b"sail_number,boat,club\nSKE 214,Quiet Margin,Haven\nWES 1,Nobody,\nWES 2,Her,Quay\n"
ODD = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=40),
    st.text(string.digits + ".,-+eE/' \"ftinm", max_size=14),
    st.integers(-(10**20), 10**20).map(str),
    st.floats(width=32).map(str),
)


class Sending(NamedTuple):
    """One request: who sends it, whereto, what; `json` where it is no form."""

    part: str
    address: str
    data: Any
    json: bool = False


@st.composite
def spoilt(draw: st.DrawFn, content: bytes) -> bytes:
    """Bytes turned, cut, doubled or put in at a few places."""
    made = bytearray(content)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, max(0, len(made) - 1)))
        match draw(st.sampled_from(["turn", "cut", "double", "insert", "end"])):
            case "turn":
                made[at : at + 1] = bytes([draw(st.integers(0, 255))])
            case "cut":
                del made[at : at + draw(st.integers(1, 60))]
            case "double":
                made[at:at] = made[at : at + draw(st.integers(1, 200))]
            case "insert":
                made[at:at] = draw(st.binary(max_size=12))
            case _:
                del made[at:]
    return bytes(made)


@st.composite
def spoilt_table(draw: st.DrawFn, content: bytes) -> bytes:
    """A table of which some cells say something else, and some rows are gone, doubled or in another place."""
    lines = [line.split(",") for line in content.decode().splitlines()]
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        match draw(st.sampled_from(["cell", "cell", "cell", "double", "drop", "swap"])):
            case "cell":
                lines[at][draw(st.integers(0, len(lines[at]) - 1))] = draw(ODD)
            case "double":
                lines.insert(at, list(lines[draw(st.integers(0, len(lines) - 1))]))
            case "drop" if len(lines) > 1:
                del lines[at]
            case _:
                lines[at], lines[0] = lines[0], lines[at]
    text = "\n".join(draw(st.sampled_from([",", ",", ",", ";", "\t"])).join(line) for line in lines)
    return text.encode(draw(st.sampled_from(["utf-8", "utf-8", "utf-8-sig", "utf-16"])), "surrogatepass")


@st.composite
def spoilt_workbook(draw: st.DrawFn, content: bytes) -> bytes:
    cells = [line.split(",") for line in content.decode().splitlines()][:40]
    for _ in range(draw(st.integers(0, 3))):
        line = cells[draw(st.integers(0, len(cells) - 1))]
        line[draw(st.integers(0, len(line) - 1))] = draw(ODD)
    plain = [[escaped(one) for one in line] for line in cells]
    made = workbook(b"".join(row(*line) for line in plain))
    return draw(spoilt(made)) if draw(st.booleans()) else made


def escaped(text: str) -> str:
    """Fit for XML: what no XML holds is left out, or the reader's refusal would be of that alone."""
    kept = "".join(sign for sign in text if sign >= " " and not "\ud800" <= sign <= "\udfff" and sign < "\ufffe")
    return kept.replace("&", "&amp;").replace("<", "&lt;")


def upload(part: str, address: str, content: bytes, **fields: str) -> st.SearchStrategy[Sending]:
    files = st.one_of(
        st.tuples(spoilt_table(content), st.just("sheet.csv")),
        st.tuples(spoilt(content), st.sampled_from(["sheet.csv", "sheet.xlsx", "x.pdf"])),
        st.tuples(spoilt_workbook(content), st.just("sheet.xlsx")),
    )
    return files.map(lambda file: Sending(part, address, {"file": SimpleUploadedFile(file[1], file[0]), **fields}))


@st.composite
def photograph(draw: st.DrawFn, address: str) -> Sending:
    kind = draw(st.sampled_from(["JPEG", "PNG", "GIF", "WEBP", "BMP"]))
    made = draw(spoilt(picture(24, 18, kind).getvalue()))
    token = draw(st.one_of(st.text("abcXYZ019-_", min_size=22, max_size=30), ODD))
    data = {"photo": SimpleUploadedFile("p.jpg", made), "token": token, "remark": draw(ODD)}
    return Sending("measurer", address, {**data, "row": draw(st.sampled_from(ROWS))})


OTHERS = ("replaces", "reason", "remark", "choose", "by", "typed_at")  # of an entry, besides what it always has
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | ODD,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(ODD, inner, max_size=3),
    max_leaves=5,
)


@st.composite
def dock_file(draw: st.DrawFn, part: str, address: str) -> Sending:
    """What a device sends, or a saved file of it that somebody has had in hand."""
    entries: list[Any] = [draw(entry()) for _ in range(draw(st.integers(0, 4)))]
    if draw(st.booleans()):
        entries.append(draw(ANYTHING))
    document: Any = {"device": draw(ODD), "entries": entries}
    if draw(st.integers(0, 5)) == 0:
        document = draw(ANYTHING)
    text = json.dumps(document)
    return Sending(part, address, draw(spoilt(text.encode())) if draw(st.integers(0, 4)) == 0 else text, json=True)


@st.composite
def entry(draw: st.DrawFn) -> dict[str, Any]:
    made: dict[str, Any] = {
        "token": draw(st.text("abcXYZ019-_", min_size=22, max_size=30)),
        "kind": draw(st.sampled_from(["take", "amend", "take_away", "absent", "present", "settle", "undo"])),
        "row": draw(st.sampled_from(ROWS)), "take": draw(st.integers(1, 4)),
        "text": str(draw(st.integers(1, 30_000))), "unit": draw(st.sampled_from(["mm", "", "ft", "in"])),
        "instrument": draw(st.sampled_from(["T-03", "", "T-99"])),
    }  # fmt: skip
    for name in draw(st.lists(st.sampled_from([*made, *OTHERS]), max_size=3)):
        made[name] = draw(ANYTHING)
    return made


@st.composite
def pasted_code(draw: st.DrawFn, code: str, number: str) -> Sending:
    text = draw(st.one_of(spoilt(code.encode()).map(lambda made: made.decode("latin-1")), ODD, st.just(code)))
    address = draw(st.sampled_from([reverse("racing:check"), reverse("racing:certificate", args=[number])]))
    return Sending("", address, {"q": text, "on": draw(st.sampled_from(["", "2026-06-01", "x"]))})


@st.composite
def form(draw: st.DrawFn, forms: list[tuple[str, str, dict[str, str]]]) -> Sending:
    """One of the pages' own forms, with some fields said otherwise."""
    part, address, fields = draw(st.sampled_from(forms))
    data = {name: value or GOOD.get(name, "") for name, value in fields.items()}
    for name in draw(st.lists(st.sampled_from(sorted(data)), min_size=1, max_size=4)):
        data[name] = draw(ODD)
    return Sending(part, address, data)


def sendings(world: World, code: str, forms: list[tuple[str, str, dict[str, str]]]) -> list[st.SearchStrategy[Sending]]:
    visit, spot = world.returned.key, [world.event.key, world.spot.key]
    sheet = TEXT[: TEXT.find(b"\n", 1500)]
    return [
        upload("measurer", reverse("surveys:upload", args=[visit]), sheet),
        upload("race_committee", reverse("events:upload", args=[world.event.key]), ENTRIES, pasted=""),
        photograph(reverse("surveys:dock_photo", args=[visit])),
        dock_file("measurer", reverse("surveys:dock_send", args=[visit])),
        dock_file("race_committee", reverse("events:spot_send", args=spot)),
        pasted_code(code, world.certificate.number),
        form(forms),
        form(forms),
    ]


__all__ = ["HEADER", "Sending", "sendings"]
