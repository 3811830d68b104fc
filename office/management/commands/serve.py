"""`manage.py serve`: the real server (granian) on the settings of the environment."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from office import environment

if TYPE_CHECKING:
    from django.core.management.base import CommandParser

THREADS = 4  # one makes a PDF while the others answer
# A worker that has grown beyond this is replaced by a fresh one, which starts before the old one finishes and goes.
MOST_MEMORY_MIB = 160


def refuse_a_taken_port(host: str, port: int) -> None:
    """Raises CommandError if somebody listens there: granian would share the port without a word."""
    if not environment.port_is_free(host, port):
        raise CommandError(f"Port {port} on {host} is in use. Stop what uses it, or choose another: --port {port + 1}")


def serve(host: str, port: int) -> None:
    """Collect the static files and become the web server; does not return."""
    refuse_a_taken_port(host, port)
    call_command("collectstatic", interactive=False, verbosity=0)
    server = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", host, "--port", str(port)]
    server += ["--workers", "1", "--blocking-threads", str(THREADS), "--log-level", "warning"]
    server += ["--workers-max-rss", str(MOST_MEMORY_MIB), "--respawn-failed-workers", "office.wsgi:application"]
    os.chdir(environment.ROOT)
    sys.stdout.flush()
    os.execv(sys.executable, server)  # noqa: S606  (so that signals reach the server itself)


class Command(BaseCommand):
    help = "Runs the real server on the settings of the environment."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", default="127.0.0.1")
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *, host: str, port: int, **options: Any) -> None:
        refuse_a_taken_port(host, port)
        self.stdout.write(f"The office answers at http://{host}:{port}/ (Ctrl-C stops it).")
        serve(host, port)
