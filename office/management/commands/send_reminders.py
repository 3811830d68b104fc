"""`manage.py send_reminders`: letters to the owners of certificates that end soon, each once for its stage."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from office.certificates import reminding
from office.letters import actions as outgoing

if TYPE_CHECKING:
    from django.core.management.base import CommandParser


class Command(BaseCommand):
    help = "Reminds owners of certificates that end within the policy's days; run it once a day."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--on", type=dt.date.fromisoformat, metavar="DATE", help="as if it were this day")
        parser.add_argument("--dry-run", action="store_true", help="only say what would be sent")

    def handle(self, *, on: dt.date | None, dry_run: bool, **options: Any) -> None:
        """Names certificates and stages, never an address. Fails where a letter could not be sent."""
        chosen = reminding.letters(on or timezone.localdate())
        due = [letter for letter in chosen if letter.sent_at is None]
        if dry_run:
            for letter in due:
                ends = letter.certificate.valid_until.isoformat()
                self.stdout.write(f"{letter.certificate.number}  ends {ends}  stage {letter.stage} days")
            self.stdout.write(f"{len(due)} would be sent, {len(chosen) - len(due)} were sent before.")
            return
        late = outgoing.send_due()
        if late:
            self.stdout.write(f"{late} that waited are sent.")
        done = reminding.send(by=None, chosen=chosen)
        self.stdout.write(f"{done.sent} sent, {done.already} were sent before.")
        if done.waiting:
            raise CommandError(
                f"{done.waiting} could not be sent yet ({done.trouble}); a worker, or the next run, does."
            )
