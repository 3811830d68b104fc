"""The dock page's pure parts in a browser: figures in words as the office says them, and the merging of what waits."""

from __future__ import annotations

import random

import pytest

from computations import units, words
from office import environment

pytestmark = pytest.mark.django_db(transaction=True)  # the context's live server

STATIC = environment.ROOT / "office" / "static" / "office"
LUFF = {
    "key": "luff-main-one", "slug": "luff", "mast": "main", "position": "", "open_position": False, "required": True,
    "absent": None, "takes": [{"token": "a", "take": 1, "text": "15286", "unit": "mm"}],
}  # fmt: skip
HALYARD = {**LUFF, "key": "halyard-main-new", "slug": "halyard", "open_position": True, "takes": []}
TYPED = {
    "by": "p",
    "byName": "P",
    "status": "waiting",
    "row": "luff-main-one",
    "unit": "mm",
    "take": 2,
    "text": "15288",
}


@pytest.fixture
def parts(page):
    page.set_content("<!doctype html><html lang='en'><head><title>Parts</title></head><body></body></html>")
    for name in ("words", "merge"):
        page.add_script_tag(path=str(STATIC / f"dock-{name}.js"))
    return page


def merged(page, *entries, rows=(LUFF, HALYARD)):
    state = {"rows": list(rows), "conflicts": []}
    call = "([state, entries]) => Dock.merge(state, entries).rows.map(row => ({...row, state: Dock.stateOf(row)}))"
    return {one["key"]: one for one in page.evaluate(call, [state, list(entries)])}


def test_figures_are_read_back_as_the_office_says_them(parts):
    dice = random.Random(4)
    figures = [0, 7, 20, 21, 100, 101, 110, 999, 1000, 1001, 10_000, 15_286, 100_000, 999_999]
    figures += [dice.randrange(10 ** dice.randint(1, 6)) for _ in range(60)]
    figures = [one for one in figures if one != 1]
    said = parts.evaluate("figures => figures.map(one => Dock.inWords(String(one)))", figures)
    assert [f"{one} millimetres" for one in said] == [words.with_unit(float(one), "mm", 0) for one in figures]
    assert parts.evaluate("Dock.inWords('-142,5')") == "minus one hundred and forty-two point five"
    for nonsense in ("", "12 345", "1.2.3", "15e3", "x"):
        assert parts.evaluate("text => Dock.inWords(text)", nonsense) == ""


def test_feet_and_inches_are_written_as_the_office_reads_them(parts):
    dice = random.Random(5)
    for _ in range(40):
        typed = [dice.randint(0, 60), dice.randint(0, 11), dice.randint(0, 15)]
        text, mm = parts.evaluate(
            "typed => { const [feet, inches, sixteenths] = typed.map(String); const one = {feet, inches, sixteenths};"
            " return [Dock.feetText(one), Dock.feetInMillimetres(one)]; }",
            typed,
        )
        assert float(units.parse_length(text, "mm")) == pytest.approx(mm, abs=1e-9), text


def test_what_waits_lies_on_top_of_what_the_office_said(parts):
    row = merged(parts, {**TYPED, "token": "b", "kind": "take"})["luff-main-one"]
    assert [one["text"] for one in row["takes"]] == ["15286", "15288"]
    assert row["state"] == "waits"
    amended = merged(parts, {**TYPED, "token": "b", "kind": "amend", "replaces": "a"})["luff-main-one"]
    assert [(one["take"], one["text"]) for one in amended["takes"]] == [(1, "15288")]
    away = merged(parts, {**TYPED, "token": "b", "kind": "take_away", "replaces": "a"})["luff-main-one"]
    assert away["takes"] == []


def test_what_the_office_has_already_is_not_shown_twice(parts):
    row = merged(parts, {**TYPED, "token": "a", "kind": "take"})["luff-main-one"]
    assert [one["text"] for one in row["takes"]] == ["15286"]
    assert row["state"] == "read"


def test_a_refused_entry_changes_nothing_but_is_counted(parts):
    row = merged(parts, {**TYPED, "token": "b", "kind": "take", "status": "refused"})["luff-main-one"]
    assert len(row["takes"]) == 1
    assert row["state"] == "refused"


def test_a_halyard_that_waits_has_a_row_of_its_own(parts):
    typed = {**TYPED, "row": "halyard-main-new", "position": "masthead", "kind": "take"}
    rows = merged(parts, {**typed, "token": "b", "take": 1}, {**typed, "token": "c", "take": 2})
    named = rows["halyard-main-new:masthead"]
    assert [one["take"] for one in named["takes"]] == [1, 2]
    assert rows["halyard-main-new"]["takes"] == []
    assert list(rows) == ["luff-main-one", "halyard-main-new:masthead", "halyard-main-new"]
