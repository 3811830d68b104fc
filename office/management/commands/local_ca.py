"""`manage.py local_ca`: an authority of the office's own, the server's certificate, how a phone comes to trust it."""

from __future__ import annotations

import os
import socket
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from office.management import local_ca

if TYPE_CHECKING:
    from django.core.management.base import CommandParser

STEPS = """
How a device comes to trust it. Bring {phones} to the device by cable, by a local share or by mail, and compare the
fingerprint below with the one the device shows; whoever could swap the file on its way could read along afterwards.

  iPhone, iPad    open the file; Settings, Profile Downloaded, Install. Then, and it does not work without:
                  Settings, General, About, Certificate Trust Settings: switch the authority on.
  Android         Settings, search for "CA certificate", Install anyway, choose the file.
  Windows         double-click the file, Install Certificate, Current User, the store Trusted Root Certification
                  Authorities.
  macOS           open {pem} in Keychain Access, open its entry, Trust, When using this certificate: Always Trust.
  Linux           Chromium: certutil -d sql:$HOME/.pki/nssdb -A -t C,, -n office -i {pem}
                  Firefox, everywhere: Settings, Certificates, View Certificates, Authorities, Import.

  SHA-256 of the authority
  {fingerprint}

The risk. Whoever holds {key} can pretend to be any of the names above towards every device that trusts the
authority, and of no other name. Keep it off the server if you can (a stick in a drawer; it is needed again only to
renew), remove the authority from a device that leaves the office, and if the key was ever out of your hands delete
the directory, make a new authority and remove the old one from every device.
"""


class Command(BaseCommand):
    help = (
        "Makes a certificate authority of the office's own for the names of its server, and the server's certificate. "
        "Called again it makes a new certificate for the server under the same authority."
    )
    requires_system_checks: tuple[str, ...] = ()

    def add_arguments(self, parser: CommandParser) -> None:
        own = socket.gethostname().lower()
        parser.add_argument(
            "--name", nargs="+", action="extend", metavar="HOST", dest="names",
            help=f"the names and addresses devices reach the server by (default: {own} and {own}.local)",
        )  # fmt: skip
        parser.add_argument(
            "--directory", type=Path, default=Path(settings.DATA_DIR) / "local_ca",
            help="where the authority is kept (default: local_ca in the data directory)",
        )  # fmt: skip

    def handle(self, *, names: list[str] | None, directory: Path, **options: Any) -> None:
        passphrase = os.environ.get("OFFICE_CA_PASSPHRASE", "")
        try:
            known = local_ca.load_authority(directory, passphrase)
            wanted = self._wanted(names, known)
            authority = known or local_ca.make_authority(directory, wanted, passphrase)
            certificate = local_ca.make_server_certificate(directory, authority, wanted)
        except local_ca.NotPossible as sentence:
            raise CommandError(str(sentence)) from None
        except OSError as problem:
            raise CommandError(f"{directory}: {problem.strerror or problem}.") from None
        made = "The server has a new certificate; the authority is the same, devices notice nothing." if known else (
            "An authority of the office's own is made, and a certificate for the server."
        )  # fmt: skip
        key, pem = directory / local_ca.SERVER_KEY, directory / local_ca.SERVER_CERTIFICATE
        self.stdout.write(made)
        self.stdout.write(f"  for         {', '.join(wanted)}")
        self.stdout.write(f"  server      valid until {certificate.not_valid_after_utc:%Y-%m-%d}")
        self.stdout.write(f"  authority   valid until {authority.certificate.not_valid_after_utc:%Y-%m-%d}")
        self.stdout.write(f"\nServe with it:\n  manage.py serve --host 0.0.0.0 --certificate {pem} --key {key}")
        self.stdout.write(
            STEPS.format(
                phones=directory / local_ca.CA_FOR_PHONES,
                pem=directory / local_ca.CA_CERTIFICATE,
                key=directory / local_ca.CA_KEY,
                fingerprint=local_ca.fingerprint(authority.certificate),
            )
        )

    def _wanted(self, names: list[str] | None, known: local_ca.Authority | None) -> list[str]:
        """As asked for; else what the authority is bound to; else this machine's own names."""
        if names:
            return local_ca.names_of(names)
        if known:
            return known.names
        own = socket.gethostname().lower()
        return local_ca.names_of([own, f"{own}.local"] if "." not in own else [own])
