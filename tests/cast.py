"""The people of the tests: one for each role, a second of some, and one without any role."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest
from factory.declarations import LazyAttribute, Sequence
from factory.django import DjangoModelFactory, Password
from factory.helpers import post_generation

from office.people.models import Person, Role, RoleHolding

PASSWORD = "correct horse battery"


class PersonFactory(DjangoModelFactory):
    """A person as if the office had invited them long ago (no rows in the trail); `roles` lists what they hold."""

    class Meta:
        model = Person
        skip_postgeneration_save = True

    name = Sequence(lambda n: f"Person {n}")
    email = LazyAttribute(lambda person: f"{person.name.lower().replace(' ', '.')}@office.example")
    password = Password(PASSWORD)

    @post_generation
    def roles(self: Any, create: bool, wanted: tuple[str, ...] | None, **_: object) -> None:
        RoleHolding.objects.bulk_create(RoleHolding(person=self, role=role) for role in wanted or ())


def make_person(name: str, *roles: str, password: str = PASSWORD) -> Person:
    made: Person = PersonFactory.create(name=name, password=password, roles=roles)
    return made


@dataclass(frozen=True)
class Cast:
    measurer: Person
    second_measurer: Person
    reviewer: Person
    certifier: Person
    owner: Person
    other_owner: Person
    race_committee: Person
    administrator: Person
    stranger: Person
    password: str = PASSWORD

    def people(self) -> dict[str, Person]:
        """Everybody by the name of their part."""
        return {part: value for part, value in vars(self).items() if isinstance(value, Person)}


def make_cast() -> Cast:
    return Cast(
        measurer=make_person("Mara Lind", Role.MEASURER),
        second_measurer=make_person("Teo Varga", Role.MEASURER),
        reviewer=make_person("Ines Holm", Role.REVIEWER),
        certifier=make_person("Jonas Reef", Role.CERTIFIER),
        owner=make_person("Petra Skau", Role.OWNER),
        other_owner=make_person("Olaf Brandt", Role.OWNER),
        race_committee=make_person("Runa Falk", Role.RACE_COMMITTEE),
        administrator=make_person("Ada Stein", Role.ADMINISTRATOR),
        stranger=make_person("Nemo Gast"),
    )


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()
