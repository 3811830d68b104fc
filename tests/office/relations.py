"""People who stand otherwise to the things of the World than the cast does, each with things of their own beside.

Where a relation is like somebody of the cast, it is let in where they are; where it is like nobody, only where
everybody is. A skipper reads the boat's pages and nothing else of hers.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.utils import timezone

from boats import actions as boat_actions
from boats.models import Access, Boat, BoatInvitation, Ownership
from office.people.models import Role, RoleHolding
from office.racing import actions as event_actions
from office.racing import spot_checks, statements
from office.racing.entry_file import read_pasted
from office.racing.models import CommitteeMember, Event, SpotCheck, SpotReading, Statement
from surveys import actions
from surveys.actions.photos import add_photo
from surveys.models import Photo, Query, Visit
from tests.cast import make_person
from tests.surveys.makers import VISIT_DAY, picture

if TYPE_CHECKING:
    from tests.office.test_urls_by_role import World

LIKE = {
    "co_owner": "owner",
    "co_committee": "race_committee",
    "former_owner": "other_owner",
    "skipper": "",
    "lapsed_owner": "",  # owns the boat, and the office has ended the role
    "lapsed_committee": "",  # stands on the committee, and the role has ended
    "other_committee": "",
    "former_committee": "",
    "builder": "",  # has an interest in the boat, and no role
}


def is_let_in(part: str, allowed: frozenset[str], everybody: frozenset[str], boat_readers: frozenset[str]) -> bool:
    """Whether a row of the table that lets these of the cast in lets this one in too."""
    if allowed == everybody or part in allowed:
        return True
    return LIKE.get(part, "") in allowed or (part == "skipper" and allowed == boat_readers)


class Others:
    """The relations to the World's things, and what the other owner, measurer and committee have of their own."""

    def __init__(self, world: World) -> None:
        cast, boat, long_ago = world.cast, world.boat, world.first_day
        today = timezone.localdate()
        yesterday = today - dt.timedelta(days=1)
        self.people = {part: make_person(part.replace("_", " ").title(), *_roles(part)) for part in LIKE}
        they = self.people
        for part, until in (("co_owner", None), ("former_owner", yesterday), ("lapsed_owner", None)):
            Ownership.objects.create(boat=boat, person=they[part], since=long_ago, until=until)
        Access.objects.create(boat=boat, person=they["skipper"], given_by=cast.owner, since=long_ago, until=dt.date.max)
        for part, ended in (("co_committee", None), ("former_committee", timezone.now()), ("lapsed_committee", None)):
            CommitteeMember.objects.create(event=world.event, person=they[part], ended_at=ended)
        lapsed = [they["lapsed_owner"], they["lapsed_committee"]]
        RoleHolding.objects.filter(person__in=lapsed).update(ended_at=timezone.now())
        boat_actions.declare_interest(
            by=cast.administrator, boat=boat, person=they["builder"], kind="builder", since=long_ago
        )
        self.boat, self.link = self._boat(world)
        self.visit, self.photo, self.query = self._visit(world)
        self.event, self.spot, self.spot_reading, self.statement = self._event(world)

    def _boat(self, world: World) -> tuple[Boat, BoatInvitation]:
        by = world.cast.administrator
        boat = boat_actions.register_boat(by=by, name="Loud Margin", sail_number="SKE 300", harbour="Skerrin Haven")
        masts: list[dict[str, Any]] = [
            {"name": "main", "material": "aluminium", "spreader_pairs": 2, "upper_band": True}
        ]
        boat_actions.describe_rig(
            by=by, boat=boat, since=dt.date(2020, 4, 1), rig_type="sloop", masts=masts, spinnaker=True, pole=True
        )
        for owner in (world.cast.other_owner, self.people["former_owner"]):
            boat_actions.add_owner(by=by, boat=boat, person=owner, since=dt.date(2021, 1, 1))
        link, _ = boat_actions.invite_to_boat(
            by=world.cast.other_owner, boat=boat, part="skipper", email="other@quay.example", name="Other"
        )
        return boat, link

    def _visit(self, world: World) -> tuple[Visit, Photo, Query]:
        cast = world.cast
        visit = actions.ask_for_visit(by=cast.other_owner, boat=self.boat, request="New mast.")
        actions.plan_visit(
            by=cast.administrator, visit=visit, measurer=cast.second_measurer, planned_on=VISIT_DAY, harbour="Haven"
        )
        actions.begin_visit(by=cast.second_measurer, visit=visit)
        photo = add_photo(by=cast.second_measurer, visit=visit, file=picture(), size=1)
        query = Query.objects.create(visit=visit, question="From the track?", asked_by=cast.reviewer)
        return visit, photo, query

    def _event(self, world: World) -> tuple[Event, SpotCheck, SpotReading, Statement]:
        by, day = self.people["other_committee"], dt.date(2026, 6, 5)
        event = event_actions.make_event(by=by, name="Cup", first_day=day, last_day=day, rules_edition="2025_2028")
        event_actions.add_member(by=by, event=event, email=by.email)
        content = "sail_number,boat\nWES 7,Nobody\nWES 8,Her\n"
        event_actions.take_entry_list(
            by=by, event=event, file=read_pasted(content), content=content.encode(), filename="list"
        )
        spot = spot_checks.begin(
            by=by, event=event, boat=world.boat, items=[("luff", "main")], day=timezone.localdate()
        )
        reading = spot_checks.record_reading(by=by, spot=spot, slug="luff_between_bands", mast="main", text="15000")
        statement = statements.record_statement(
            by=by, event=event, sail_number="WES 7", name="Nobody", signatory="x", signed_at=timezone.now()
        )
        return event, spot, reading, statement


def _roles(part: str) -> list[str]:
    if part == "builder":
        return []
    return [Role.RACE_COMMITTEE if part.endswith("committee") else Role.OWNER]


def inner_parts(others: Others) -> dict[str, Any]:
    """What stands inside something else in an address, of the others: under the World's own boat, visit or event."""
    return {
        "photo_key": others.photo.key,
        "query_key": others.query.key,
        "spot_key": others.spot.key,
        "statement_key": others.statement.key,
        "invitation_key": others.link.key,
        "token": others.spot_reading.token,
    }


# What fills an address without naming a thing that belongs to somebody, or where it is tried by a test of its own.
PLAIN = {
    "kind", "size", "dimension", "mast", "slug", "take", "row", "row_key", "role", "amendment", "person_key", "pk",
}  # fmt: skip
OUTER = {"key", "boat_key", "visit_key", "number", "identifier"}
