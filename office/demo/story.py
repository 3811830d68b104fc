"""What happened in the demo office: each visit's steps, one after the other, each at its moment."""

from __future__ import annotations

import datetime as dt
import heapq
import itertools
import random
from collections.abc import Callable
from dataclasses import dataclass, field

from django.utils import timezone

from boats.actions.register import change_particulars
from boats.models import Boat
from boats.rigs import as_inputs
from office.certificates.actions import issue, withdraw
from office.certificates.amending import amend
from office.certificates.declaring import declare
from office.certificates.queries import latest
from office.certificates.suspending import suspend
from office.demo.clock import Clock
from office.demo.designs import BUILDERS, DemoBoat
from office.demo.kits import KITS
from office.demo.people import PASSWORD
from office.demo.truth import Day, Truth, log_sheet
from office.people.models import Person
from surveys.actions import planning, readings, review, sheets, signing
from surveys.figures import derive_visit
from surveys.models import Visit
from surveys.queries import current_readings

MORNING, NOON, AFTERNOON = dt.time(8, 20), dt.time(12, 40), dt.time(15, 10)
STEPS = ("asked_for", "planned", "draft", "signed", "under_review", "returned", "accepted", "certified")

AGREES = "The figures agree with the last visit."
FIRST_VISIT = "First visit; the two methods agree."
EXPLAINED = "The yard made the change and the owner announced it; it explains every figure that moved."
REASONS = {
    "boom_methods_differ": (
        "The second mark was on a curved part of the mast; the string was taken twice and agrees with itself."
    ),
    "calibration_overdue": "The tape was compared with T-03 on the quay before use and read the same over 10 m.",
}


@dataclass
class Twist:
    """What is particular about a visit."""

    before: Callable[[Truth], None] | None = None  # what changed on the boat since last time
    new_rig: Callable[[Office, Afloat, dt.date], None] | None = None
    written: dict[str, str] = field(default_factory=dict)
    methods: tuple[str, ...] = ("string", "two_mark")
    air: float | None = None  # °C; otherwise what the season brings
    in_feet: bool = False
    share: float = 1.0
    question: tuple[str, str, str] | None = None  # slug, question, answer: the visit goes back once
    exception: str = ""
    withdrawn: str = ""  # the certificate is withdrawn later, for this reason
    suspended: str = ""  # the certificate is suspended later, for this reason
    declared: tuple[str, str] = ("", "")  # what the owner declares later, and in which words
    amended: tuple[str, str] = ("", "")  # what an amendment says later, and why
    correction: str = ""  # a second certificate of the same visit replaces the first, for this reason
    choice: str = "string"  # which method is taken where the two differ
    begins_later: int = 0  # days from the issue to the certificate's first day
    first: bool = False  # nobody measured this boat before


@dataclass
class Afloat:
    """A boat as registered, with the truth about her."""

    demo: DemoBoat
    boat: Boat
    truth: Truth


class Office:
    """The office while the demo's years pass: its people, its clock, and everything still to come."""

    def __init__(self, people: dict[str, Person], clock: Clock, seed: int) -> None:
        self.people, self.clock = people, clock
        self.dice = random.Random(seed)  # noqa: S311 - invented data
        self._coming: list[tuple[dt.datetime, int, Callable[[], None]]] = []
        self._number = itertools.count()

    def at(self, day: dt.date, time: dt.time, what: Callable[[], None]) -> None:
        moment = dt.datetime.combine(day, time, dt.UTC)
        heapq.heappush(self._coming, (moment, next(self._number), what))

    def live(self, until: dt.datetime) -> int:
        """Everything that was to come up to a moment, in order. Steps may add further ones."""
        done = 0
        while self._coming and self._coming[0][0] <= until:
            moment, _, what = heapq.heappop(self._coming)
            self.clock.turn_to(moment)
            what()
            done += 1
        return done


class Story:
    """One visit from the request to wherever it has got by today."""

    def __init__(
        self, office: Office, afloat: Afloat, measurer: str, day: dt.date, end: str, twist: Twist | None = None
    ) -> None:
        self.office, self.afloat, self.measurer, self.day = office, afloat, measurer, day
        self.twist = twist or Twist()
        self.visit: Visit = Visit()
        self.last = STEPS.index("planned" if end == "called_off" else end)
        self.called_off = end == "called_off"
        after = dt.timedelta(days=1)
        office.at(min(day - 35 * after, day), MORNING, self.ask)
        if self.last >= STEPS.index("planned"):
            office.at(day - 20 * after, NOON, self.plan)
        if self.called_off:
            office.at(day - 2 * after, NOON, self.call_off)
        if self.last >= STEPS.index("draft"):
            office.at(day, MORNING, self.measure)
        if self.last >= STEPS.index("signed"):
            office.at(day, AFTERNOON, self.sign)
        if self.last >= STEPS.index("under_review"):
            office.at(day + after, MORNING, self.begin_review)
        if self.twist.question and self.last >= STEPS.index("returned"):
            office.at(day + after, NOON, self.send_back)
            if self.last > STEPS.index("returned"):
                office.at(day + 2 * after, MORNING, self.put_right)
                office.at(day + 3 * after, MORNING, self.begin_review)
        if self.last >= STEPS.index("accepted"):
            office.at(day + 4 * after, NOON, self.accept)
        if self.last >= STEPS.index("certified"):
            office.at(day + 6 * after, MORNING, self.certify)

    def person(self, mark: str) -> Person:
        return self.office.people[mark]

    def fresh(self) -> Visit:
        return Visit.objects.get(pk=self.visit.pk)

    def ask(self) -> None:
        owner = self.afloat.boat.ownerships.filter(until=None).select_related("person").first()
        by = owner.person if owner and self.office.dice.random() < 0.6 else self.person("reviewer")
        request = self.office.dice.choice(
            ("Certificate for the coming season, please.", "Mast is ashore until the end of the month.", "")
        )
        self.visit = planning.ask_for_visit(by=by, boat=self.afloat.boat, request=request)

    def plan(self) -> None:
        if self.twist.exception:
            planning.grant_exception(
                by=self.person("administrator"),
                visit=self.fresh(),
                person=self.person(self.measurer),
                reason=self.twist.exception,
            )
        planning.plan_visit(
            by=self.person("reviewer"), visit=self.fresh(), measurer=self.person(self.measurer), planned_on=self.day,
            harbour=self.afloat.demo.harbour,
        )  # fmt: skip

    def call_off(self) -> None:
        planning.call_off_visit(
            by=self.person("reviewer"),
            visit=self.fresh(),
            reason="The crane is out of order; the owner asks again later.",
        )

    def measure(self) -> None:
        twist = self.twist
        if twist.new_rig:
            twist.new_rig(self.office, self.afloat, self.day)
        if twist.before:
            twist.before(self.afloat.truth)
        visit = planning.begin_visit(by=self.person(self.measurer), visit=self.fresh())
        sheet = log_sheet(self.the_day(visit))
        sheets.take_log_sheet(by=self.person(self.measurer), visit=visit, sheet=sheet, filename="log sheet.csv")

    def the_day(self, visit: Visit) -> Day:
        assert visit.rig is not None  # noqa: S101 - every demo boat has one
        twist, dice = self.twist, self.office.dice
        season = 9.0 + 8.0 * (1.0 - abs(self.day.timetuple().tm_yday - 200) / 100.0)
        return Day(
            boat=self.afloat.demo, rig=as_inputs(visit.rig), truth=self.afloat.truth, kit=KITS[self.measurer][0],
            measurer=self.person(self.measurer).name, place=f"{self.afloat.demo.harbour}, the yard", date=self.day,
            air=season + dice.uniform(-3, 3) if twist.air is None else twist.air, dice=dice,
            methods=twist.methods, in_feet=twist.in_feet, share=twist.share, written=twist.written,
            interest="owner" if twist.exception else "none",
        )  # fmt: skip

    def sign(self) -> None:
        by = self.person(self.measurer)
        for stop in derive_visit(self.fresh()).unsettled_stops:
            if stop.check not in REASONS:
                raise AssertionError(f"{self.afloat.demo.name}: nobody foresaw {stop.check}: {stop.message}")
            choice = self.twist.choice if stop.check == "boom_methods_differ" else ""
            signing.settle_check(
                by=by, visit=self.fresh(), check_key=stop.key, reason=REASONS[stop.check], choice=choice
            )
        visit = self.fresh()
        signing.sign_visit(by=by, visit=visit, edition=visit.edition, password=PASSWORD)

    def begin_review(self) -> None:
        review.begin_review(by=self.person(self.reviewer), visit=self.fresh())

    @property
    def reviewer(self) -> str:
        """Mostly the one reviewer; a measurer who also reviews takes some of the others' visits."""
        return "measurer3" if self.measurer != "measurer3" and self.day.day % 4 == 0 else "reviewer"

    def send_back(self) -> None:
        assert self.twist.question is not None  # noqa: S101
        slug, question, _ = self.twist.question
        by = self.person(self.reviewer)
        review.ask_query(by=by, visit=self.fresh(), slug=slug, mast="main", position="", question=question)
        review.return_visit(by=by, visit=self.fresh(), reason="One reading does not fit the rest; see the question.")

    def put_right(self) -> None:
        assert self.twist.question is not None  # noqa: S101
        slug, _, answer = self.twist.question
        by = self.person(self.measurer)
        visit = self.fresh()
        reading = next(one for one in current_readings(visit) if one.slug == slug and one.mast == "main")
        true = round(self.afloat.truth.lengths[slug, "main", ""])
        readings.amend_reading(
            by=by,
            reading=reading,
            text=str(true),
            unit="",
            instrument=reading.instrument,
            reason="taken again at the boat",
        )
        review.answer_query(by=by, query=visit.queries.get(), answer=answer)
        self.sign()

    def accept(self) -> None:
        visit = self.fresh()
        by = self.person(self.reviewer)
        for query in visit.queries.filter(settled_at=None):
            review.settle_query(by=by, query=query)
        reason = EXPLAINED if self.changed else AGREES if visit.boat.visits.count() > 1 else FIRST_VISIT
        review.accept_visit(by=by, visit=self.fresh(), edition=self.fresh().edition, reason=reason)

    @property
    def changed(self) -> bool:
        """Whether something was done to the boat before this visit."""
        return bool(self.twist.new_rig or self.twist.before)

    def certify(self) -> None:
        by, visit = self.person("certifier"), self.fresh()
        reason = "Measured again after the change." if self.changed and latest(visit.boat) else ""
        begins = timezone.localdate() + dt.timedelta(days=self.twist.begins_later)
        certificate = issue(by=by, visit=visit, reason=reason, valid_from=begins)
        if self.twist.correction:
            self.office.at(self.day + dt.timedelta(days=20), NOON, self.correct)
        for wanted, days, what in (
            (self.twist.suspended, 40, self.suspend),
            (self.twist.declared[0], 50, self.declare),
            (self.twist.amended[0], 25, self.amend),
        ):
            if wanted:
                self.office.at(self.day + dt.timedelta(days=days), NOON, what)
        if self.twist.withdrawn:
            later = self.day + dt.timedelta(days=30)
            self.office.at(later, NOON, lambda: self.take_back(certificate.pk, later))

    def correct(self) -> None:
        """The register is put right first, then a second certificate of the same visit states it."""
        visit = self.fresh()
        boat = visit.boat
        other = next(name for name in BUILDERS if name != boat.builder)
        change_particulars(
            by=self.person("administrator"),
            boat=boat,
            edition=boat.edition,
            reason=self.twist.correction,
            builder=other,
        )
        former = latest(visit.boat)
        issue(
            by=self.person("certifier"),
            visit=visit,
            reason=self.twist.correction,
            replacing=former.number if former else "",
        )

    def take_back(self, pk: int, on: dt.date) -> None:
        certificate = self.visit.certificates.get(pk=pk)
        withdraw(by=self.person("certifier"), certificate=certificate, on=on, reason=self.twist.withdrawn)

    def suspend(self) -> None:
        held = self.visit.certificates.get()
        suspend(by=self.person("certifier"), certificate=held, since=timezone.localdate(), reason=self.twist.suspended)

    def declare(self) -> None:
        boat, (kind, text) = self.afloat.boat, self.twist.declared
        owner = boat.ownerships.filter(until=None).select_related("person").first()
        by = owner.person if owner else self.person("reviewer")
        declare(by=by, boat=boat, kind=kind, happened_on=timezone.localdate(), text=text)

    def amend(self) -> None:
        text, reason = self.twist.amended
        amend(by=self.person("certifier"), certificate=self.visit.certificates.get(), text=text, reason=reason)
