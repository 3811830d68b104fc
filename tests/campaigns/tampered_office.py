"""A small office in which there is something of everything that the register's verification answers for."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from office.certificates import actions as certificates
from office.certificates import amending, suspending
from office.complaints import actions as complaints
from office.people import authorisations
from office.people.models import Person
from office.racing import actions as racing
from office.racing import spot_checks, statements
from surveys import actions
from surveys.actions.photos import add_photo, remove_photo
from surveys.models import Visit
from tests.cast import Cast
from tests.surveys.makers import Stage, picture, record_kit, register_boat


def furnish(cast: Cast) -> None:
    kit = record_kit(cast)
    for mark in ("T-03", "C-02"):
        actions.record_maintenance(
            by=cast.administrator,
            instrument=kit[mark],
            done_on=dt.date(2026, 1, 5),
            what="Cleaned.",
            done_by="The yard",
        )
    granted = authorisations.grant(
        by=cast.administrator, person=cast.measurer, methods=["tape", "string"], since=dt.date(2023, 1, 2),
        until=dt.date(2026, 12, 31), grounds="witnessed", evidence="The visit to Quiet Margin.",
    )  # fmt: skip
    authorisations.withdraw(
        by=cast.administrator, authorisation=granted[1], withdrawn_from=dt.date(2025, 1, 2), reason="Never used."
    )
    boats = [register_boat(cast, name, f"SKE {number}") for number, name in enumerate(NAMES, 301)]
    stages = [Stage(cast, boat, kit) for boat in boats]
    _certified(cast, stages[0])
    _suspended(cast, stages[1])
    _drafted(cast, stages[2])
    _signed_with_photographs(cast, stages[3])
    _returned(cast, stages[4])
    _event(cast, stages[5])
    _complained(cast, stages[0])


NAMES = ("Quiet Margin", "Second Wind", "Third Reef", "Slack Water", "Lee Shore", "Neap Tide")


def _complained(cast: Cast, stage: Stage) -> None:
    """Of a certificate withdrawn since, decided; and one that nobody has looked at."""
    today, by = timezone.localdate(), cast.administrator
    certificate = stage.boat.certificates.get(ending="withdrawn")
    one = complaints.send(by=cast.owner, boat=stage.boat, text="The name is misspelt.", certificate=certificate)
    complaints.acknowledge(by=cast.reviewer, complaint=one, acknowledged_on=today)
    complaints.assign(by=cast.reviewer, complaint=one, investigator=by)
    complaints.note(by=by, complaint=one, text="Rang up.")
    complaints.note_consequence(by=by, complaint=one, certificate=certificate)
    complaints.decide(by=by, complaint=one, findings="It was.", outcome="justified", measures="Read twice.")
    complaints.receive(
        by=by, kind="complaint", received_on=today, text="Nobody came.", name="Wendel Carrick", contact="the next berth"
    )


def _certified(cast: Cast, stage: Stage) -> None:
    """Issued, corrected, amended and withdrawn."""
    visit = stage.visit("accepted")
    first = certificates.issue(by=cast.certifier, visit=visit)
    second = certificates.issue(by=cast.certifier, visit=visit, replacing=first.number, reason="Misspelt.")
    amending.amend(by=cast.certifier, certificate=second, text="For “Skaw” read “Skau”.", reason="Misspelt.")
    certificates.withdraw(by=cast.certifier, certificate=second, on=timezone.localdate(), reason="Sold abroad.")


def _suspended(cast: Cast, stage: Stage) -> None:
    today = timezone.localdate()
    one = certificates.issue(by=cast.certifier, visit=stage.visit("accepted"))
    suspending.suspend(by=cast.certifier, certificate=one, since=today, reason="A new mast was seen.")
    later = today + dt.timedelta(days=3)
    suspending.reinstate(by=cast.certifier, certificate=one, on=later, reason="It was the old one.")
    suspending.suspend(by=cast.certifier, certificate=one, since=later, reason="It was not.")


def _drafted(cast: Cast, stage: Stage) -> None:
    """Never signed: readings of a log sheet and single ones, amended, taken away and undone."""
    visit = stage.visit("draft")
    stage.fill(visit)
    _single(cast.measurer, visit)


def _single(by: Person, visit: Visit) -> None:
    first, second, third = visit.readings.filter(replaced_by__isnull=True, withdrawn=False).order_by("pk")[:3]
    tool = first.instrument
    actions.amend_reading(
        by=by, reading=first, text=f"{(first.value or 0) + 1:.0f}", unit="mm", instrument=tool, reason="R."
    )
    actions.withdraw_reading(by=by, reading=second, reason="The tape had slipped.")
    if visit.signed_at is None:
        last = actions.amend_reading(
            by=by, reading=third, text=f"{(third.value or 0) + 2:.0f}", unit="mm", instrument=tool
        )
        actions.undo_reading(by=by, visit=visit, reading=last)


def _signed_with_photographs(cast: Cast, stage: Stage) -> None:
    visit = stage.visit("draft")
    stage.fill(visit)
    for remark in ("The lower band", "The wrong boat"):
        file = picture()
        kept = add_photo(by=cast.measurer, visit=visit, file=file, size=len(file.getvalue()), remark=remark)
    remove_photo(by=cast.measurer, photo=kept, reason="Another boat.")
    stage.sign(visit)


def _returned(cast: Cast, stage: Stage) -> None:
    """Two rounds: signed, returned, amended, signed and accepted; readings of the first round were replaced."""
    visit = stage.visit("returned")
    actions.answer_query(by=cast.measurer, query=visit.queries.get(), answer="It is.")
    _single(cast.measurer, visit)
    visit.refresh_from_db()
    second = visit.readings.filter(withdrawn=True).get().replaces
    assert second is not None
    actions.record_reading(
        by=cast.measurer, visit=visit, slug=second.slug, mast=second.mast, position=second.position, take=second.take,
        text=second.written, unit=second.unit_written, instrument=second.instrument,
    )  # fmt: skip
    stage.sign(visit)
    actions.begin_review(by=cast.reviewer, visit=visit)
    actions.accept_visit(by=cast.reviewer, visit=visit, edition=visit.edition, reason="As answered.")


def _event(cast: Cast, stage: Stage) -> None:
    """A spot check that is finished, one that is not, a statement that is settled and one that is open."""
    certificates.issue(by=cast.certifier, visit=stage.visit("accepted"))
    by, today = cast.race_committee, timezone.localdate()
    event = racing.make_event(by=by, name="Week", first_day=today, last_day=today, rules_edition="2025_2028")
    for turn in range(2):
        spot = spot_checks.begin(by=by, event=event, boat=stage.boat, items=[("luff", "main")], day=today)
        spot_checks.describe_instrument(by=by, spot=spot, identifier=f"X-{turn}", kind="steel_tape")
        reading = spot_checks.record_reading(
            by=by, spot=spot, slug="luff_between_bands", mast="main", text="12345", instrument="T-03"
        )
        spot_checks.replace_reading(by=by, reading=reading, text="12346", reason="Misread.")
        if turn == 0:
            spot_checks.finish(by=by, spot=spot, remark="In the rain.")
    signed_at = timezone.now() - dt.timedelta(hours=1)
    made = [
        statements.record_statement(
            by=by, event=event, sail_number=f"SKE {number}", name="Heron", signatory="Petra Skau", signed_at=signed_at
        )
        for number in (3, 4)
    ]
    statements.settle_by_hand(by=by, statement=made[0], reason="It was shown.")
