"""`manage.py office_keys make | rotate | list`: the keys that certificates are sealed with."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from office.audit.refusals import Refusal
from office.certificates.models import OfficeKey
from office.certificates.seal import actions, keyring, published


class Command(BaseCommand):
    help = (
        "Makes the keys of a new office, rotates them, or lists them with their times of use. Private parts lie in the "
        "database under a passphrase: OFFICE_KEY_PASSPHRASE, else the file key_passphrase in OFFICE_DATA, which is "
        "made once and must be kept with every backup."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("what", choices=("make", "rotate", "list"))
        parser.add_argument("--reason", default="", help="why they are rotated; kept in the trail")
        parser.add_argument("--with-root", action="store_true", help="rotate the root as well")
        parser.add_argument(
            "--format", choices=("table", "json"), default="table", help="json: as anybody may have them"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            if options["what"] == "make":
                actions.make_keys(by=None, reason=options["reason"])
            elif options["what"] == "rotate":
                actions.rotate_keys(by=None, reason=options["reason"], with_root=options["with_root"])
        except Refusal as refusal:
            raise CommandError(str(refusal)) from None
        if options["format"] == "json":
            self.stdout.write(json.dumps(published.to_document(keyring.published()), ensure_ascii=False, indent=2))
            return
        for row in OfficeKey.objects.defer("private").order_by("pk"):
            until = f"retired {published.instant(row.retired_at)}" if row.retired_at else "in use"
            self.stdout.write(
                f"{row.identifier}  {row.get_purpose_display():<10}  from {published.instant(row.used_from)}  "
                f"runs out {published.instant(row.expires_at)}  {until}"
            )
        if not OfficeKey.objects.exists():
            self.stdout.write(keyring.NO_KEYS)
