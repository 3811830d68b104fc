"""`manage.py demo`: an invented office, loaded once and served on this machine."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection, transaction

from office.certificates.models import OfficeKey
from office.certificates.seal.actions import make_keys
from office.demo import load as demo_office
from office.demo import presses
from office.management.commands.serve import refuse_a_taken_port, serve
from office.people.models import Person
from office.policy.models import PolicyEdition

if TYPE_CHECKING:
    from django.core.management.base import CommandParser

HOST = "127.0.0.1"
COUNTS = str(settings.CACHES["default"]["LOCATION"])  # a table of no model
NOT_A_DEMO = (
    "This database is not a demo one, so it stays untouched. "
    "Start without DATABASE_URL, or name an empty database there."
)


def is_demo() -> bool:
    """Whether the database holds the demo office. Raises CommandError if it holds anything else.

    Looked at before the first migration too: tables that are not ours are somebody's work as well.
    """
    tables = set(connection.introspection.table_names()) - {"django_migrations"}
    if not tables:
        return False
    if not {Person._meta.db_table, PolicyEdition._meta.db_table} <= tables:
        raise CommandError(NOT_A_DEMO)
    if PolicyEdition.objects.filter(is_demo=True).exists():
        return True
    if Person.objects.exists():
        raise CommandError(NOT_A_DEMO)
    return False  # migrated, but nobody has ever been in it: a first load that was interrupted


def drop_everything() -> None:
    """Drop every table, triggers and all. Rows could not be deleted: the trail and the readings refuse that."""
    tables = [*connection.introspection.django_table_names(only_existing=True, include_views=False)]
    others = {COUNTS, "django_migrations"} & {*connection.introspection.table_names()}
    with connection.schema_editor() as editor:
        for table in [*tables, *others]:
            editor.execute(editor.sql_delete_table % {"table": editor.quote_name(table)})


class Command(BaseCommand):
    help = "Loads the demo office into its own database, prints the sign-ins and serves it on 127.0.0.1."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--no-serve", action="store_true", help="load and print, but do not start the server")
        parser.add_argument("--reset", action="store_true", help="drop the demo office and load it anew")

    def handle(self, *, port: int, no_serve: bool, reset: bool, **options: Any) -> None:
        if not no_serve:
            refuse_a_taken_port(HOST, port)
        loaded = is_demo()
        if loaded and reset:
            self.say("Dropping the demo office with all that was done in it …")
            drop_everything()
            loaded = False
        call_command("migrate", interactive=False, verbosity=0)
        if loaded:
            if not OfficeKey.objects.exists():  # loaded before certificates were sealed
                make_keys(by=None, reason="The demo office gets its keys.")
            self.say("The demo office is there already; what you did in it is kept (--reset starts over).")
        else:
            self.load()
        self.print_sign_ins(port)
        if not no_serve:
            os.environ["OFFICE_SECOND_FACTOR"] = "0"  # its passwords are printed above: nothing here is secret
            serve(HOST, port)

    def load(self) -> None:
        self.say("Loading the demo office (once) …")
        # All of it or nothing: half an office would be kept for the real one.
        with presses.side_by_side(), transaction.atomic():
            demo_office.load(progress=lambda what: self.say(f"  {what}"))
            if not is_demo():
                raise CommandError("The demo office did not mark its database as a demo one.")

    def print_sign_ins(self, port: int) -> None:
        self.say(f"\nOpen http://{HOST}:{port}/ (only this machine reaches it). Sign in as:")
        for role, email, password in demo_office.SIGN_INS:
            self.say(f"  {role:<16} {email:<36} {password}")
        self.say("")

    def say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()
