"""Two events of the demo's race committee, with entry lists as committees get them: slips, strangers, a boat twice."""

from __future__ import annotations

import datetime as dt

from django.utils import timezone

from boats.models import Boat
from office.people.models import Person
from office.racing import actions, statements
from office.racing.deadlines import usual_edition
from office.racing.entry_file import PASTED, read_pasted
from office.racing.models import Event

ENTERED = 24
STRANGERS = ("WES 77;Nightjar;Ilse Tolland", "LUN 4;Second Breakfast;Rafe Kestle")
SKIPPERS = ("Una Merrow", "Piers Quarrie", "Dagny Voe", "Walter Tolland", "Hester Kestle")


def hold(people: dict[str, Person], today: dt.date) -> None:
    """One that is past and one that comes, on the days around `today`."""
    race = people["race"]
    past = _event(race, "Lantern Race", "Gull Stairs", today - dt.timedelta(days=21), 1, "the sailing instructions")
    coming = _event(race, "Averell Sound Week", "Port Averell", today + dt.timedelta(days=12), 5, "the notice of race")
    boats = list(Boat.objects.order_by("pk")[: ENTERED * 2 : 2])
    _give(race, past, boats[: ENTERED // 2], slips=False)
    _give(race, coming, boats, slips=True)
    if boats:
        entered = boats[-1]
        statements.record_statement(
            by=race, event=coming, sail_number=entered.sail_number, name=entered.name, signatory=SKIPPERS[0],
            signed_at=timezone.now() - dt.timedelta(hours=2), remark="The certificate is at home.",
        )  # fmt: skip


def _event(race: Person, name: str, place: str, first: dt.date, days: int, document: str) -> Event:
    last = first + dt.timedelta(days=days - 1)
    return actions.make_event(
        by=race, name=name, place=place, first_day=first, last_day=last, rules_edition=usual_edition(first),
        first_series_last_day=first + dt.timedelta(days=2) if days > 3 else None, equipment_rules_by=document,
    )  # fmt: skip


def _give(race: Person, event: Event, boats: list[Boat], *, slips: bool) -> None:
    lines = ["sail_number;boat;skipper"]
    for place, boat in enumerate(boats):
        number, name = boat.sail_number, boat.name
        if slips and place % 6 == 2:
            number = number[:-1]
        if slips and place % 7 == 3:
            name = name[:2] + name[3:]
        if place % 5 == 1:
            number = number.lower().replace(" ", "-")
        lines.append(f"{number};{name};{SKIPPERS[place % len(SKIPPERS)]}")
    text = "\n".join([*lines, *STRANGERS, *lines[1:2]])
    actions.take_entry_list(by=race, event=event, file=read_pasted(text), content=text.encode(), filename=PASTED)
