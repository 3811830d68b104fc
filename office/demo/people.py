"""The people of the demo office. All invented; one password for all, printed when the demo starts."""

from __future__ import annotations

import datetime as dt

from django.test.utils import override_settings

from computations.catalogue import METHODS
from office.people import authorisations
from office.people.actions.invitations import accept_invitation, invite, invite_first_administrator
from office.people.models import Person, Role

PASSWORD = "low water springs"  # noqa: S105 - the demo's, told to everyone
DOMAIN = "averell.example"

STAFF: dict[str, tuple[str, tuple[str, ...]]] = {
    "administrator": ("Perpetua Loam", (Role.ADMINISTRATOR,)),
    "reviewer": ("Ansel Brightwater", (Role.REVIEWER,)),
    "certifier": ("Corisande Pell", (Role.CERTIFIER,)),
    "measurer": ("Tobin Marsh", (Role.MEASURER,)),
    "measurer2": ("Ysolde Grieve", (Role.MEASURER,)),
    "measurer3": ("Hark Wending", (Role.MEASURER, Role.REVIEWER)),
    "measurer4": ("Odile Farrant", (Role.MEASURER, Role.OWNER)),
    "race": ("Benedick Shore", (Role.RACE_COMMITTEE,)),
}
OWNER_FIRST = (
    "Maren",
    "Osric",
    "Lettice",
    "Piers",
    "Sunniva",
    "Walter",
    "Hester",
    "Ivo",
    "Dagny",
    "Crispin",
    "Una",
    "Rafe",
)
OWNER_LAST = ("Tolland", "Quarrie", "Saltash-Voe", "Merrow", "Kestle")
SIGN_INS = [
    (Role.MEASURER.label, f"measurer@{DOMAIN}", PASSWORD),
    (Role.REVIEWER.label, f"reviewer@{DOMAIN}", PASSWORD),
    (Role.CERTIFIER.label, f"certifier@{DOMAIN}", PASSWORD),
    (Role.OWNER.label, f"owner1@{DOMAIN}", PASSWORD),
    (Role.RACE_COMMITTEE.label, f"race@{DOMAIN}", PASSWORD),
    (Role.ADMINISTRATOR.label, f"administrator@{DOMAIN}", PASSWORD),
]


def owner_name(number: int) -> str:
    """A name of its own for each of the first sixty."""
    round_, first = divmod(number, len(OWNER_FIRST))
    return f"{OWNER_FIRST[first]} {OWNER_LAST[(round_ + number) % len(OWNER_LAST)]}"


def gather(owners: int) -> dict[str, Person]:
    """Everyone comes in by an invitation: the first administrator, the staff, and `owners` owners."""
    people: dict[str, Person] = {}
    with override_settings(EMAIL_BACKEND="django.core.mail.backends.dummy.EmailBackend"):
        name, _ = STAFF["administrator"]
        _, token = invite_first_administrator(email=f"administrator@{DOMAIN}", name=name)
        people["administrator"] = accept_invitation(token=token, name=name, password=PASSWORD)
        by = people["administrator"]
        wanted = [(mark, *about) for mark, about in STAFF.items() if mark != "administrator"]
        wanted += [(f"owner{number}", owner_name(number), (Role.OWNER,)) for number in range(1, owners + 1)]
        for mark, name, roles in wanted:
            _, token = invite(by=by, email=f"{mark}@{DOMAIN}", name=name, roles=roles)
            people[mark] = accept_invitation(token=token, name=name, password=PASSWORD)
    return people


def authorise(by: Person, people: dict[str, Person], start: dt.date, today: dt.date) -> None:
    """Who is authorised for what: one measurer not for the string, one whose year of weighing has run out."""
    granted = (
        ("measurer", list(METHODS), None, "witnessed", "Two visits of the first spring, with the former measurer."),
        ("measurer2", [one for one in METHODS if one != "string"], None, "training", "The office's course, two days."),
        ("measurer3", ["tape", "calliper", "string", "two_mark"], None, "compared",
         "Measured one boat after Tobin Marsh: every length within its U."),
        ("measurer3", ["weighing"], today - dt.timedelta(days=60), "training", "A day with scale and slings."),
        ("measurer3", ["review"], None, "experience", "Five reviews done beside Ansel Brightwater."),
        ("measurer4", list(METHODS), None, "witnessed", "One visit with Ysolde Grieve."),
        ("reviewer", ["review"], None, "experience", "Ten reviews done again by the certifier, the same answers."),
        ("race", ["spot_check"], None, "training", "The office's evening for race committees."),
    )  # fmt: skip
    for mark, methods, until, grounds, evidence in granted:
        authorisations.grant(
            by=by, person=people[mark], methods=methods, since=start, until=until, grounds=grounds, evidence=evidence
        )
