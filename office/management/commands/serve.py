"""`manage.py serve`: the real server (granian) on the settings of the environment."""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from office import environment, memory
from office.management.local_ca import certified_names
from office.storage.files import try_out
from office.upkeep.metrics import DIRECTORY

if TYPE_CHECKING:
    from django.core.management.base import CommandParser

THREADS = 4  # one makes a PDF while the others answer
# A worker that has grown beyond this is replaced by a fresh one, which starts before the old one finishes and goes.
# With every page loaded and papers made, one stays at some 240 under load.
MOST_MEMORY_MIB = 320
LAST_ANSWER_S = 30  # that a worker has when the server is stopped; one that is only just starting may miss the word
STORAGE_MIB = 40  # more where photographs lie in a bucket: its client takes 25


def refuse_a_taken_port(host: str, port: int) -> None:
    """Raises CommandError if somebody listens there: granian would share the port without a word."""
    if not environment.port_is_free(host, port):
        raise CommandError(f"Port {port} on {host} is in use. Stop what uses it, or choose another: --port {port + 1}")


@dataclass(frozen=True, slots=True)
class Tls:
    """The server's own certificate and key, and the names they are for."""

    certificate: Path
    key: Path
    names: tuple[str, ...]

    @property
    def arguments(self) -> list[str]:
        return [
            "--ssl-certificate", str(self.certificate), "--ssl-keyfile", str(self.key), "--ssl-protocol-min", "tls1.2"
        ]  # fmt: skip

    def address(self, port: int) -> str:
        name = f"[{self.names[0]}]" if ":" in self.names[0] else self.names[0]
        return f"https://{name}:{port}"

    def settle(self, port: int) -> None:
        """What the server's settings follow from it, where the environment does not say so itself."""
        os.environ["OFFICE_HTTPS"] = "own"
        os.environ.setdefault("OFFICE_HOSTS", ",".join(self.names))
        os.environ.setdefault("OFFICE_PUBLIC_URL", self.address(port))


def tls_of(certificate: Path | None, key: Path | None) -> Tls | None:
    """Both files looked at before anything starts. Raises CommandError with what is wrong with them."""
    if certificate is None and key is None:
        return None
    if certificate is None or key is None:
        raise CommandError("Give --certificate and --key together.")
    try:
        chain = x509.load_pem_x509_certificates(certificate.read_bytes())
        private = serialization.load_pem_private_key(key.read_bytes(), None)
    except OSError as problem:
        raise CommandError(f"{problem.filename}: {problem.strerror}.") from None
    except (ValueError, TypeError, UnsupportedAlgorithm):
        raise CommandError("Expected a certificate and an unencrypted key, both as PEM.") from None
    if private.public_key() != chain[0].public_key():
        raise CommandError(f"{key} is not the key of {certificate}.")
    until = chain[0].not_valid_after_utc
    if until <= dt.datetime.now(dt.UTC):
        raise CommandError(f"{certificate} has run out on {until:%Y-%m-%d}; manage.py local_ca makes a new one.")
    names = tuple(certified_names(chain[0]))
    if not names:
        raise CommandError(f"{certificate} names no host, so no browser would take it.")
    return Tls(certificate.resolve(), key.resolve(), names)


def count_together(port: int) -> None:
    """The processes of this server count into one directory, emptied here: what they counted goes with them.

    By the port, so that two servers of one office each have their own.
    """
    directory = Path(os.environ.setdefault(DIRECTORY, str(Path(settings.DATA_DIR) / "metrics" / str(port))))
    directory.mkdir(parents=True, exist_ok=True)
    for file in directory.glob("*.db"):
        file.unlink()


def refuse_a_storage_that_is_away() -> None:
    """Raises CommandError where photographs are kept elsewhere and could not be."""
    if not settings.PHOTO_STORAGE:
        return
    try:
        try_out()
    except OSError as error:
        raise CommandError(f"{error} Nothing was started.") from error


def start_worker() -> None:
    """A worker for long work beside the server; it ends when the server does."""
    worker = [sys.executable, "manage.py", "worker", "--with-parent", str(os.getpid())]
    subprocess.Popen(worker, cwd=environment.ROOT)


def serve(host: str, port: int, tls: Tls | None = None, *, worker: bool = True, processes: int = 1) -> None:
    """Collect the static files and become the web server; does not return."""
    refuse_a_taken_port(host, port)
    call_command("collectstatic", interactive=False, verbosity=0)
    server = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", host, "--port", str(port)]
    server += ["--workers", str(processes), "--blocking-threads", str(THREADS), "--log-level", "warning"]
    most = MOST_MEMORY_MIB + (STORAGE_MIB if settings.PHOTO_STORAGE else 0)
    server += ["--workers-max-rss", str(most), "--respawn-failed-workers"]
    server += ["--workers-kill-timeout", str(LAST_ANSWER_S)]
    if tls:
        tls.settle(port)
        server += tls.arguments
    server.append("office.wsgi:application")
    count_together(port)
    for name, value in memory.ALLOCATOR.items():
        os.environ.setdefault(name, value)
    if worker:
        start_worker()
    os.chdir(environment.ROOT)
    sys.stdout.flush()
    os.execv(sys.executable, server)  # noqa: S606  (so that signals reach the server itself)


class Command(BaseCommand):
    help = "Runs the real server on the settings of the environment."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)
        parser.add_argument("--certificate", type=Path, help="PEM file of the server's certificate: serve by https")
        parser.add_argument("--key", type=Path, help="PEM file of its key")
        parser.add_argument("--processes", type=int, default=1, metavar="N", help="one for each core that is free")
        parser.add_argument("--no-worker", action="store_true", help="leave long work to `worker`, started elsewhere")

    def handle(
        self,
        *,
        host: str,
        port: int,
        certificate: Path | None = None,
        key: Path | None = None,
        processes: int = 1,
        no_worker: bool = False,
        **options: Any,
    ) -> None:
        if processes < 1:
            raise CommandError("--processes needs a number, 1 or more.")
        tls = tls_of(certificate, key)
        refuse_a_taken_port(host, port)
        refuse_a_storage_that_is_away()
        address = tls.address(port) if tls else f"http://{host}:{port}"
        self.stdout.write(f"The office answers at {address}/ (Ctrl-C stops it).")
        serve(host, port, tls, worker=not no_worker, processes=processes)
