"""Is everything there that the rig's description calls for, and nothing that it rules out?"""

from __future__ import annotations

from collections.abc import Iterator

from computations.catalogue import (
    READINGS,
    ReadingKey,
    boom_height_alternatives,
    required_readings,
)
from computations.checking.case import Case, finding, refs
from computations.inputs import PREPARATION_ITEMS, Reading
from computations.layout import usable
from computations.results import CheckResult

METHOD_NAMES = {"string": "the string method", "two_mark": "the two-mark method"}


def completeness(case: Case) -> Iterator[CheckResult]:
    yield from _circumstances(case)
    yield from _required(case)
    yield from _boom_heights(case)
    yield from _weighing(case)
    yield from _taken_wrongly(case)
    yield from _unexpected(case)
    yield from _preparation(case)


def _circumstances(case: Case) -> Iterator[CheckResult]:
    visit = case.visit
    if visit.date is None:
        yield finding("date_missing", "stop", "The day of the visit is missing.")
    if not visit.place.strip():
        yield finding("place_missing", "stop", "The place of the visit is missing.")
    if case.derivation.used.air_temperature_c is None:
        yield finding(
            "temperature_missing",
            "stop",
            "The air temperature is missing, so no tape can be brought to its reference temperature.",
            advice="Read a thermometer in the shade beside the mast.",
        )


def _required(case: Case) -> Iterator[CheckResult]:
    absent = {(one.slug, one.mast, one.position): one for one in case.visit.absent}
    for slug, mast, position in required_readings(case.visit.rig):
        kind = READINGS[slug]
        if kind.named_position:
            present = any(key[:2] == (slug, mast) for key in case.groups)
        else:
            present = (slug, mast, position) in case.groups
        # A rig without an upper band mentioned may still have been read to its sheave, which gives the same luff.
        if not present and slug == "luff_between_bands" and ("luff_to_sheave", mast, "") in case.groups:
            continue
        key = (slug, mast, position)
        if not present and key in absent:
            yield _not_on_rig(case, key, absent[key].reason)
        elif not present:
            yield finding("reading_missing", "stop", f"Not read: {case.naming(refs(key))}.", [key], advice=kind.how)


def _not_on_rig(case: Case, key: ReadingKey, reason: str) -> CheckResult:
    """Not demanded any more, but somebody else must look: the rig's description calls for it."""
    message = f"Not on this rig, says the measurer: {case.naming(refs(key))} ({reason.rstrip('.')})."
    described = READINGS[key[0]].decided_by_description
    advice = "The rig's description has it: let the office describe the rig anew." if described else ""
    return finding("reading_not_on_rig", "ask", message, [key], advice=advice)


def _weighing(case: Case) -> Iterator[CheckResult]:
    for mast in case.visit.rig.masts:
        pair = [("scale_reading", mast.name, ""), ("sling_weight", mast.name, "")]
        missing = [key for key in pair if key not in case.groups]
        if len(missing) == 1:
            message = f"The mast was weighed, but not read: {case.naming(refs(*missing))}."
            yield finding("weighing_half_read", "ask", message, missing)


def _boom_heights(case: Case) -> Iterator[CheckResult]:
    for alternatives in boom_height_alternatives(case.visit.rig):
        missing = {method: [key for key in keys if key not in case.groups] for method, keys in alternatives.methods}
        begun = [method for method, keys in alternatives.methods if len(missing[method]) < len(keys)]
        if all(missing.values()):
            nearest = min(begun or ["string"], key=lambda method: len(missing[method]))
            yield finding(
                "boom_height_missing",
                "stop",
                "The boom's height above the sheer is not complete by either method. Nearest is "
                f"{METHOD_NAMES[nearest]}: still to be read: {case.naming(refs(*missing[nearest]))}.",
                missing[nearest],
                mast=alternatives.mast,
            )
        else:
            for method in begun:
                if missing[method]:
                    yield finding(
                        "boom_height_half_read",
                        "ask",
                        f"{METHOD_NAMES[method].capitalize()} was begun but is not complete: "
                        f"not read: {case.naming(refs(*missing[method]))}.",
                        missing[method],
                        mast=alternatives.mast,
                    )


def _taken_wrongly(case: Case) -> Iterator[CheckResult]:
    unusable = [one for one in case.visit.readings if one not in usable(case.visit.readings)]
    for one in unusable:
        yield finding("not_a_number", "stop", f"{_name(one)} is no usable number; it counts as missing.", [one.key[:3]])
    for one in case.strays:
        if one.slug not in READINGS:
            message = f"There is no reading called {one.slug}."
        elif case.visit.rig.mast(one.mast) is None:
            message = f"{_name(one)} was read on the {one.mast} mast, which this rig does not have."
        elif READINGS[one.slug].sides:
            message = f"{_name(one)} needs its side, port or starboard."
        else:
            message = f"{_name(one)} belongs to the boat's forward mast, not to the {one.mast} mast."
        yield finding("reading_misplaced", "stop", f"{message} It is not used.", [one.key[:3]])
    for key, takes in case.groups.items():
        if len({take.take for take in takes}) < len(takes):
            name = case.naming(refs(key))
            yield finding("take_twice", "stop", f"{name}: two readings bear the same take number.", [key])
        yield from _sign(case, key, takes)


def _sign(case: Case, key: ReadingKey, takes: list[Reading]) -> Iterator[CheckResult]:
    kind = READINGS[key[0]]
    if kind.may_be_negative:
        return
    least = min(take.value for take in takes)
    may_be_zero = key[0] in {"taper_length", "sling_weight"}
    if least < 0 or (least == 0 and not may_be_zero):
        what = "is negative" if least < 0 else "is zero"
        yield finding("not_positive", "stop", f"{case.naming(refs(key))} {what}, which it cannot be.", [key])


def _unexpected(case: Case) -> Iterator[CheckResult]:
    rig = case.visit.rig
    for key in case.groups:
        mast = rig.mast(key[1])
        if mast is not None and not READINGS[key[0]].applies(rig, mast):
            yield finding(
                "not_in_description",
                "ask",
                f"{case.naming(refs(key))} was read, though the rig's description has no such thing.",
                [key],
                advice="Correct the description or take the reading out.",
            )


def _preparation(case: Case) -> Iterator[CheckResult]:
    for mast in case.visit.rig.masts:
        ashore = [key for key in case.groups if key[1] == mast.name and READINGS[key[0]].station == "ashore"]
        if not ashore or mast.state == "stepped":
            continue
        answers = {one.item: one for one in case.visit.preparation if one.mast == mast.name}
        unanswered = [item for item in PREPARATION_ITEMS if item not in answers]
        if unanswered:
            listed = "; ".join(PREPARATION_ITEMS[item] for item in unanswered)
            yield finding(
                "preparation_unanswered", "note", f"Preparation of the mast not answered: {listed}.", mast=mast.name
            )
        for item, one in answers.items():
            if one.answer == "no" and item in PREPARATION_ITEMS:
                remark = f" ({one.remark})" if one.remark else ""
                yield finding(
                    "preparation_not_done",
                    "ask",
                    f"Preparation of the mast answered with no: {PREPARATION_ITEMS[item]}{remark}.",
                    mast=mast.name,
                    about=item,
                )


def _name(reading: Reading) -> str:
    kind = READINGS.get(reading.slug)
    return ", ".join(piece for piece in (kind.name if kind else reading.slug, reading.position) if piece)
