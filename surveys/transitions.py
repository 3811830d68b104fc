"""What may happen to a visit in which state: one table, from which the rules and the state diagram are made.

`TRANSITIONS` change the state, `DEEDS` leave it as it is. Who may do what beyond the role named here (the visit's
own measurer, nobody who has an interest, never one's own measuring) is in `surveys.rules`.
"""

from __future__ import annotations

from dataclasses import dataclass

from office.people.access import OFFICE
from office.people.models import Role
from surveys.models import VisitState as S


@dataclass(frozen=True, slots=True)
class Transition:
    """One verb. No sources: it makes a new one. No target: the state stays. `can` ends the refusal's sentence."""

    verb: str
    sources: tuple[str, ...]
    target: str
    roles: tuple[str, ...]
    can: str

    @property
    def role(self) -> str:
        """The roles in words, for the diagram."""
        return ", ".join(Role(role).label.lower() for role in self.roles)


OPEN = (S.DRAFT.value, S.RETURNED.value)  # the measurer may still write
PLANNABLE = (S.ASKED_FOR.value, S.PLANNED.value)
FROZEN = (S.SIGNED.value, S.UNDER_REVIEW.value, S.ACCEPTED.value)  # what was signed stays as it was signed
ENDED = (S.ACCEPTED.value, S.CALLED_OFF.value)

_MEASURER = (Role.MEASURER.value,)
_REVIEWER = (Role.REVIEWER.value,)
_OFFICE = tuple(str(role) for role in OFFICE)

TRANSITIONS = (
    Transition("ask", (), S.ASKED_FOR.value, (Role.OWNER.value, *_OFFICE), "be asked for"),
    Transition("plan", PLANNABLE, S.PLANNED.value, _OFFICE, "be planned"),
    Transition("begin", (S.PLANNED.value,), S.DRAFT.value, _MEASURER, "be begun"),
    Transition("sign", OPEN, S.SIGNED.value, _MEASURER, "be signed"),
    Transition("begin_review", (S.SIGNED.value,), S.UNDER_REVIEW.value, _REVIEWER, "be taken up for review"),
    Transition("return_", (S.UNDER_REVIEW.value,), S.RETURNED.value, _REVIEWER, "be returned"),
    Transition("accept", (S.UNDER_REVIEW.value,), S.ACCEPTED.value, _REVIEWER, "be accepted"),
    Transition("call_off", (*PLANNABLE, S.DRAFT.value), S.CALLED_OFF.value, _OFFICE, "be called off"),
)

DEEDS = (
    Transition(
        "grant_exception",
        (*PLANNABLE, *OPEN, S.SIGNED.value, S.UNDER_REVIEW.value),
        "",
        _OFFICE,
        "have an exception granted",
    ),
    Transition("write", OPEN, "", _MEASURER, "be written to"),
    Transition("settle", OPEN, "", _MEASURER, "have its checks settled"),
    Transition("answer_query", (S.RETURNED.value,), "", _MEASURER, "have its queries answered"),
    Transition("ask_query", (S.UNDER_REVIEW.value,), "", _REVIEWER, "be asked about"),
    Transition("settle_query", (S.UNDER_REVIEW.value,), "", _REVIEWER, "have its queries settled"),
)

BY_VERB = {one.verb: one for one in (*TRANSITIONS, *DEEDS)}
