"""The demo office: an invented place, four seasons, boats of six designs, visits and certificates in every state.

Everything goes through the same actions as in an office at work, at the demo's own time, so the trail is a real one.
The same day always makes the same office, but for the salts of the passwords.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Callable, Iterator
from functools import partial

from django.db import transaction
from django.utils import timezone

from boats.actions.designs import add_design, set_limit
from boats.actions.people import add_owner, end_ownership
from boats.actions.register import register_boat
from boats.actions.rigs import describe_rig
from boats.models import Boat, Rig
from boats.rigs import as_inputs
from office.demo.clock import SEED, in_its_own_time
from office.demo.designs import DESIGNS, DemoBoat, DesignPlan, build_fleet
from office.demo.kits import KITS, buy, calibrate_again, calibration_days
from office.demo.people import SIGN_INS, gather
from office.demo.story import Afloat, Office, Story, Twist, new_truth
from office.demo.truth import draw_truth
from office.people.models import Person
from office.policy.actions import change_policy

__all__ = ["SIGN_INS", "load"]

SEASON = 365
Progress = Callable[[str], None]


def load(progress: Progress = lambda what: None, *, boats: int | None = None) -> None:
    """Fills an empty, migrated database. `boats` takes only the first so many, for tests."""
    today = timezone.localdate()
    with transaction.atomic(), in_its_own_time() as clock:
        start = today - dt.timedelta(days=4 * SEASON + 60)
        clock.turn_to(dt.datetime.combine(start, dt.time(9), dt.UTC))
        progress("the people and the kit")
        owners = 44 if boats is None else 4
        people = gather(owners)
        by = people["administrator"]
        change_policy(by=by, reason="The office opens.", **POLICY)
        buy(by, people, start, today)
        office = Office(people, clock, SEED)
        progress("the boats")
        fleet = _register(by, people, build_fleet(SEED, boats), start, owners, office.dice)
        for mark in KITS:
            for day in calibration_days(mark, start, today)[1:]:
                office.at(day, dt.time(7), partial(calibrate_again, by, mark, day))
        changed = today - dt.timedelta(days=SEASON + 100)
        office.at(changed, dt.time(9), lambda: _change_policy(by))
        progress("four seasons of visits and certificates; this takes a minute or two")
        stories = list(_stories(office, fleet, today))
        for season in range(5):
            until = today - dt.timedelta(days=(4 - season) * SEASON)
            office.live(dt.datetime.combine(until, dt.time(6), dt.UTC))
            progress(f"season {season + 1} of 5: {sum(1 for one in stories if one.visit.pk)} visits so far")


POLICY: dict[str, object] = {
    "office_name": "Averell Sound Rig Office",
    "office_place": "Port Averell",
    "number_prefix": "AV",
    "is_demo": True,
    "validity_rule": "calendar_year",
    "rules_text": "Measured for the Averell Sound rig rules, edition 4, which invoke this office.",
    "change_limits": {"default": 3.0, "mast_weight": 1.0, "boom_above_sheer": 5.0},
}


def _change_policy(by: Person) -> None:
    change_policy(
        by=by, reason="Owners measured in autumn got a few weeks only.", validity_rule="months", validity_months=13
    )


def _register(
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
        rig = describe_rig(by=by, boat=boat, since=start, **_description(demo, dice, mast_mark="1"))
        fleet.append(Afloat(demo, boat, draw_truth(demo, as_inputs(rig), dice)))
    return fleet


def _limits(by: Person, design: object, plan: DesignPlan) -> None:
    main = plan.masts["main"]
    source = f"{plan.name} class drawing, sheet 2"
    limits = (
        ("luff", main.luff - 60, main.luff + 30),
        ("foot", None, main.foot + 25),
        ("mast_weight", main.weight * 0.9, None),
    )
    for dimension, least, greatest in limits:
        set_limit(by=by, design=design, dimension=dimension, mast="main", least=least, greatest=greatest, source=source)  # type: ignore[arg-type]


def _description(demo: DemoBoat, dice: random.Random, mast_mark: str) -> dict[str, object]:
    plan = demo.plan
    masts = [
        {
            "name": name,
            "material": plan.material,
            "spreader_pairs": mast.spreaders,
            "runner_pairs": 1 if plan.rig_type == "cutter" else 0,
            "jumper_pairs": 0,
            "checkstays": plan.material == "carbon",
            "rigging_material": "steel_rod" if plan.material == "carbon" else "wire",
            "upper_band": True,
            "mast_identification": f"{demo.serial}-{name[0].upper()}{mast_mark}",
            "boom_identification": f"{demo.serial}-{name[0].upper()}B1",
        }
        for name, mast in plan.masts.items()
    ]
    return {
        "rig_type": plan.rig_type,
        "masts": masts,
        "inner_forestay": plan.rig_type == "cutter",
        "outrigger": plan.outrigger,
        "spinnaker": True,
        "pole": plan.pole,
        "bowsprit": plan.bowsprit,
        "headsail_foil": dice.random() < 0.8,
        "pole_identification": f"{demo.serial}-P1" if plan.pole else "",
    }


def _new_mast(office: Office, afloat: Afloat, day: dt.date) -> None:
    """The yard steps another mast: the rig is described anew, and the truth with it."""
    former = Rig.objects.prefetch_related("masts").get(boat=afloat.boat, until=None)
    dice = random.Random(afloat.demo.serial)  # noqa: S311
    description = _description(afloat.demo, dice, mast_mark="2") | {"headsail_foil": former.headsail_foil}
    rig = describe_rig(
        by=office.people["reviewer"],
        boat=afloat.boat,
        since=day,
        reason="New mast after the dismasting off Gull Stairs.",
        **description,
    )
    new_truth(afloat, as_inputs(rig), dice)


def _sell(office: Office, boat: Boat, day: dt.date, buyer: str) -> None:
    by = office.people["administrator"]
    for ownership in boat.ownerships.filter(until=None):
        end_ownership(by=by, ownership=ownership, until=day - dt.timedelta(days=1), reason="Sold.")
    add_owner(by=by, boat=boat, person=office.people[buyer], since=day)


MEASURERS = ("measurer", "measurer2", "measurer3", "measurer4")
LONGER_LUFF = ("luff_between_bands", "main", "")
# The latest visit of the first boats: where it stands today, days ago (negative: still to come), by whom, and what is
# worth looking at about it.
LATEST: tuple[tuple[str, int, str, Twist], ...] = (
    ("signed", 3, "measurer", Twist(before=lambda truth: truth.move_band("main", 30.0))),
    ("signed", 4, "measurer2", Twist(written={"foretriangle_base": "{swapped}"})),
    ("certified", 70, "measurer", Twist(new_rig=_new_mast)),
    ("signed", 5, "measurer3", Twist(air=2.5)),
    ("signed", 2, "measurer4", Twist()),  # with a tape whose calibration is overdue
    ("under_review", 6, "measurer", Twist(methods=("two_mark",))),
    ("under_review", 7, "measurer2", Twist(before=lambda truth: truth.lengths.update({LONGER_LUFF: truth.lengths[LONGER_LUFF] + 22.0}))),
    ("returned", 9, "measurer", Twist(
        written={"pole_length": "1{text}", "foot_distance": "{swapped}"},
        question=("foot_distance", "The foot is far from the last visit and the boom is the same. Taken from the track or from the mast?", ""),
    )),
    ("certified", 60, "measurer2", Twist(
        written={"foot_distance": "{swapped}"},
        question=("foot_distance", "Two digits look exchanged. Is it so in your book?", "It is; taken again at the boat and amended."),
    )),
    ("draft", 1, "measurer", Twist(share=0.45)),
    ("draft", 2, "measurer2", Twist(share=0.8)),
    ("planned", -4, "measurer", Twist()),
    ("planned", -4, "measurer", Twist()),
    ("planned", -9, "measurer2", Twist()),
    ("asked_for", -30, "measurer", Twist()),
    ("asked_for", -28, "measurer", Twist()),
    ("called_off", 12, "measurer3", Twist()),
    ("accepted", 8, "measurer2", Twist()),
    ("accepted", 10, "measurer", Twist(methods=("string",))),
    ("certified", 90, "measurer4", Twist(exception="No other measurer can reach the island before the season; reviewed by two people.")),
    ("certified", 100, "measurer", Twist(withdrawn="The owner reports the mast damaged; to be measured again after the repair.")),
    ("certified", 110, "measurer2", Twist(correction="The builder's name was wrong on the first one.")),
    ("certified", 95, "measurer3", Twist(in_feet=True)),
    ("certified", 120, "measurer2", Twist(before=lambda truth: truth.move_band("main", -18.0))),
)  # fmt: skip


def _stories(office: Office, fleet: list[Afloat], today: dt.date) -> Iterator[Story]:
    """Earlier seasons for most boats, then the latest visit of each."""
    for number, afloat in enumerate(fleet):
        special = LATEST[number] if number < len(LATEST) else None
        days_ago = special[1] if special else 20 + (number * 37) % 190
        if special and special[3].exception:
            _own(office, afloat, today)
        last_season = special is not None or number % 5 != 0
        for season in (3, 2, 1):
            if (
                (number + season) % 3 == 0
                or (season == 1 and not last_season)
                or (special and season == 1 + number % 2)
            ):
                day = today - dt.timedelta(days=season * SEASON + 30 + (number * 53 + season * 17) % 200)
                yield Story(office, afloat, MEASURERS[(number + season) % 3], day, "certified")
        if special:
            end, _, measurer, twist = special
            yield Story(office, afloat, measurer, today - dt.timedelta(days=days_ago), end, twist)
        elif last_season:
            yield Story(office, afloat, MEASURERS[number % 3], today - dt.timedelta(days=days_ago), "certified")
        if number % 17 == 16:
            office.at(
                today - dt.timedelta(days=days_ago + 150),
                dt.time(11),
                lambda boat=afloat.boat: _sell(office, boat, timezone.localdate(), "owner2"),
            )  # type: ignore[misc]


def _own(office: Office, afloat: Afloat, today: dt.date) -> None:
    """The measurer bought a share of this boat: measuring her takes an exception from then on."""
    day = today - dt.timedelta(days=300)
    office.at(
        day,
        dt.time(10),
        lambda: (
            add_owner(by=office.people["administrator"], boat=afloat.boat, person=office.people["measurer4"], since=day)
            and None
        ),
    )
