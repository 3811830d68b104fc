"""The people of the tests: one for each role, a second of some, and one without any role."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from office.people.models import Person, Role, RoleHolding

PASSWORD = "correct horse battery"


def make_person(name: str, *roles: str, password: str = PASSWORD) -> Person:
    """A person with these roles, as if the office had invited them long ago (no rows in the trail)."""
    email = f"{name.lower().replace(' ', '.')}@office.example"
    person = Person.objects.create_user(email=email, name=name, password=password)
    RoleHolding.objects.bulk_create(RoleHolding(person=person, role=role) for role in roles)
    return person


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
