"""What the timeline calls each verb of the trail: the kind it is filtered by, and a sentence.

A verb without a row still appears, in its own words. In a sentence stand {who} (who did it; left out where the reader
may not know), any field of the change by its name (what it became, or else what it was), and {times} where rows of one
day are told together.
"""

from __future__ import annotations

from dataclasses import dataclass

KINDS = {
    "visits": "Visits",
    "readings": "Single readings",
    "certificates": "Certificates",
    "rig": "Rig",
    "particulars": "Particulars",
    "people": "Owners and interests",
    "racing": "Events and spot checks",
}


@dataclass(frozen=True, slots=True)
class Told:
    """`changes`: what changed follows the sentence, from what to what."""

    kind: str
    sentence: str
    changes: bool = False


VERBS = {
    # Particulars
    "register_boat": Told("particulars", "{who} registered her as {name}, {sail_number}"),
    "change_particulars": Told("particulars", "{who} changed her particulars", changes=True),
    "describe_rig": Told("rig", "{who} described the rig: {rig_type}"),
    "follow_rig": Told("visits", "{who} took the boat's new rig over into the visit"),
    # People
    "add_owner": Told("people", "{who} entered {person} as owner since {since}"),
    "end_ownership": Told("people", "{who} ended the ownership of {person}, last day {until}"),
    "invite_to_boat": Told("people", "{who} sent a link to let somebody in: {part}"),
    "cancel_boat_invitation": Told("people", "{who} cancelled a link: {part}"),
    "accept_boat_invitation": Told("people", "{person} accepted a link: {part}, since {since}"),
    "end_access": Told("people", "{who} ended the access of {person}, last day {until}"),
    "declare_interest": Told("people", "{who} declared that {person} has an interest in her: {kind}, since {since}"),
    "end_interest": Told("people", "{who} ended an interest of {person}"),
    # Visits
    "ask_for_visit": Told("visits", "{who} asked for a visit"),
    "plan_visit": Told("visits", "{who} planned the visit for {planned_on}, {harbour}, with {measurer}"),
    "grant_exception": Told("visits", "{who} granted {person} ({interest}) an exception for this visit"),
    "begin_visit": Told("visits", "{who} began the visit"),
    "take_log_sheet": Told("visits", "{who} took in the log sheet {file}"),
    "settle_check": Told("visits", "{who} let a finding stand: {message}"),
    "sign_visit": Told("visits", "{who} signed the visit, round {round}"),
    "begin_review": Told("visits", "{who} began the review"),
    "ask_query": Told("visits", "{who} asked about {reading}: {question}"),
    "answer_query": Told("visits", "{who} answered about {reading}: {answer}"),
    "settle_query": Told("visits", "{who} settled the question about {reading}"),
    "return_visit": Told("visits", "{who} returned the visit to the measurer, questions: {queries}"),
    "accept_visit": Told("visits", "{who} accepted the visit"),
    "call_off_visit": Told("visits", "{who} called the visit off"),
    # Single readings: many a day, told together
    "record_reading": Told("readings", "{who} recorded readings: {times}"),
    "amend_reading": Told("readings", "{who} amended readings: {times}"),
    "withdraw_reading": Told("readings", "{who} took readings away: {times}"),
    "undo_reading": Told("readings", "{who} undid entries: {times}"),
    "mark_absent": Told("readings", "{who} marked readings as not on this rig: {times}"),
    "take_absence_back": Told("readings", "{who} took back marks of what is not on this rig: {times}"),
    "keep_conflict": Told("readings", "Two devices said two things of one take: {times}"),
    "settle_conflict": Told("readings", "{who} chose between two devices: {times}"),
    "add_photo": Told("readings", "{who} added photographs: {times}"),
    "remove_photo": Told("readings", "{who} removed photographs: {times}"),
    "set_conditions": Told("readings", "{who} wrote the visit's conditions: {times}"),
    "answer_preparation": Told("readings", "{who} answered the preparation: {times}"),
    # Certificates
    "issue_certificate": Told("certificates", "{who} issued the certificate {number}"),
    "replace_certificate": Told("certificates", "A newer certificate, {replaced_by}, took the place of this one"),
    "suspend_certificate": Told("certificates", "{who} suspended the certificate from {suspended_from} on"),
    "reinstate_certificate": Told(
        "certificates", "{who} reinstated the certificate: in force again from {in_force_again_from}"
    ),
    "amend_certificate": Told("certificates", "{who} issued the amendment {number}: {text}"),
    "send_reminder": Told("certificates", "{who} reminded an owner that the certificate ends on {ends_on}"),
    "declare_change": Told("certificates", "{who} declared: {kind}, {happened_on}. {text}"),
    "settle_declaration": Told("certificates", "{who} settled what was declared ({kind}): {decision}"),
    "withdraw_certificate": Told("certificates", "{who} withdrew the certificate, in force before {in_force_before}"),
    # Events and spot checks
    "settle_entry": Told("racing", "{who} settled that an entry of an event is her: {entry}"),
    "reopen_entry": Told("racing", "{who} took back that an entry of an event is her: {entry}"),
    "settle_statement": Told("racing", "The signed statement for {entry} is settled: {how} {certificate}"),
    "begin_spot_check": Told("racing", "{who} began a spot check on {day}"),
    "describe_spot_instrument": Told("racing", "{who} described instruments for a spot check: {times}"),
    "record_spot_reading": Told("racing", "{who} took readings for a spot check: {times}"),
    "amend_spot_reading": Told("racing", "{who} amended readings of a spot check: {times}"),
    "take_spot_reading_away": Told("racing", "{who} took readings of a spot check away: {times}"),
    "finish_spot_check": Told("racing", "{who} finished a spot check: {found}"),
}
TOGETHER = [verb for verb, told in VERBS.items() if "{times}" in told.sentence]


def told(verb: str, *, certificate: str, visit: str) -> Told:
    """The verb's row; without one, its own words under the kind of what it is about."""
    if verb in VERBS:
        return VERBS[verb]
    kind = "certificates" if certificate else "visits" if visit else "particulars"
    return Told(kind, "{who}: " + verb.replace("_", " "), changes=True)


def verbs_of(kind: str) -> list[str]:
    return [verb for verb, one in VERBS.items() if one.kind == kind]
