"""`manage.py remove_second_factor EMAIL --reason …`: for an administrator who lost theirs when nobody else can help."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from office.audit.refusals import Refusal
from office.people import second
from office.people.models import Person


class Command(BaseCommand):
    help = "Removes the second factor of somebody who lost it; the next sign-in leads them to a new one."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email", help="the e-mail address they sign in with")
        parser.add_argument("--reason", required=True, help="why; it stands in the trail")

    def handle(self, *args: Any, **options: Any) -> None:
        person = Person.objects.filter(email__iexact=options["email"]).first()
        if person is None:
            raise CommandError(f"Nobody signs in with {options['email']!r}.")
        try:
            second.remove_all(by=None, person=person, reason=options["reason"])
        except Refusal as refusal:
            raise CommandError(str(refusal)) from None
        self.stdout.write(f"{person.name} signs in with the password alone the next time.")
