"""The catalogue is complete, consistent with itself, and asks for what a rig's description calls for."""

from computations.catalogue import (
    DIMENSIONS,
    READINGS,
    STATIONS,
    applicable_readings,
    boom_height_alternatives,
    dimension_by_name,
    reading_by_item,
    required_readings,
)
from computations.inputs import INSTRUMENT_KINDS, Mast, Rig


def test_every_reading_is_consistent() -> None:
    assert len({kind.order for kind in READINGS.values()}) == len(READINGS)
    symbols = [kind.symbol for kind in READINGS.values() if kind.symbol]
    assert len(set(symbols)) == len(symbols)
    fed = {kind.label for kind in DIMENSIONS.values()}
    for kind in READINGS.values():
        assert kind.station in STATIONS
        assert set(kind.instrument_kinds) <= set(INSTRUMENT_KINDS)
        assert set(kind.feeds) <= fed
        assert kind.unit == {"length": "mm", "mass": "kg"}[kind.quantity]


def test_symbols_are_those_of_the_trade_and_no_others() -> None:
    readings = {kind.symbol for kind in READINGS.values()} - {""}
    assert readings == {"P", "GO", "MW", "MDL1", "MDT1", "MDL2", "MDT2", "MCG", "J", "SFJ", "TPS", "E", "BD", "SPL"}
    dimensions = {kind.symbol for kind in DIMENSIONS.values()} - {""}
    assert dimensions == (readings - {"GO", "MW"}) | {"FSP", "MWT", "BAS", "IG", "ISP"}


def test_dimensions_that_are_one_reading_name_it() -> None:
    for kind in DIMENSIONS.values():
        if kind.reading:
            assert kind.label in READINGS[kind.reading].feeds


def test_an_item_is_found_by_slug_and_by_symbol_in_any_case() -> None:
    for text, slug in (
        ("J", "foretriangle_base"),
        ("mdl1", "section_fore_aft_lower"),
        (" p ", "luff_between_bands"),
        ("mark_spacing", "mark_spacing"),
        ("Mark_Spacing", "mark_spacing"),
    ):
        kind = reading_by_item(text)
        assert kind is not None
        assert kind.slug == slug
    assert reading_by_item("IG") is None, "a dimension that is no reading"
    assert reading_by_item("") is None
    dimension = dimension_by_name("bas")
    assert dimension is not None
    assert dimension.slug == "boom_above_sheer"


def test_what_the_description_leaves_open_is_accepted_but_not_demanded() -> None:
    slugs = {slug for slug, _, _ in required_readings(Rig())}
    assert {"luff_between_bands", "foretriangle_base", "taper_length", "foot_distance"} <= slugs
    optional = {"scale_reading", "sling_weight", "balance_above_band", "pole_length", "spinnaker_halyard_above_band"}
    assert not slugs & (optional | {"outrigger_reach", "luff_to_sheave", "mast_separation"})
    assert optional <= {slug for slug, _, _ in applicable_readings(Rig())}


def test_what_the_description_names_is_demanded_and_what_it_excludes_is_not_asked() -> None:
    full = Rig(outrigger=True, spinnaker=True, pole=True, bowsprit=True, headsail_foil=True)
    slugs = {slug for slug, _, _ in required_readings(full)}
    assert {"outrigger_reach", "outrigger_mast_width", "spinnaker_halyard_above_band", "pole_length"} <= slugs
    assert {"bowsprit_tack_reach", "foil_fore_aft"} <= slugs
    bare = Rig(spinnaker=False, pole=False, bowsprit=False, headsail_foil=False, masts=(Mast(upper_band=False),))
    slugs = {slug for slug, _, _ in applicable_readings(bare)}
    assert not slugs & {"pole_length", "bowsprit_tack_reach", "foil_fore_aft", "luff_between_bands"}
    assert "luff_to_sheave" in {slug for slug, _, _ in required_readings(bare)}


def test_each_mast_carries_its_own_set_and_the_forward_mast_the_foretriangle() -> None:
    ketch = Rig(rig_type="ketch", masts=(Mast("main"), Mast("mizzen")))
    required = required_readings(ketch)
    assert ("luff_between_bands", "mizzen", "") in required
    assert ("foot_distance", "mizzen", "") in required
    assert ("foretriangle_base", "main", "") in required
    assert ("foretriangle_base", "mizzen", "") not in required
    assert ("mast_separation", "main", "") in required
    schooner = Rig(rig_type="schooner", masts=(Mast("main"), Mast("fore")))
    assert ("foretriangle_base", "fore", "") in required_readings(schooner)
    assert ("foretriangle_base", "main", "") not in required_readings(schooner)


def test_either_method_gives_the_boom_s_height() -> None:
    (main,) = boom_height_alternatives(Rig())
    methods = dict(main.methods)
    assert ("string_to_sheer", "main", "port") in methods["string"]
    assert ("string_to_band", "main", "") in methods["string"]
    assert {key for key in methods["two_mark"] if key[0] == "band_to_sheer"} == {
        ("band_to_sheer", "main", "port"),
        ("band_to_sheer", "main", "starboard"),
    }
