"""Every address of the office × everybody in the cast × reading and sending, walked from the addresses themselves.

A new address without a line in TABLE fails. The boat, the visits and the certificates belong to `owner` and were
measured by `measurer`; `other_owner` and `second_measurer` hold the same roles and have nothing to do with them.
Whoever may not is told so (403); who is not signed in is sent to the sign-in page; nobody ever gets a 500.
"""

from __future__ import annotations

import copy
import datetime as dt
import io
import json
from collections.abc import Callable, Iterator
from collections.abc import Set as AbstractSet
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import pytest
from django.db import transaction
from django.template.backends.django import Template
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone
from pypdf import PdfWriter

from boats import actions as boat_actions
from boats.models import Access as BoatAccess
from boats.models import Declaration
from office import papers
from office.audit import trail
from office.backups import making
from office.certificates import actions as certificate_actions
from office.certificates import amending, paper, pdf, renewing
from office.certificates.seal import pades
from office.complaints import actions as complaints
from office.interface import keys as access_keys
from office.interface.api import api
from office.interface.models import AccessKey, Scope
from office.letters import actions as letters
from office.letters.models import Letter
from office.people import authorisations
from office.people.actions import invitations
from office.people.models import Person, Role, RoleHolding
from office.racing import actions as event_actions
from office.racing import spot_checks, statements
from office.racing.entry_file import read_pasted
from office.racing.models import Event
from office.work import workers
from office.work.actions import ask_for_work
from office.work.models import WorkFile
from surveys import actions
from surveys.actions.calendars import make_calendar
from surveys.actions.photos import add_photo
from surveys.models import Visit
from surveys.paper import pages
from tests.cast import Cast, make_cast
from tests.factors import give_second_factors
from tests.office.relations import LIKE, OUTER, PLAIN, Others, inner_parts, is_let_in
from tests.surveys.makers import Stage, picture, record_kit, register_boat

pytestmark = [pytest.mark.django_db, pytest.mark.any_database]

ANYBODY = frozenset(
    {
        "measurer", "second_measurer", "reviewer", "certifier", "owner", "other_owner", "race_committee",
        "administrator", "stranger",
    }
)  # fmt: skip
NOBODY: frozenset[str] = frozenset()
MEASURER = frozenset({"measurer"})
OWNER = frozenset({"owner"})
OFFICE = frozenset({"reviewer", "certifier", "administrator"})
ADMINISTRATOR = frozenset({"administrator"})
CERTIFIER = frozenset({"certifier"})
REVIEWER = frozenset({"reviewer"})
KIT_READERS = OFFICE | {"measurer", "second_measurer"}
OWNERS = frozenset({"owner", "other_owner"})
BOAT_READERS = KIT_READERS | OWNER
LISTS = KIT_READERS | OWNERS
COMMITTEE = OFFICE | {"race_committee"}
VISIT_READERS = OFFICE | MEASURER | OWNER


@dataclass(frozen=True)
class Access:
    """Who is not refused. None: nobody is answered by this method (405)."""

    get: frozenset[str] | None
    post: frozenset[str] | None
    public: bool = False
    own: bool = False  # it concerns what `measurer` has of their own: for anybody else there is no such thing
    json: bool = False  # a script asks: it is told 401 instead of being sent to the sign-in page


def only(who: frozenset[str]) -> Access:
    return Access(who, who)


def sent_by(who: frozenset[str]) -> Access:
    return Access(None, who)


PUBLIC_TO_READ = Access(ANYBODY, None, public=True)

TABLE: dict[str, Access] = {
    "home": Access(ANYBODY, ANYBODY, public=True),
    # People
    "people:sign_in": Access(ANYBODY, ANYBODY, public=True),
    "people:sign_out": Access(None, ANYBODY, public=True),
    "people:accept_invitation": Access(ANYBODY, ANYBODY, public=True),
    "people:account": only(ANYBODY),
    "people:remove_second_factor": only(ADMINISTRATOR),
    "account_login": Access(ANYBODY, ANYBODY, public=True),
    "account_logout": Access(None, ANYBODY, public=True),
    "account_reauthenticate": only(ANYBODY),
    "mfa_reauthenticate": only(ANYBODY),  # sends on to the way that the person has
    "mfa_reauthenticate_webauthn": only(ANYBODY),
    "mfa_index": Access(ANYBODY, None),
    "mfa_authenticate": only(ANYBODY),  # half way through signing in; else it sends away
    "mfa_login_webauthn": only(ANYBODY),  # without a passkey it sends back to signing in
    "mfa_activate_totp": only(ANYBODY),
    "mfa_deactivate_totp": Access(ANYBODY, ANYBODY, own=True),
    "mfa_view_recovery_codes": Access(ANYBODY, None, own=True),
    "mfa_generate_recovery_codes": only(ANYBODY),
    "mfa_download_recovery_codes": Access(ANYBODY, None, own=True),
    "mfa_list_webauthn": Access(ANYBODY, None),
    "mfa_add_webauthn": only(ANYBODY),
    "mfa_edit_webauthn": Access(ANYBODY, ANYBODY, own=True),
    "mfa_remove_webauthn": Access(ANYBODY, ANYBODY, own=True),
    "people:change_password": only(ANYBODY),
    "people:choose_lengths": sent_by(ANYBODY),
    "people:list": only(ADMINISTRATOR),
    "people:export": only(ADMINISTRATOR),
    "people:invite": only(ADMINISTRATOR),
    "people:cancel_invitation": only(ADMINISTRATOR),
    "people:person": only(ADMINISTRATOR),
    "people:give_role": only(ADMINISTRATOR),
    "people:end_role": only(ADMINISTRATOR),
    "people:authorise": only(ADMINISTRATOR),
    "people:withdraw_authorisation": only(ADMINISTRATOR),
    "people:send_new_link": only(ADMINISTRATOR),
    "people:disable": only(ADMINISTRATOR),
    "people:enable": only(ADMINISTRATOR),
    "policy:show": only(ADMINISTRATOR),
    "policy:editions": only(ADMINISTRATOR),
    # Long work: each sees their own
    "work:list": only(ANYBODY),
    "work:ask": sent_by(ANYBODY),  # for what there is not, all are told so alike
    "work:work": Access(ADMINISTRATOR, None),
    "work:again": sent_by(ADMINISTRATOR),
    "work:file": Access(ADMINISTRATOR, None),
    "work:letter_again": sent_by(ADMINISTRATOR),
    # For machines that watch the office; what they say depends on who asks
    "upkeep:health": PUBLIC_TO_READ,
    "upkeep:serving": PUBLIC_TO_READ,
    "upkeep:metrics": PUBLIC_TO_READ,
    # The trail
    "trail:list": only(OFFICE | OWNERS),
    "trail:export": only(OFFICE | OWNERS),
    "trail:walk": only(OFFICE),
    "desk:personal": Access(ANYBODY, None),
    "desk:take_away": Access(ADMINISTRATOR | {"stranger"}, None),  # the person asked for is the stranger
    "desk:remove_name": only(ADMINISTRATOR),
    # Boats
    "boats:list": only(LISTS),
    "boats:export": only(LISTS),
    "boats:register": only(OFFICE),
    "boats:spars": only(KIT_READERS),
    "boats:designs": only(KIT_READERS),
    "boats:designs_export": only(KIT_READERS),
    "boats:design_add": only(OFFICE),
    "boats:design": Access(KIT_READERS, OFFICE),
    "boats:end_limit": only(OFFICE),
    "boats:boat": only(ANYBODY),  # sends on to desk:boat, which asks
    "boats:particulars": only(OFFICE),
    "boats:rig": only(OFFICE),
    "boats:owners": only(OFFICE),
    "boats:end_ownership": only(OFFICE),
    "boats:interests": only(OFFICE),
    "boats:end_interest": only(OFFICE),
    "boats:own_interest": only(BOAT_READERS),
    "boats:access": only(OWNER),
    "boats:end_access": only(OWNER),
    "boats:cancel_link": sent_by(OWNER),
    "boats:join": Access(ANYBODY, ANYBODY, public=True),
    "desk:boat": only(BOAT_READERS),
    "desk:history": only(BOAT_READERS),
    "desk:drawing": only(BOAT_READERS),
    # Visits
    "surveys:list": only(LISTS),
    "surveys:export_list": only(LISTS),
    "surveys:plan_several": only(OFFICE),
    "surveys:print_several": only(KIT_READERS),
    "surveys:choose_boat": only(OFFICE | OWNERS),
    "surveys:ask": only(OFFICE | OWNER),
    "surveys:visit": only(VISIT_READERS),
    "surveys:plan": only(OFFICE),
    "surveys:worker": PUBLIC_TO_READ,
    "surveys:dock": only(MEASURER),
    "surveys:dock_state": Access(MEASURER, None, json=True),
    "surveys:dock_send": Access(None, MEASURER, json=True),
    "surveys:dock_photo": Access(None, MEASURER, json=True),
    "surveys:photos": Access(VISIT_READERS, MEASURER),
    "surveys:photo": Access(VISIT_READERS, None),
    "surveys:remove_photo": only(MEASURER),
    "surveys:exception": only(OFFICE),
    "surveys:call_off": only(OFFICE),
    "surveys:begin": sent_by(MEASURER),
    "surveys:follow_rig": sent_by(MEASURER),
    "surveys:conditions": only(MEASURER),
    "surveys:readings": only(MEASURER),
    "surveys:undo": sent_by(MEASURER),
    "surveys:absent": only(MEASURER),
    "surveys:panel": only(MEASURER),
    "surveys:store_one": sent_by(MEASURER),
    "surveys:reading": Access(VISIT_READERS, MEASURER),
    "surveys:withdraw": only(MEASURER),
    "surveys:upload": only(MEASURER),
    "surveys:export": only(VISIT_READERS),
    "surveys:budget": only(VISIT_READERS),
    "surveys:budget_paper": only(VISIT_READERS),
    "surveys:budget_file": only(VISIT_READERS),
    "surveys:settle": only(MEASURER),
    "surveys:sign": only(MEASURER),
    "surveys:answer": only(MEASURER),
    "surveys:drawing": only(VISIT_READERS),
    "surveys:paper": only(OFFICE | MEASURER),
    "surveys:day": only(KIT_READERS),
    "surveys:day_paper": only(KIT_READERS),
    "surveys:calendar": only(KIT_READERS),
    "surveys:make_calendar": sent_by(KIT_READERS),
    "surveys:revoke_calendar": sent_by(KIT_READERS),
    "surveys:calendar_feed": PUBLIC_TO_READ,
    # Instruments
    "instruments:list": only(KIT_READERS),
    "instruments:export": only(KIT_READERS),
    "instruments:instrument": only(KIT_READERS),
    "instruments:label": only(KIT_READERS),
    "instruments:record": only(OFFICE),
    "instruments:calibrate": only(OFFICE),
    "instruments:maintain": only(OFFICE),
    "instruments:out_of_use": only(OFFICE),
    # The desk
    "desk:queue": only(OFFICE),
    "desk:fleet": only(OFFICE),
    "desk:suggest_recalibration": only(OFFICE),
    "desk:review": only(OFFICE),
    "desk:next_in_queue": only(OFFICE),
    "desk:before_in_queue": only(OFFICE),
    "desk:begin_review": sent_by(REVIEWER),
    "desk:ask_query": sent_by(REVIEWER),
    "desk:settle_query": sent_by(REVIEWER),
    "desk:return_visit": sent_by(REVIEWER),
    "desk:accept_visit": sent_by(REVIEWER),
    # Certificates
    "certificates:list": only(LISTS),
    "certificates:export": only(LISTS),
    "certificates:certificate": only(BOAT_READERS),
    "certificates:drawing": only(BOAT_READERS),
    "certificates:pdf": only(BOAT_READERS),
    "certificates:snapshot": only(BOAT_READERS),
    "certificates:issue": only(CERTIFIER),
    "certificates:withdraw": only(CERTIFIER),
    "certificates:declare": only(OFFICE | OWNER),
    "certificates:hand_over": only(OWNER),
    "certificates:settle": only(OFFICE),
    "certificates:remind": only(OFFICE),
    "certificates:amend": only(CERTIFIER),
    "certificates:amendment_pdf": only(BOAT_READERS),
    "certificates:amendment_snapshot": only(BOAT_READERS),
    "certificates:renew": Access(CERTIFIER, CERTIFIER),
    "certificates:renewal": only(CERTIFIER),
    "certificates:recall": Access(OFFICE, CERTIFIER),
    "certificates:recall_export": only(OFFICE),
    "certificates:suspend": only(CERTIFIER),
    "certificates:reinstate": only(CERTIFIER),
    # Complaints; the one of the world is of `owner`, and `administrator` looks into it
    "complaints:list": only(OFFICE),
    "complaints:export": only(OFFICE),
    "complaints:receive": only(OFFICE),
    "complaints:own": only(ANYBODY),
    "complaints:send": only(OWNER),
    "complaints:report": only(MEASURER),
    "complaints:complaint": only(OFFICE),
    "complaints:course": only(OFFICE | OWNER),
    "complaints:acknowledge": only(OFFICE),
    "complaints:assign": only(OFFICE),
    "complaints:about": only(OFFICE),
    "complaints:note": only(OFFICE),
    "complaints:decide": only(ADMINISTRATOR),
    "complaints:close": only(OFFICE),
    "complaints:again": only(OFFICE),
    "complaints:consequence": only(OFFICE),
    "complaints:remove_name": only(ADMINISTRATOR),
    # The race committee's pages are everybody's
    "racing:check": PUBLIC_TO_READ,
    "racing:certificate": PUBLIC_TO_READ,
    "racing:anywhere": PUBLIC_TO_READ,
    "racing:worker": PUBLIC_TO_READ,
    "racing:keys": PUBLIC_TO_READ,
    "racing:ended": PUBLIC_TO_READ,
    # Other systems: an access key opens what no sign-in does
    "access_keys:list": only(ADMINISTRATOR),
    "access_keys:make": only(ADMINISTRATOR),
    "access_keys:revoke": only(ADMINISTRATOR),
    "api:api-root": PUBLIC_TO_READ,
    "api:docs": PUBLIC_TO_READ,
    "api:openapi-json": Access(ANYBODY, ANYBODY, public=True),
    "api:keys": PUBLIC_TO_READ,
    "api:validity": Access(ANYBODY, ANYBODY, json=True),
    "api:validities": Access(ANYBODY, ANYBODY, json=True),
    "api:certificates": Access(ANYBODY, None, json=True),
    "api:certificate": Access(ANYBODY, None, json=True),
    "api:event_results": Access(ANYBODY, None, json=True),
    # Events, of `race_committee`
    "events:list": only(COMMITTEE),
    "events:make": only(COMMITTEE),
    "events:event": only(COMMITTEE),
    "events:change": only(COMMITTEE),
    "events:people": only(COMMITTEE),
    "events:end_member": sent_by(COMMITTEE),
    "events:upload": only(COMMITTEE),
    "events:check_again": sent_by(COMMITTEE),
    "events:check": only(COMMITTEE),
    "events:entry": only(COMMITTEE),
    "events:settle": sent_by(COMMITTEE),
    "events:record_statement": sent_by(COMMITTEE),
    "events:begin_spot_check": only(COMMITTEE),
    "events:spot_checks": only(COMMITTEE),
    "events:spot_check": only(COMMITTEE),
    "events:spot_instrument": sent_by(COMMITTEE),
    "events:spot_away": sent_by(COMMITTEE),
    "events:spot_finish": sent_by(COMMITTEE),
    "events:spot_report": only(COMMITTEE),
    "events:spot_dock": only(COMMITTEE),
    "events:spot_state": Access(COMMITTEE, None, json=True),
    "events:spot_send": Access(None, COMMITTEE, json=True),
    "events:worker": PUBLIC_TO_READ,
    "events:ask_report": sent_by(COMMITTEE),
    "events:report": only(COMMITTEE),
    "events:statements": only(COMMITTEE),
    "events:settle_statement": only(COMMITTEE),
}


NOTHING_THERE = "api:unknown"  # answers that there is no such address, whoever asks


def walk(resolver: Any = None, space: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Every named address under the root, with its full name."""
    for one in (resolver or get_resolver()).url_patterns:
        if isinstance(one, URLResolver):
            yield from walk(one, f"{one.namespace}:" if one.namespace else space)
        elif f"{space}{one.name}" != NOTHING_THERE:
            yield f"{space}{one.name}", one


ADDRESSES = dict(walk())
INNER = frozenset({"photo_key", "query_key", "spot_key", "statement_key", "invitation_key", "token"})


def test_every_address_has_its_line_in_the_table() -> None:
    assert {name for name, one in walk() if not one.name} == set(), "an address without a name"
    assert len(ADDRESSES) == len(list(walk())), "two addresses of the same name"
    assert set(ADDRESSES) == set(TABLE)


def _an_empty_page() -> bytes:
    writer, made = PdfWriter(), io.BytesIO()
    writer.add_blank_page(100, 100)
    writer.write(made)
    return made.getvalue()


AN_EMPTY_PAGE = _an_empty_page()


class World:
    """One boat with all there is to know of her, and what each address is filled with."""

    def __init__(self, cast: Cast) -> None:
        self.cast = cast
        self.stage = Stage(cast, register_boat(cast), record_kit(cast))
        self.boat = self.stage.boat
        by = cast.administrator
        design = boat_actions.add_design(by=by, name="Tern 31")
        boat_actions.set_limit(
            by=by, design=design, dimension="luff", mast="main", least=9000.0, greatest=None, source="the drawing"
        )
        boat_actions.declare_interest(by=by, boat=self.boat, person=cast.stranger, kind="builder", since=self.first_day)
        self.design = design
        _, self.token = invitations.invite(by=by, email="new@office.example", name="New", roles=["owner"])
        _, self.calendar = make_calendar(by=cast.measurer)
        self.passkey = give_second_factors(cast.measurer)
        self.invitation, _ = invitations.invite(by=by, email="newer@office.example", name="Newer", roles=["owner"])
        self.authorisation = authorisations.grant(
            by=by, person=cast.measurer, methods=["tape"], since=self.first_day, until=None, grounds="training",
            evidence="The course of 2020.",
        )[0]  # fmt: skip
        self.certified = self.stage.visit("accepted")
        self.certificate = certificate_actions.issue(by=cast.certifier, visit=self.certified)
        amending.amend(by=cast.certifier, certificate=self.certificate, text="For Skaw read Skau.", reason="Misspelt.")
        self.access_key, _ = access_keys.make(
            by=cast.administrator,
            name="Entries",
            holder=cast.owner,
            scopes=["validity"],
            expires_on=timezone.localdate(),
        )
        self.complaint = complaints.send(
            by=cast.owner, boat=self.boat, text="The wrong harbour.", certificate=self.certificate
        )
        complaints.acknowledge(by=by, complaint=self.complaint, acknowledged_on=timezone.localdate())
        complaints.assign(by=cast.reviewer, complaint=self.complaint, investigator=by)
        complaints.note(by=by, complaint=self.complaint, text="Rang up.")
        self.declaration = Declaration.objects.create(
            boat=self.boat, kind="rig_changed", happened_on=self.first_day, declared_by=cast.owner, consequence="note"
        )
        self.open_link, self.link = boat_actions.invite_to_boat(
            by=cast.owner, boat=self.boat, part="skipper", email="skip@quay.example", name="Skip"
        )
        BoatAccess.objects.create(
            boat=self.boat, person=cast.other_owner, given_by=cast.owner, since=self.first_day, until=self.first_day
        )
        self.renewal = renewing.begin(by=cast.certifier, key="a-renewal", numbers=[self.certificate.number])
        self.accepted = self.stage.visit("accepted")
        self.returned = self.stage.visit("returned")
        self.photo = add_photo(by=cast.measurer, visit=self.returned, file=picture(), size=1)
        self.planned = self.stage.visit("planned")
        self.work = ask_for_work(by=by, kind="recompute")
        self.letter = letters.write(to="nora@quay.example", subject="A link", text="It", about="invitation")
        Letter.objects.update(state="failed")
        WorkFile.objects.create(work=self.work, name="report.pdf", content_type="application/pdf", content=b"%PDF")
        workers.give_sign("here:1")
        with transaction.atomic():
            trail.record(by=None, verb=making.VERB, subject=making.SUBJECT)
        self.signed = self.stage.visit("signed")
        self.under_review = self.stage.visit("under_review")
        self.event = self.make_event(cast)
        self.spot = spot_checks.begin(
            by=cast.race_committee, event=self.event, boat=self.boat, items=[("luff", "main")], day=timezone.localdate()
        )
        self.spot_reading = spot_checks.record_reading(
            by=cast.race_committee, spot=self.spot, slug="luff_between_bands", mast="main", text="15000"
        )
        event_actions.settle_entry(
            by=cast.race_committee, event=self.event, sail_number="WES 2", name="Her", boat=self.boat
        )
        self.statement = statements.record_statement(
            by=cast.race_committee, event=self.event, sail_number="WES 1", name="Nobody", signatory="x",
            signed_at=timezone.now(),
        )  # fmt: skip
        actions.ask_query(
            by=cast.reviewer, visit=self.under_review, slug="foot_distance", mast="main", position="",
            question="From the track?",
        )  # fmt: skip

    @staticmethod
    def make_event(cast: Cast) -> Event:
        by, day = cast.race_committee, dt.date(2026, 6, 5)
        event = event_actions.make_event(by=by, name="Week", first_day=day, last_day=day, rules_edition="2025_2028")
        event_actions.add_member(by=by, event=event, email=by.email)
        content = "sail_number,boat\nWES 1,Nobody\nWES 2,Her\n"
        file = read_pasted(content)
        event_actions.take_entry_list(by=by, event=event, file=file, content=content.encode(), filename="list")
        return event

    @property
    def first_day(self) -> Any:
        return self.boat.ownerships.earliest("pk").since

    def address(self, name: str) -> str:
        wanted = ADDRESSES[name].pattern.converters
        return reverse(name, kwargs={one: self.value(name, one) for one in wanted}) + self.query(name)

    def value(self, name: str, part: str) -> Any:
        """What fills one part of an address; what an address needs of its own comes first."""
        space = name.partition(":")[0]
        own: dict[tuple[str, str], Any] = {
            ("boats:design", "key"): self.design.key,
            ("boats:end_limit", "key"): self.design.key,
            ("boats:end_ownership", "person_key"): self.cast.owner.key,
            ("boats:end_interest", "kind"): "builder",
            ("desk:take_away", "key"): self.cast.stranger.key,
            ("desk:remove_name", "key"): self.cast.stranger.key,
            ("desk:boat", "key"): self.boat.key,
            ("desk:history", "key"): self.boat.key,
            ("desk:drawing", "key"): self.boat.key,
            ("desk:begin_review", "key"): self.signed.key,
            ("surveys:begin", "key"): self.planned.key,
            ("surveys:calendar_feed", "token"): self.calendar,
            ("surveys:answer", "query_key"): self.returned.queries.get().key,
            ("people:withdraw_authorisation", "key"): self.authorisation.key,
            ("people:cancel_invitation", "key"): self.invitation.key,
            ("boats:end_access", "person_key"): self.cast.other_owner.key,
            ("boats:join", "token"): self.link,
            ("certificates:declare", "key"): self.boat.key,
            ("certificates:hand_over", "key"): self.boat.key,
            ("certificates:settle", "key"): self.declaration.key,
            ("certificates:amendment_pdf", "size"): "A4",
            ("access_keys:revoke", "key"): self.access_key.key,
            ("work:letter_again", "key"): self.letter.key,
            ("api:event_results", "key"): self.event.key,
            ("certificates:issue", "key"): self.accepted.key,
            ("certificates:renewal", "key"): self.renewal.key,
            ("certificates:pdf", "size"): "A4",
            ("events:check", "number"): 1,
            ("events:begin_spot_check", "row"): 3,
            ("events:spot_away", "token"): self.spot_reading.token,
            ("events:end_member", "person_key"): self.cast.race_committee.key,
        }
        usual: dict[str, Any] = {
            "kind": "csv", "amendment": 1, "dimension": "luff", "mast": "main", "person_key": self.cast.stranger.key,
            "boat_key": self.boat.key, "row_key": "foot_distance-main-one", "slug": "foot_distance", "take": 1,
            "row": 2, "statement_key": self.statement.key, "spot_key": self.spot.key,
            "visit_key": self.returned.key,
            "query_key": self.under_review.queries.get().key, "identifier": "T-03", "token": self.token,
            "invitation_key": self.open_link.key, "role": "measurer",
            "pk": self.passkey.pk, "photo_key": self.photo.key, "number": self.certificate.number,
        }  # fmt: skip
        keys: dict[str, Any] = {
            "boats": self.boat, "surveys": self.returned, "desk": self.under_review, "people": self.cast.stranger,
            "work": self.work, "complaints": self.complaint,
            "events": self.event,
        }  # fmt: skip
        if (name, part) in own:
            return own[name, part]
        return keys[space].key if part == "key" else usual[part]

    def query(self, name: str) -> str:
        if name == "upkeep:health":
            workers.give_sign("here:1")  # this world may have stood for longer than a worker may be silent
        if name == "surveys:plan_several":
            return f"?visit={self.planned.key}"
        if name != "surveys:settle":
            return ""
        visit = self.returned
        self.stage.break_something(visit)
        return f"?check={self.stage.stop_key}"


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any) -> Iterator[World]:
    """Built once: every test looks at the same world, and what its requests change is taken back."""
    with django_db_blocker.unblock(), transaction.atomic(), pytest.MonkeyPatch.context() as patch:
        patch.setattr(pdf, "render_all", lambda document, *_: dict.fromkeys(paper.SIZES, b"%PDF"))
        # Whom it is for does not hang on what is printed, and every budget of a visit takes seconds to print.
        patch.setattr(pages, "all_budgets", lambda shown, size: b"%PDF")
        patch.setattr(papers, "write_pdf", lambda html, **_: AN_EMPTY_PAGE)
        patch.setattr(amending, "render", lambda document, size, signature: b"%PDF")
        patch.setattr(pades, "sign", lambda content, key, at: content)
        yield World(make_cast())
        transaction.set_rollback(True)


@pytest.fixture(scope="module")
def others(world: World) -> Others:
    """People who stand otherwise to the same things, with things of their own."""
    return Others(world)


@pytest.fixture(scope="module")
def entering(world: World, others: Others) -> Callable[[str], Client]:
    """A client of each part, signed in once: a fresh one with the same cookie for every request."""
    people: dict[str, Person] = {**world.cast.people(), **others.people}
    cookies = {}
    for part, person in people.items():
        client = Client()
        client.force_login(person)
        cookies[part] = client.cookies

    def enter(part: str) -> Client:
        client = Client()
        client.cookies = copy.deepcopy(cookies[part])
        return client

    return enter


def answered(client: Client, method: str, address: str, **sent: Any) -> Any:
    """The answer; whatever it changed is taken back."""
    with transaction.atomic():
        answer = getattr(client, method)(address, **sent)
        if hasattr(answer, "streaming_content"):
            b"".join(answer.streaming_content)
        transaction.set_rollback(True)
    return answer


@pytest.mark.parametrize("name", list(TABLE))
def test_who_is_answered(world: World, entering: Callable[[str], Client], name: str) -> None:
    """The cast everywhere; where an address names a thing, those as well who stand to it otherwise than they do."""
    address, access = world.address(name), TABLE[name]
    assert set(world.cast.people()) == ANYBODY
    asking = ANYBODY | LIKE.keys() if names_a_thing(name) else ANYBODY
    for method, allowed in (("get", access.get), ("post", access.post)):
        let_in = {part for part in asking if allowed and is_let_in(part, allowed, ANYBODY, BOAT_READERS)}
        shown = pages_told_apart(let_in, asking - let_in, method)
        answers = {part: answered(entering(part), method, address) for part in sorted(shown)}
        with pages_left_empty():
            answers |= {part: answered(entering(part), method, address) for part in sorted(asking - shown)}
        got = {part: answer.status_code for part, answer in answers.items()}
        assert [part for part, answer in answers.items() if not is_kept_in(answer, access)] == [], method
        refused = {part for part, status in got.items() if status == 403}
        assert max(got.values()) < 500, (method, got)
        if allowed is None:
            assert set(got.values()) <= ({404, 405} if access.own else {405}), (method, got)
        else:
            assert refused == asking - let_in, (method, got)
            found = {part for part, status in got.items() if status != 404}
            assert found == (MEASURER if access.own else asking), (method, got)


def pages_told_apart(let_in: AbstractSet[str], refused: AbstractSet[str], method: str) -> set[str]:
    """Whose pages are made whole: of the cast all who may look, and one each of who may send and who may not."""
    look = sorted(let_in & ANYBODY)
    return {*(look if method == "get" else look[:1]), *sorted(refused & ANYBODY)[:1]}


@contextmanager
def pages_left_empty() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Template, "render", lambda self, *_: "")
        yield


def is_kept_in(answer: Any, access: Access) -> bool:
    """Framed by nobody, guessed at by no browser, and kept by no cache unless everybody may have it."""
    told = answer.headers
    shut = told["X-Frame-Options"] == "DENY" and "frame-ancestors 'none'" in told["Content-Security-Policy"]
    private = {"no-store", "private"} & set(told.get("Cache-Control", "").replace(" ", "").split(","))
    return shut and told["X-Content-Type-Options"] == "nosniff" and bool(private or access.public)


def names_a_thing(name: str) -> bool:
    """Whether the address is about one boat, visit, certificate, event … that is not everybody's."""
    parts = ADDRESSES[name].pattern.converters.keys()
    return bool(OUTER & parts) and not (TABLE[name].public or name.startswith("api:"))


def test_every_part_of_an_address_is_known() -> None:
    """A new kind of thing in an address is tried as somebody else's below, or says why it need not be."""
    parts = {part for one in ADDRESSES.values() for part in one.pattern.converters}
    assert parts == INNER | OUTER | PLAIN


NESTED = [(name, part) for name, one in ADDRESSES.items() for part in one.pattern.converters if part in INNER
          and not TABLE[name].public]  # fmt: skip


@pytest.mark.parametrize(("name", "part"), NESTED)
def test_nothing_of_somebody_elses_under_ones_own(
    world: World, others: Others, entering: Callable[[str], Client], name: str, part: str
) -> None:
    """Who may open the page of their own thing finds no other's there, and no one finds their own under another's."""
    wanted = {one: world.value(name, one) for one in ADDRESSES[name].pattern.converters}
    address = reverse(name, kwargs={**wanted, part: inner_parts(others)[part]})
    access = TABLE[name]
    for method, allowed in (("get", access.get), ("post", access.post)):
        for who in sorted(allowed or ()):
            assert answered(entering(who), method, address).status_code == 404, (method, who)


def test_the_others_do_reach_what_is_their_own(world: World, others: Others, entering: Callable[[str], Client]) -> None:
    """The test above and the table would hold as well where nobody reached anything."""
    own = [
        ("other_owner", "desk:boat", [others.boat.key]),
        ("former_owner", "boats:access", [others.boat.key]),
        ("other_owner", "surveys:visit", [others.visit.key]),
        ("second_measurer", "surveys:readings", [others.visit.key]),
        ("second_measurer", "surveys:photo", [others.visit.key, others.photo.key]),
        ("second_measurer", "surveys:answer", [others.visit.key, others.query.key]),
        ("other_committee", "events:spot_check", [others.event.key, others.spot.key]),
        ("other_committee", "events:settle_statement", [others.event.key, others.statement.key]),
        ("co_committee", "events:spot_check", [world.event.key, world.spot.key]),
        ("co_owner", "surveys:visit", [world.returned.key]),
        ("skipper", "certificates:pdf", [world.certificate.number, "A4"]),
    ]
    for part, name, parts in own:
        assert answered(entering(part), "get", reverse(name, args=parts)).status_code == 200, (part, name)
        strange = {"co_owner", "co_committee", "skipper"} & {part}
        if not strange:
            assert answered(entering("builder"), "get", reverse(name, args=parts)).status_code == 403, (part, name)


@pytest.mark.parametrize("name", list(TABLE))
def test_who_is_not_signed_in(world: World, name: str) -> None:
    address, access = world.address(name), TABLE[name]
    for method, allowed in (("get", access.get), ("post", access.post)):
        answer = answered(Client(), method, address)
        if access.json:
            assert answer.status_code == (405 if allowed is None else 401), method
        elif not access.public:
            assert answer.status_code == 302, (method, answer.status_code)
            assert answer.headers["Location"].startswith(reverse("people:sign_in")), method
        elif allowed is None:
            assert answer.status_code == 405, method
        else:
            assert answer.status_code in {200, 302, 422}, (method, answer.status_code)
            assert not answer.headers.get("Location", "").startswith(reverse("people:sign_in")), method


@pytest.mark.parametrize("name", [name for name, one in ADDRESSES.items() if one.pattern.converters])
def test_an_address_of_nothing_is_not_found(world: World, name: str) -> None:
    """Whoever may open the page for what exists gets a 404 for what does not; nobody a 500."""
    access = TABLE[name]
    converters = ADDRESSES[name].pattern.converters
    nothing = {part: 9 if "Int" in type(one).__name__ else "nothing-at-all" for part, one in converters.items()}
    for method, allowed in (("get", access.get), ("post", access.post)):
        if (
            not allowed
            or (access.json and name.startswith("api:"))
            or name in {"boats:boat", "boats:join", "people:accept_invitation"}
        ):
            continue  # without a key nothing is said; one sends on, the other says that such a link works no longer
        client = Client()
        client.force_login(world.cast.people()[min(allowed)])
        assert answered(client, method, reverse(name, kwargs=nothing)).status_code == 404, method


@pytest.mark.parametrize("part", ["other_owner", "second_measurer"])
@pytest.mark.parametrize("name", ["surveys:list", "certificates:list", "boats:list", "trail:list", "home"])
def test_lists_hold_nothing_of_somebody_elses(world: World, part: str, name: str) -> None:
    """The register of boats and certificates is open to every measurer; visits and the trail are not."""
    client = Client()
    client.force_login(world.cast.people()[part])
    text = client.get(reverse(name)).content.decode()
    visits = Visit.objects.filter(boat=world.boat).values_list("key", flat=True)
    assert not [key for key in visits if key in text]
    if part == "other_owner":
        assert world.boat.key not in text
        assert world.certificate.number not in text


def test_an_owner_who_also_measures_asks_for_their_own_boat_only(world: World) -> None:
    """A measurer sees every boat; which one a visit may be asked for is another matter."""
    other = boat_actions.register_boat(by=world.cast.administrator, name="Somebody Else", sail_number="SKE 999")
    with transaction.atomic():
        RoleHolding.objects.create(person=world.cast.owner, role=Role.MEASURER)
        client = Client()
        client.force_login(world.cast.owner)
        text = client.get(reverse("surveys:choose_boat")).content.decode()
        transaction.set_rollback(True)
    assert world.boat.key in text
    assert other.key not in text


# ---- The interface for other systems: what an access key opens ----

# Each operation of its description: the scope that opens it (None: no key needed), and a question it can answer.
OPERATIONS: dict[str, tuple[Scope | None, str]] = {
    "GET /api/keys": (None, ""),
    "GET /api/validity": (Scope.VALIDITY, "?q=Quiet"),
    "POST /api/validity": (Scope.VALIDITY, ""),
    "GET /api/certificates": (Scope.CERTIFICATES, ""),
    "GET /api/certificates/{number}": (Scope.CERTIFICATES, ""),
    "GET /api/events/{key}/results": (Scope.EVENTS, ""),
}


def test_every_operation_has_its_line() -> None:
    paths = api.get_openapi_schema()["paths"]
    described = {f"{method.upper()} {path}" for path, methods in paths.items() for method in methods}
    assert described == set(OPERATIONS)


def key_of(world: World, holder: Person, scopes: list[str]) -> str:
    day = timezone.localdate()
    return access_keys.make(by=world.cast.administrator, name="x", holder=holder, scopes=scopes, expires_on=day)[1]


def ask_api(world: World, operation: str, token: str | None) -> Any:
    method, path = operation.split(" ")
    address = path.format(number=world.certificate.number, key=world.event.key) + OPERATIONS[operation][1]
    client = Client(headers={"Authorization": f"Bearer {token}"} if token else None)
    sent = {"data": json.dumps({"asked": ["Quiet"]}), "content_type": "application/json"} if method == "POST" else {}
    return answered(client, method.lower(), address, **sent)


@pytest.mark.parametrize("operation", OPERATIONS)
def test_what_an_access_key_opens(world: World, operation: str) -> None:
    """With its scope alone it opens; with every other scope, without a key, and once it has ended, it does not."""
    scope, committee = OPERATIONS[operation][0], world.cast.race_committee
    if scope is None:
        assert ask_api(world, operation, None).status_code == 200
        return
    with transaction.atomic():
        token = key_of(world, committee, [scope])
        rest = key_of(world, committee, [one for one in Scope.values if one != scope])
        assert ask_api(world, operation, token).status_code == 200
        assert ask_api(world, operation, rest).status_code == 403
        assert ask_api(world, operation, None).status_code == 401
        assert ask_api(world, operation, token[:-1] + ("A" if token[-1] != "A" else "B")).status_code == 401
        for ended in ({"revoked_at": timezone.now()}, {"expires_on": timezone.localdate() - dt.timedelta(1)}):
            with transaction.atomic():
                AccessKey.objects.update(**ended)
                assert ask_api(world, operation, token).status_code == 401
                transaction.set_rollback(True)
        Person.objects.filter(pk=committee.pk).update(is_active=False)
        assert ask_api(world, operation, token).status_code == 401
        transaction.set_rollback(True)


def test_an_access_key_opens_its_holders_events_only(world: World, others: Others) -> None:
    """Another organiser's, one who is no longer on the committee, one whose role has ended, an owner: there is none."""
    operation, people = "GET /api/events/{key}/results", {**world.cast.people(), **others.people}
    opened = set()
    with transaction.atomic():
        for part, person in people.items():
            status = ask_api(world, operation, key_of(world, person, [Scope.EVENTS])).status_code
            assert status in {200, 404}, part
            opened |= {part} if status == 200 else set()
        transaction.set_rollback(True)
    assert opened == OFFICE | {"race_committee", "co_committee"}


def test_an_access_key_opens_no_page(world: World) -> None:
    token = key_of(world, world.cast.administrator, list(Scope.values))
    for name in ("boats:list", "people:list", "desk:queue", "access_keys:list"):
        answer = answered(Client(headers={"Authorization": f"Bearer {token}"}), "get", world.address(name))
        assert answer.headers["Location"].startswith(reverse("people:sign_in")), name
