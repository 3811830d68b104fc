"""What one edition of the policy changed against the one before, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from office.policy.actions import STATED
from office.policy.forms import ASSUMPTION_NAMES, PolicyForm, limit_name
from office.policy.models import Consequence, PolicyEdition, Unauthorised, ValidityRule

ABSENT = "as usual"


@dataclass(frozen=True, slots=True)
class Difference:
    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Change:
    """An edition with what it changed; the first one changed nothing."""

    edition: PolicyEdition
    made_by: str
    differences: tuple[Difference, ...]


def changes(editions: list[PolicyEdition], names: Mapping[str, str]) -> list[Change]:
    """The editions, newest first, each against the next in the list; `names` are people's, by key."""
    olds = [*editions[1:], None]
    return [
        Change(new, names.get(new.made_by_key, ""), tuple(differences(old, new)) if old else ())
        for new, old in zip(editions, olds, strict=True)
    ]


def differences(old: PolicyEdition, new: PolicyEdition) -> Iterable[Difference]:
    for field in STATED:
        before, after = getattr(old, field), getattr(new, field)
        if field == "change_limits":
            yield from _of_entries(before, after, limit_name)
        elif field == "assumptions":
            yield from _of_entries(before, after, ASSUMPTION_NAMES.__getitem__)
        elif before != after:
            yield Difference(_label(field), _shown(before), _shown(after))


def _of_entries(before: dict[str, Any], after: dict[str, Any], name_of: Any) -> Iterable[Difference]:
    for key in sorted(before.keys() | after.keys()):
        if before.get(key) != after.get(key):
            yield Difference(name_of(key), _shown(before.get(key, ABSENT)), _shown(after.get(key, ABSENT)))


def _label(field: str) -> str:
    declared = PolicyForm.base_fields.get(field)
    return str(declared.label) if declared else field.replace("_", " ").capitalize()


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    words = {**dict(ValidityRule.choices), **dict(Consequence.choices), **dict(Unauthorised.choices)}
    return str(words.get(value, value)) or "nothing"
