"""What the measurer answers for: settling stop checks with a reason, and the signature."""

from __future__ import annotations

from django.conf import settings
from django.core import signing
from django.db import IntegrityError, transaction
from django.utils import timezone

from computations.catalogue import BOOM_HEIGHT_METHODS
from office.audit.digest import row_sha256
from office.audit.refusals import NotAllowed, WrongState
from office.people.models import Person
from surveys import rules
from surveys.actions.changes import finish, lock, move
from surveys.actions.reasons import given_reason
from surveys.content import canonical_content, sha256
from surveys.figures import Figures, chooses_method, derive_visit
from surveys.models import Settlement, SignOff, Visit
from surveys.queries import open_conflicts, unanswered
from surveys.values import Unreadable

NOTE = "signing a visit"


class WrongPassword(NotAllowed):
    """The password typed again is not the measurer's."""


@transaction.atomic
def settle_check(*, by: Person, visit: Visit, check_key: str, reason: str, choice: str = "") -> Settlement:
    """Say in writing why a stop check may stand; `choice` names the method taken for the boom's height."""
    lock(visit)
    rules.check_state(visit, "settle")
    rules.check_may_measure(by, visit)
    found = next((one for one in derive_visit(visit).checks if one.key == check_key and one.grade == "stop"), None)
    if found is None:
        raise WrongState("This check does not stand any more; look at the checks as they are now.")
    if chooses_method(found) and choice not in BOOM_HEIGHT_METHODS:
        raise Unreadable("Method", choice, "the method that is taken: " + " or ".join(BOOM_HEIGHT_METHODS), "choice")
    if choice and not chooses_method(found):
        raise Unreadable("Method", choice, "no method: this check is settled by its reason alone", "choice")
    reason = given_reason(reason)
    latest = visit.settlements.filter(check_key=check_key).order_by("pk").last()
    if latest is not None and (latest.choice, latest.reason) == (choice, reason):
        raise WrongState("This check has been settled with these words already.")
    settlement = Settlement(
        visit=visit,
        check_key=check_key,
        choice=choice,
        reason=reason,
        settled_by=by,
        settled_at=timezone.now(),
    )
    settlement.save(force_insert=True)
    finish(
        visit,
        by=by,
        verb="settle_check",
        after={"check": check_key, "message": found.message, **({"choice": choice} if choice else {})},
        reason=settlement.reason,
    )
    return settlement


def missing_for_signature(visit: Visit, figures: Figures) -> list[str]:
    """What still stands between the visit and its signature, one sentence each."""
    missing = [f"Stop: {one.message}" for one in figures.unsettled_stops]
    if not figures.inputs.readings:
        missing.append("There is no reading yet.")
    waiting = unanswered(visit).count()
    if waiting:
        missing.append(
            "A query of the reviewer still waits for its answer."
            if waiting == 1
            else f"{waiting} queries of the reviewer still wait for their answers."
        )
    if conflicts := len(open_conflicts(visit)):
        missing.append(
            "Two devices say two things of one take; choose which counts."
            if conflicts == 1
            else f"Two devices say two things of {conflicts} takes; choose which count."
        )
    return missing


def note_of_password(*, by: Person, visit: Visit, edition: int, password: str) -> str:
    """A note that stands for the right password, for this visit as it is and some minutes: WrongPassword without it.

    It lets the signature wait for the second factor without the password lying in the session meanwhile.
    """
    if not by.check_password(password):
        raise WrongPassword("The password is not right; nothing has been signed.")
    return signing.dumps(_noted(by, visit, edition), salt=NOTE)


def _noted(by: Person, visit: Visit, edition: int) -> list[object]:
    return [by.key, visit.key, edition, by.get_session_auth_hash()[:16]]


def _is_good(note: str, by: Person, visit: Visit, edition: int) -> bool:
    try:
        noted = signing.loads(note, salt=NOTE, max_age=settings.CONFIRM_WITHIN)
    except signing.BadSignature:
        return False
    return bool(noted == _noted(by, visit, edition))


@transaction.atomic
def sign_visit(*, by: Person, visit: Visit, edition: int, password: str, note: str = "") -> SignOff:
    """The measurer's signature under everything the visit holds; the password is typed again for it.

    `note` is that of a password that was typed a moment ago, before the second factor was asked for.
    """
    lock(visit)
    rules.check_state(visit, "sign")
    rules.check_may_sign(by, visit)
    rules.check_edition(visit, edition)
    if not (by.check_password(password) or (note and _is_good(note, by, visit, edition))):
        raise WrongPassword("The password is not right; nothing has been signed.")
    if missing := missing_for_signature(visit, derive_visit(visit)):
        raise WrongState("Not ready to be signed. " + " ".join(missing))
    signed = SignOff(visit=visit, round=visit.sign_offs.filter(meaning="measured").count() + 1, signed_by=by)
    visit.signed_at = signed.signed_at = timezone.now()
    # From here on the content is read as it will be read later: by what was on record at this moment.
    move(visit, "sign", by=by, verb="sign_visit", fields=("signed_at",), after=_bind(visit, signed))
    return signed


def _bind(visit: Visit, signed: SignOff) -> dict[str, str]:
    visit.state, left = "signed", visit.state
    try:
        signed.content = canonical_content(visit)
    finally:
        visit.state = left
    signed.content_sha256 = sha256(signed.content)
    try:
        signed.save(force_insert=True)
    except IntegrityError:
        raise WrongState("This visit has been signed already.") from None
    return {
        "round": str(signed.round), "content_sha256": signed.content_sha256, "row_sha256": row_sha256(signed)
    }  # fmt: skip
