"""Changing the policy: a new edition takes the former one's place."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from office.audit import trail
from office.audit.refusals import Refusal, Stale, WrongState
from office.people.models import Person
from office.policy import queries, rules, validation
from office.policy.models import PolicyEdition

# What an edition states; who made it, when and why stand beside.
STATED = tuple(
    field.name
    for field in PolicyEdition._meta.concrete_fields
    if field.name not in {"id", "made_at", "made_by_key", "reason"}
)


def change_policy(*, by: Person, reason: str, edition: int | None = None, **fields: Any) -> PolicyEdition:
    """Makes a new edition that differs from the present one in `fields`; returns it.

    `edition` is the number of the edition the change was made from: when another has come since, Stale is raised.
    Raises NotAllowed, WrongState when nothing would change, validation.Problems when an edition may not say this.
    """
    rules.check_may_change(by)
    reason = reason.strip()
    if not reason:
        raise Refusal("A change of the policy needs a reason.")
    unknown = fields.keys() - set(STATED)
    if unknown:
        raise TypeError(f"an edition states no {', '.join(sorted(unknown))}")
    with transaction.atomic():
        trail.hold()
        former = queries.current()
        if edition is not None and edition != former.pk:
            raise Stale("Somebody changed the policy since you opened this page; look at the new edition first.")
        values = {name: getattr(former, name) for name in STATED} | fields
        validation.check(values)
        changed = [name for name in STATED if values[name] != getattr(former, name)]
        if not changed:
            raise WrongState("Nothing differs from the present edition.")
        made = PolicyEdition.objects.create(**values, made_by_key=by.key, reason=reason)
        trail.record(
            by=by,
            verb="change_policy",
            subject=trail.Subject("policy edition", str(made.pk), f"edition {made.pk}"),
            before={name: getattr(former, name) for name in changed},
            after={name: values[name] for name in changed},
            reason=reason,
        )
    return made
