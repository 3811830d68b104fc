"""The day's conditions and the mast's preparation, as the measurer states them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db import transaction

from computations.inputs import ANSWERS, INTERESTS, PREPARATION_ITEMS
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import finish, lock, text_of
from surveys.logsheet.fields import LONGEST_REMARK, MAST_STATES, VISIT_FIELDS
from surveys.models import PreparationAnswer, Visit
from surveys.values import Unreadable, check_date, check_temperature, seen

FIELDS = ("date", "place", "air_temperature_c", "interest", "band_contrast", "mast_state", "remark")


@transaction.atomic
def set_conditions(*, by: Person, visit: Visit, edition: int, **fields: Any) -> Visit:
    """Store the named conditions; the trail shows what they were and what they are.

    date, place, air_temperature_c, interest, band_contrast (mast -> bool), mast_state (mast -> ashore | stepped),
    remark.
    """
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)
    rules.check_edition(visit, edition)
    changed = check_conditions(visit, fields)
    if not changed:
        return visit
    before = {name: _shown(getattr(visit, name)) for name in changed}
    for name, value in changed.items():
        setattr(visit, name, value)
    return finish(
        visit,
        by=by,
        verb="set_conditions",
        fields=tuple(changed),
        before=before,
        after={name: _shown(value) for name, value in changed.items()},
    )


def check_conditions(visit: Visit, fields: dict[str, Any]) -> dict[str, Any]:
    """Those of the fields that change anything. Raises Unreadable at one that cannot stand."""
    if unknown := sorted(set(fields) - set(FIELDS)):
        raise TypeError(f"not a condition of a visit: {', '.join(unknown)}")
    if (day := fields.get("date")) is not None:
        check_date(day)
    if (celsius := fields.get("air_temperature_c")) is not None:
        check_temperature(celsius)
    if (interest := fields.get("interest", "none")) not in INTERESTS:
        raise Unreadable("Interest", str(interest), ", ".join(INTERESTS), "interest")
    for name, longest in (("place", VISIT_FIELDS["place"].longest), ("remark", 2000)):
        seen(name.capitalize(), str(fields.get(name, "")), longest, name, lines=name == "remark")
    masts = {mast.name for mast in visit.rig.masts.all()} if visit.rig else set()
    for name, allowed in (("band_contrast", (True, False)), ("mast_state", MAST_STATES)):
        for mast, value in fields.get(name, {}).items():
            if mast not in masts or value not in allowed:
                raise Unreadable(name.replace("_", " ").capitalize(), f"{mast}: {value}", "a mast of this rig", name)
    return {name: value for name, value in fields.items() if getattr(visit, name) != value}


def _shown(value: Any) -> Any:
    return value if isinstance(value, dict) else text_of(value)


@transaction.atomic
def answer_preparation(*, by: Person, visit: Visit, answers: Iterable[dict[str, str]]) -> Visit:
    """Answer the preparation's items: each {"mast", "item", "answer", "remark"}. What is the same already is left."""
    lock(visit)
    rules.check_state(visit, "write")
    rules.check_may_measure(by, visit)
    known = {(one.mast, one.item): one for one in visit.preparation.all()}
    before, after = {}, {}
    for given in answers:
        mast, item, answer, remark = _checked_answer(visit, given)
        row = known.get((mast, item)) or PreparationAnswer(visit=visit, mast=mast, item=item)
        if (row.answer, row.remark) == (answer, remark):
            continue
        if row.answer:
            before[f"{mast}/{item}"] = _answer_text(row)
        row.answer, row.remark = answer, remark
        row.save()
        after[f"{mast}/{item}"] = _answer_text(row)
    if not after:
        return visit
    return finish(visit, by=by, verb="answer_preparation", before=before or None, after=after)


def _checked_answer(visit: Visit, given: dict[str, str]) -> tuple[str, str, str, str]:
    mast, item, answer = given.get("mast", "main"), given["item"], given["answer"]
    remark = seen("Remark", given.get("remark", ""), LONGEST_REMARK, "remark")
    masts = [one.name for one in visit.rig.masts.all()] if visit.rig else []
    if mast not in masts:
        raise Unreadable("Mast", mast, "a mast of this rig", "mast")
    if item not in PREPARATION_ITEMS:
        raise Unreadable("Preparation", item, ", ".join(PREPARATION_ITEMS), "item")
    if answer not in ANSWERS:
        raise Unreadable(PREPARATION_ITEMS[item], answer, "yes, no or not applicable", "answer")
    return mast, item, answer, remark


def _answer_text(row: PreparationAnswer) -> str:
    return f"{row.answer} ({row.remark})" if row.remark else row.answer
