"""The next reading: what is promised is what comes of it when the reading is taken and all is derived again."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from computations.catalogue import DIMENSIONS, SIDES
from computations.derivation import Derivation, derive
from computations.foreseen import Foreseen
from computations.inputs import Reading, Visit
from computations.next_reading import next_readings
from tests.computations.visits import full_visit, ketch, without

STRING = ("string_to_sheer", "string_to_band")
TWO_MARKS = ("mark_spacing", "band_to_sheer", "mark_to_sheer")
LIMITS = dict.fromkeys(DIMENSIONS, 5.0)


def agreeing_visit() -> Visit:
    """The two ways to the boom's height give nearly the same, so that the adopted one is their combination."""
    visit = full_visit()
    assert derive(visit).get("BAS").value is not None
    return visit


def once_more(visit: Visit, *slugs: str, position: str | None = None) -> Visit:
    """One take more of each reading, falling on the mean of those there are."""
    extra = []
    for key in {(one.slug, one.mast, one.position) for one in visit.readings}:
        takes = [one for one in visit.readings if (one.slug, one.mast, one.position) == key]
        if key[0] in slugs and position in (None, key[2]):
            mean = sum(one.value for one in takes) / len(takes)
            extra.append(replace(takes[0], value=mean, take=len(takes) + 1))
    return replace(visit, readings=(*visit.readings, *extra))


def with_two_marks(visit: Visit, spacing: float, foreseen: Foreseen) -> Visit:
    """Second mark anew, as it would be read; the slants from the band as they are, or as they would be."""
    factor = 1.0 + 11.5e-6 * (8.0 - 20.0)
    readings = [one for one in visit.readings if one.slug not in ("mark_spacing", "mark_to_sheer")]
    readings.append(Reading("mark_spacing", spacing / factor, instrument="T-07"))
    for side in SIDES:
        depth, out = foreseen._sheer("main", side)
        readings.append(Reading("mark_to_sheer", math.hypot(out, depth - spacing) / factor, "main", side, 1, "T-07"))
        if not any(one.slug == "band_to_sheer" and one.position == side for one in visit.readings):
            readings.append(Reading("band_to_sheer", math.hypot(out, depth) / factor, "main", side, 1, "T-07"))
    return replace(visit, readings=tuple(readings))


def with_string(visit: Visit) -> Visit:
    factor = 1.0 + 11.5e-6 * (8.0 - 20.0)
    height = derive(visit).get("BAS").value or 0.0
    readings = [Reading("string_to_band", 100.0 / factor, instrument="T-07")]
    readings += [Reading("string_to_sheer", (height - 100.0) / factor, "main", side, 1, "T-07") for side in SIDES]
    return replace(visit, readings=(*visit.readings, *readings))


def agree(found: dict[str, float], answers: dict[str, float]) -> None:
    """Heights exactly; what multiplies them only as far as the height itself, combined anew, stays where it was."""
    for name, answer in answers.items():
        assert found[name] == pytest.approx(answer, rel=1e-6 if name in ("BAS", "IG", "ISP", "J") else 1e-4), name


def at(derivation: Derivation, name: str) -> int:
    position = derivation.find(name)
    assert position is not None
    return position


def u_of(visit: Visit, name: str) -> float:
    expanded = derive(visit).get(name).expanded_uncertainty
    assert expanded is not None
    return float(expanded)


def promised(
    visit: Visit, effects, names=("BAS", "IG", "ISP", "forestay_length", "foretriangle_area", "mast_weight_moment")
):
    derivation = derive(visit)
    foreseen = Foreseen(derivation)
    return {name: foreseen.expanded(at(derivation, name), effects(foreseen)) for name in names}


def reached(visit: Visit, names):
    derivation = derive(visit)
    return {name: derivation.get(name).expanded_uncertainty for name in names}


@pytest.mark.parametrize("takes", [1, 2, 3, 5])
def test_nothing_more_gives_what_there_is(takes):
    visit = full_visit(takes)
    derivation = derive(visit)
    foreseen = Foreseen(derivation)
    for position, one in enumerate(derivation.dimensions):
        if one.expanded_uncertainty:
            assert foreseen.expanded(position, foreseen.present) == pytest.approx(one.expanded_uncertainty, rel=1e-9)


def test_nothing_more_on_two_masts():
    derivation = derive(ketch())
    foreseen = Foreseen(derivation)
    for position, one in enumerate(derivation.dimensions):
        if one.expanded_uncertainty:
            assert foreseen.expanded(position, foreseen.present) == pytest.approx(one.expanded_uncertainty, rel=1e-9)


@pytest.mark.parametrize(
    "slugs", [("mark_to_sheer",), STRING, TWO_MARKS, ("forestay_above_band",), ("luff_between_bands",)]
)
def test_a_second_take_gives_what_was_promised(slugs):
    visit = agreeing_visit()
    answers = promised(visit, lambda f: f.with_takes([key for key in f.keys if key[0] in slugs]))
    agree(reached(once_more(visit, *slugs), answers), answers)


def test_a_fourth_take_gives_what_was_promised_where_it_scatters_alike():
    """The fourth take lies so that the spread stays: the promise is for the scatter there is."""
    visit = without(full_visit(), *TWO_MARKS)
    base = visit.readings[0]
    takes = [
        replace(base, slug="foretriangle_base", value=4483.0 + d, take=n) for n, d in enumerate((-3.0, 0.0, 3.0), 1)
    ]
    rest = [one for one in visit.readings if one.slug != "foretriangle_base"]
    three = replace(visit, readings=(*rest, *takes))
    # s2 of (-3, 0, 3) is 9; a fourth at x keeps it at 9 where 18 + 3/4 x2 = 27.
    four = replace(three, readings=(*three.readings, replace(takes[0], value=4483.0 + math.sqrt(12.0), take=4)))
    answers = promised(three, lambda f: f.with_takes([("foretriangle_base", "main", "")]), ("J",))
    agree(reached(four, answers), answers)


def test_a_third_take_gives_what_was_promised_where_it_scatters_as_its_sources_say():
    visit = without(full_visit(2), *TWO_MARKS)
    per_take = 2 * 0.25 / 3.0
    spread = math.sqrt(per_take)  # the three at -spread, 0, +spread have just this variance
    takes = [
        Reading("foretriangle_base", 4483.0 + d, "main", "", n, "T-07") for n, d in enumerate((-spread, 0.0, spread), 1)
    ]
    rest = tuple(one for one in visit.readings if one.slug != "foretriangle_base")
    answers = promised(
        replace(visit, readings=(*rest, *takes[:2])),
        lambda f: f.with_takes([("foretriangle_base", "main", "")]),
        ("J",),
    )
    agree(reached(replace(visit, readings=(*rest, *takes)), answers), answers)


@pytest.mark.parametrize("spacing", [900.0, 1200.0])
@pytest.mark.parametrize("also_by_string", [True, False])
def test_a_longer_spacing_gives_what_was_promised(spacing, also_by_string):
    visit = agreeing_visit() if also_by_string else without(full_visit(), *STRING)
    answers = promised(visit, lambda f: f.with_two_marks("main", spacing))
    agree(reached(with_two_marks(visit, spacing, Foreseen(derive(visit))), answers), answers)
    assert answers["BAS"] < u_of(visit, "BAS")


def test_the_string_as_well_gives_what_was_promised():
    visit = without(full_visit(), *STRING)
    answers = promised(visit, lambda f: f.with_string("main"))
    agree(reached(with_string(visit), answers), answers)


def test_two_marks_as_well_gives_what_was_promised():
    visit = without(full_visit(), *TWO_MARKS)
    answers = promised(visit, lambda f: f.with_two_marks("main", 1000.0))
    agree(reached(with_two_marks(visit, 1000.0, Foreseen(derive(visit))), answers), answers)


def test_by_two_marks_alone_the_longest_spacing_and_the_string_are_named():
    visit = without(full_visit(), *STRING)
    found = next_readings(derive(visit), {"boom_above_sheer": 5.0, "forestay_height": 5.0})
    assert found is not None
    options = {one.kind: one for one in found.options}
    assert options["longer_spacing"].spacing_mm == 1200.0  # the next hundred would lie below the deck
    assert {ref.reading for ref in options["other_method"].readings} == set(STRING)
    assert "1\u202f200\u202fmm below the band" in options["longer_spacing"].sentence
    now = found.dimension.expanded_uncertainty or 0.0
    assert all(one.expanded < now for one in found.options)


def test_the_options_come_best_first_and_the_best_is_the_best_of_all():
    visit = agreeing_visit()
    derivation = derive(visit)
    found = next_readings(derivation, LIMITS)
    assert found is not None
    assert [one.expanded for one in found.options] == sorted(one.expanded for one in found.options)
    foreseen = Foreseen(derivation)
    position = at(derivation, found.dimension.slug)
    singles = [foreseen.expanded(position, foreseen.with_takes([key])) for key in foreseen.keys]
    assert found.options[0].expanded <= min(one or 0.0 for one in singles) + 1e-9


def test_the_weakest_is_measured_against_what_matters():
    """The luff is read to a millimetre or two; where half a millimetre matters it is the weakest all the same."""
    derivation = derive(agreeing_visit())
    assert next_readings(derivation, {"luff": 50.0, "boom_above_sheer": 5.0}).weakest.slug == "boom_above_sheer"
    assert next_readings(derivation, {"luff": 0.05, "boom_above_sheer": 5.0}).weakest.slug == "luff"


def test_where_no_reading_helps_the_weakest_the_next_one_is_taken():
    """The balance point's 10 mm do not shrink with a further take of the tape."""
    found = next_readings(
        derive(agreeing_visit()), {"balance_height": 1.0, "luff_foot_ratio": 1.0, "boom_above_sheer": 50.0}
    )
    assert found.weakest.slug == "balance_height"
    assert found.dimension.slug == "boom_above_sheer"
    assert "no further reading makes surer" in found.sentence


def test_nothing_to_say_without_limits_or_figures():
    assert next_readings(derive(full_visit()), {}) is None
    assert next_readings(derive(Visit()), LIMITS) is None


def test_methods_that_disagree_keep_the_chosen_one():
    """A height chosen with a reason is not combined with the other by reading more."""
    visit = full_visit()
    apart = replace(
        visit,
        readings=tuple(
            replace(one, value=one.value + 60.0) if one.slug == "string_to_band" else one for one in visit.readings
        ),
        bas_choice={"main": "two_mark"},
    )
    derivation = derive(apart)
    found = next_readings(derivation, {"boom_above_sheer": 5.0})
    if found is not None:
        assert all(one.kind in ("repeat", "repeat_method") for one in found.options)
    foreseen = Foreseen(derivation)
    position = at(derivation, "BAS")
    more = foreseen.expanded(position, foreseen.with_takes([("mark_to_sheer", "main", "port")]))
    again = once_more(apart, "mark_to_sheer", position="port")
    assert more == pytest.approx(derive(again).get("BAS").expanded_uncertainty, rel=1e-9)
