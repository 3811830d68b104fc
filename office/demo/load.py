"""The demo office: an invented place, four seasons, boats of six designs, visits and certificates in every state.

Everything goes through the same actions as in an office at work, at the demo's own time, so the trail is a real one.
The same day always makes the same office, but for the salts of the passwords.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from django.db import transaction
from django.utils import timezone

from boats.actions.designs import add_design, set_limit
from boats.actions.people import add_owner
from boats.actions.register import register_boat
from boats.actions.rigs import describe_rig
from boats.models import Design
from boats.rigs import as_inputs
from office.certificates.seal.actions import make_keys, rotate_keys
from office.demo import complaints, races
from office.demo.clock import SEED, in_its_own_time
from office.demo.designs import DESIGNS, DemoBoat, DesignPlan, build_fleet
from office.demo.events import buy_share, describe, sell
from office.demo.kits import KITS, buy, calibrate_again, calibration_days
from office.demo.people import SIGN_INS, authorise, gather
from office.demo.script import LATEST, WARM, Latest
from office.demo.story import Afloat, Office, Story, Twist
from office.demo.truth import draw_truth
from office.interface.keys import make as make_access_key
from office.people.models import Person
from office.policy.actions import change_policy
from office.policy.queries import current

__all__ = ["SIGN_INS", "load"]

SEASON = 365
Progress = Callable[[str], None]


def load(progress: Progress = lambda what: None, *, boats: int | None = None, today: dt.date | None = None) -> None:
    """Fills an empty, migrated database up to `today`. `boats` takes only the first so many, for tests."""
    today = today or timezone.localdate()
    with transaction.atomic(), in_its_own_time() as clock:
        start = today - dt.timedelta(days=4 * SEASON + 60)
        clock.turn_to(dt.datetime.combine(start, dt.time(9), dt.UTC))
        progress("the people and the kit")
        owners = 44 if boats is None else 4
        people = gather(owners)
        by = people["administrator"]
        limits = {**current().change_limits, "default": 3.0}
        change_policy(by=by, reason="The office opens.", change_limits=limits, **POLICY)
        make_keys(by=by, reason="The office opens.")
        authorise(by, people, start, today)
        buy(by, people, start, today)
        office = Office(people, clock, SEED)
        progress("the boats")
        fleet = register(by, people, build_fleet(SEED, boats), start, owners, office.dice)
        for mark in KITS:
            for day in calibration_days(mark, start, today)[1:]:
                office.at(day, dt.time(7), partial(calibrate_again, by, mark, day))
        changed = today - dt.timedelta(days=SEASON + 100)
        office.at(changed, dt.time(9), partial(_change_policy, by))
        rotated = today - dt.timedelta(days=2 * SEASON)
        office.at(rotated, dt.time(8), partial(_rotate_keys, by))
        lent = today - dt.timedelta(days=30)
        office.at(lent, dt.time(8), partial(_lend_a_key, by, people["race"], today + dt.timedelta(days=SEASON)))
        complaints.plan(office, today)
        progress("four seasons of visits and certificates; this takes a minute or two")
        stories = list(_stories(office, fleet, today))
        for season in (1, 2, 3, 4):
            until = today - dt.timedelta(days=(4 - season) * SEASON)
            office.live(dt.datetime.combine(until, dt.time(6), dt.UTC))
            progress(f"season {season} of 4: {sum(1 for one in stories if one.visit.pk)} visits so far")
        progress("two events of the race committee")
        races.hold(people, today)


POLICY: dict[str, Any] = {
    "office_name": "Averell Sound Rig Office",
    "office_place": "Port Averell",
    "accreditation": "0000 (invented)",
    "number_prefix": "AV",
    "is_demo": True,
    "on_unauthorised": "warn",
    "validity_rule": "calendar_year",
    "rules_text": "Measured for the Averell Sound rig rules, edition 4, which invoke this office.",
}


def _change_policy(by: Person) -> None:
    change_policy(
        by=by, reason="Owners measured in autumn got a few weeks only.", validity_rule="months", validity_months=13
    )


def _rotate_keys(by: Person) -> None:
    rotate_keys(by=by, reason="New keys every other year.")


def _lend_a_key(by: Person, holder: Person, expires_on: dt.date) -> None:
    """Its secret is shown to nobody: whoever tries the interface makes a key of their own."""
    make_access_key(
        by=by, name="Sound Week entries", holder=holder, scopes=["validity", "events"], expires_on=expires_on,
        reason="The race committee's own system asks for the entries' certificates.",
    )  # fmt: skip


def register(
    by: Person, people: dict[str, Person], demo_boats: list[DemoBoat], start: dt.date, owners: int, dice: random.Random
) -> list[Afloat]:
    designs = {plan.name: add_design(by=by, name=plan.name, designer=plan.designer) for plan in DESIGNS}
    for plan in DESIGNS[:3]:
        _limits(by, designs[plan.name], plan)
    fleet = []
    for number, demo in enumerate(demo_boats):
        boat = register_boat(
            by=by, name=demo.name, sail_number=demo.sail_number, hin=demo.hin, design=designs[demo.plan.name],
            builder=demo.builder, year=demo.year, harbour=demo.harbour,
        )  # fmt: skip
        add_owner(by=by, boat=boat, person=people[f"owner{number % owners + 1}"], since=start)
        description = describe(demo, foil=dice.random() < 0.8, mast_mark="1")
        rig = describe_rig(by=by, boat=boat, since=start, **description)
        fleet.append(Afloat(demo, boat, draw_truth(demo, as_inputs(rig), dice)))
    return fleet


def _limits(by: Person, design: Design, plan: DesignPlan) -> None:
    main = plan.masts["main"]
    source = f"{plan.name} class drawing, sheet 2"
    limits: tuple[tuple[str, float | None, float | None], ...] = (
        ("luff", main.luff - 60, main.luff + 30),
        ("foot", None, main.foot + 25),
        ("mast_weight", main.weight * 0.9, None),
    )
    for dimension, least, greatest in limits:
        set_limit(
            by=by, design=design, dimension=dimension, mast="main", least=least, greatest=greatest, source=source
        )  # fmt: skip


MEASURERS = ("measurer", "measurer2", "measurer3")


def _stories(office: Office, fleet: list[Afloat], today: dt.date) -> Iterator[Story]:
    """Earlier seasons for most boats, then the latest visit of each."""
    for number, afloat in enumerate(fleet):
        latest = LATEST[number] if number < len(LATEST) else None
        if latest is None or not latest.twist.first:
            yield from _earlier(office, afloat, number, today, latest)
        days_ago = latest.days_ago if latest else 20 + (number * 37) % 190
        day = today - dt.timedelta(days=days_ago)
        if latest:
            yield Story(office, afloat, latest.measurer, day, latest.end, latest.twist)
        elif number % 5:
            yield Story(office, afloat, MEASURERS[number % 3], day, "certified")
        if latest and latest.twist.exception:
            bought = day - dt.timedelta(days=200)
            office.at(bought, dt.time(10), partial(buy_share, office, afloat.boat, bought, latest.measurer))
        if number % 17 == SOLD:
            sold = day - dt.timedelta(days=150)
            office.at(sold, dt.time(11), partial(sell, office, afloat.boat, sold, "owner2"))


SOLD = 16  # of every seventeen boats, this one has changed hands


def _earlier(office: Office, afloat: Afloat, number: int, today: dt.date, latest: Latest | None) -> Iterator[Story]:
    """One to three visits in the seasons before; now and then one that was called off."""
    warm = Twist(air=WARM) if latest and latest.twist.air else Twist()
    for season in (3, 2, 1):
        turn = (number + season) % 3 == 0
        missed_this_season = season == 1 and latest is None and number % 5 == 0
        if turn or missed_this_season or (latest and season == 1 + number % 2):
            day = today - dt.timedelta(days=season * SEASON + 30 + (number * 53 + season * 17) % 200)
            yield Story(office, afloat, MEASURERS[(number // 3 + season) % 3], day, "certified", warm)
        elif (number + season) % 11 == 0:
            day = today - dt.timedelta(days=season * SEASON + 60 + number)
            yield Story(office, afloat, MEASURERS[number % 3], day, "called_off")
