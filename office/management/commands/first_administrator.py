"""`manage.py first_administrator EMAIL NAME`: the one-time link with which an office begins."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email
from django.urls import reverse

from office.audit.refusals import Refusal
from office.people.actions import invitations


class Command(BaseCommand):
    help = "Prints a link, good once and for seven days, that makes the first administrator of a new office."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("email", help="the e-mail address to sign in with")
        parser.add_argument("name", help="the person's name")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            validate_email(options["email"])
            invitation, token = invitations.invite_first_administrator(email=options["email"], name=options["name"])
        except ValidationError:
            raise CommandError(f"{options['email']!r} is no e-mail address.") from None
        except Refusal as refusal:
            raise CommandError(str(refusal)) from None
        path = reverse("people:accept_invitation", args=[token])
        self.stdout.write(f"Open this once, before {invitation.expires_at:%Y-%m-%d %H:%M} UTC:")
        self.stdout.write(f"{settings.PUBLIC_URL}{path}")
