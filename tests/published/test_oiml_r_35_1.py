"""OIML R 35-1:2007, clause 4: maximum permissible errors of tapes (from memory; the same figures read in UK SI
2016/1153, Schedule 1I, paragraph 2, and in a supplier's table for 2, 3, 5, 8 and 10 m).
"""

import math
from decimal import Decimal

import pytest

from computations.derivation import derive
from computations.inputs import Assumptions, Instrument, Reading, Visit
from computations.tape import class_limit_mm

PRINTED: dict[int, tuple[str, str, str]] = {  # metres -> classes I, II, III in mm (read)
    2: ("0.3", "0.7", "1.4"),
    3: ("0.4", "0.9", "1.8"),
    5: ("0.6", "1.3", "2.6"),
    8: ("0.9", "1.9", "3.8"),
    10: ("1.1", "2.3", "4.6"),
}
COMPUTED: dict[int, tuple[str, str, str]] = {
    20: ("2.1", "4.3", "8.6"),
    30: ("3.1", "6.3", "12.6"),
    50: ("5.1", "10.3", "20.6"),
}


ALL = PRINTED | COMPUTED


@pytest.mark.parametrize("metres", ALL)
def test_limits_of_error(metres: int) -> None:
    for accuracy_class, printed in zip(("I", "II", "III"), ALL[metres], strict=True):
        assert class_limit_mm(accuracy_class, metres * 1000) == Decimal(printed)


def test_the_length_counts_as_the_next_whole_metre() -> None:
    assert class_limit_mm("II", Decimal(9010)) == class_limit_mm("II", 10_000)
    assert class_limit_mm("II", 9000) == Decimal("2.1")
    assert [class_limit_mm(name, 12_345) for name in ("I", "II", "III")] == [
        Decimal("1.4"),
        Decimal("2.9"),
        Decimal("5.8"),
    ]


@pytest.mark.parametrize(("length", "limit"), [(9010.0, 2.3), (9000.0, 2.1), (12_345.0, 2.9), (8000.5, 2.1)])
def test_the_derivation_uses_the_same_limit(length: float, limit: float) -> None:
    """Only the tape's scale is left uncertain, so that u is the limit over the root of 3."""
    quiet = Assumptions(reading_end_mm=0.0, tape_temperature_k=0.0, band_edge_mm=0.0)
    visit = Visit(
        air_temperature_c=20.0,
        instruments=(Instrument("T-01", accuracy_class="II"),),
        readings=(Reading("luff_between_bands", length, instrument="T-01"),),
    )
    luff = derive(visit, quiet).get("P")
    assert luff is not None
    assert luff.standard_uncertainty == pytest.approx(limit / math.sqrt(3), rel=1e-12)
