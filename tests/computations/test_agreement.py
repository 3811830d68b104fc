"""E_n between two measurers: by hand, with kits of their own, and with one tape between them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from computations.agreement import Agreement, agreement, between, en_number, shared_instruments
from computations.comparison import compare
from computations.derivation import derive
from computations.inputs import Visit
from computations.results import Change
from tests.computations.visits import full_visit, with_value


def test_worked_by_hand() -> None:
    """15 286.0 (U 3.0) and 15 291.0 (U 4.0): 5 over the root of 9 + 16 is 1, the last that agrees."""
    assert en_number(15286.0, 15291.0, 3.0, 4.0) == 1.0
    assert en_number(15291.0, 15286.0, 3.0, 4.0) == -1.0
    assert en_number(15286.0, 15292.5, 3.0, 4.0) == pytest.approx(1.3)
    assert en_number(100.0, 101.2, 0.0, 2.0) == pytest.approx(0.6)
    for nothing in (0.0, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="at least one"):
            en_number(1.0, 2.0, nothing, nothing)


def of(amount: float, expanded: float | None) -> Agreement:
    en = None if expanded is None else amount / expanded
    now = 15286.0 + amount
    return agreement(Change("P", "luff", "main", "mm", 15286.0, 3.0, now, 4.0, amount, expanded, en, None))


def test_the_difference_s_own_uncertainty_decides() -> None:
    """Independent, 4 mm would be 4/5; half of the variance shared leaves U = 3.5355, and E_n = 1.131."""
    assert of(4.0, 5.0).agrees is True
    shared = of(4.0, 12.5**0.5)
    assert shared.agrees is False
    assert shared.independent_en == pytest.approx(0.8)
    assert of(5.0, 5.0).agrees is True
    assert of(-5.1, 5.0).agrees is False
    assert (of(4.0, None).agrees, of(4.0, None).independent_en) == (None, None)


def own_kit(visit: Visit) -> Visit:
    """The same readings with another office's pieces."""
    marks = {one.identifier: f"X{one.identifier}" for one in visit.instruments}
    return replace(
        visit,
        instruments=tuple(
            replace(one, identifier=marks[one.identifier], calibration=f"X{one.calibration}")
            for one in visit.instruments
        ),
        readings=tuple(replace(one, instrument=marks.get(one.instrument, one.instrument)) for one in visit.readings),
    )


def test_kits_of_their_own_share_nothing_and_the_two_numbers_are_one() -> None:
    first = derive(full_visit(key="first"))
    second = derive(own_kit(with_value(full_visit(key="second"), "luff_between_bands", 15290.0)))
    found = between(first, second, compare(first, second))
    assert found.shared == ()
    assert found.compared == len(found.agreements) > 10
    for one in found.agreements:
        assert one.independent_en == pytest.approx(one.change.en, rel=0.02, abs=1e-12), one.change.slug


def test_one_tape_between_them_is_left_out() -> None:
    first = derive(full_visit(key="first"))
    second = derive(with_value(full_visit(key="second"), "luff_between_bands", 15290.0))
    found = between(first, second, compare(first, second))
    luff = next(one for one in found.agreements if one.change.slug == "luff")
    assert found.shared == ("K-02", "S-01", "T-07")
    assert luff.change.en is not None
    assert luff.independent_en is not None
    assert abs(luff.change.en) > 1.02 * abs(luff.independent_en) > 0.0
    assert found.agreeing <= found.agreeing_if_independent <= found.compared
    assert shared_instruments(first, second) == shared_instruments(second, first)
