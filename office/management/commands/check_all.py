"""`manage.py check_all`: every static check, one line each; all failures at the end."""

from __future__ import annotations

import os
import secrets
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple

from django.core.management.base import BaseCommand, CommandError

from office import environment

TOOLS = Path(sys.executable).parent
MANAGE = (sys.executable, str(environment.ROOT / "manage.py"))
# What a real office sets, as far as Django's deploy checks look.
PRODUCTION = {
    "OFFICE_SECRET_KEY": secrets.token_urlsafe(64),
    "OFFICE_HOSTS": "office.example",
    "OFFICE_PUBLIC_URL": "https://office.example",
    "OFFICE_HTTPS": "1",
    "OFFICE_DEBUG": "",
}


class Check(NamedTuple):
    name: str
    command: tuple[str, ...]
    settings: dict[str, str] = {}


def tool(name: str, *arguments: str) -> tuple[str, ...]:
    return (str(TOOLS / name), *arguments)


CHECKS = (
    Check("format", tool("ruff", "format", "--check", "--quiet", "--diff", ".")),
    Check("lint", tool("ruff", "check", "--quiet", ".")),
    Check("types", tool("mypy")),
    Check("storeys", tool("lint-imports", "--no-logo")),
    Check("migrations complete", (*MANAGE, "makemigrations", "--check", "--dry-run")),
    Check("state diagram up to date", (*MANAGE, "state_diagram", "--check")),
    Check("ready to deploy", (*MANAGE, "check", "--deploy", "--fail-level", "WARNING"), PRODUCTION),
)


AT_ONCE = 2


def run(check: Check) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        check.command,
        cwd=environment.ROOT,
        env={**os.environ, **check.settings},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        check=False,
    )


class Command(BaseCommand):
    help = "Runs every static check: format, lint, types, storeys, migrations, state diagram, Django's deploy checks."
    requires_system_checks = ()

    def handle(self, **options: Any) -> None:
        failures = []
        with ThreadPoolExecutor(AT_ONCE) as pool:  # most of them keep one core busy
            for check, done in zip(CHECKS, pool.map(run, CHECKS), strict=True):
                self.stdout.write(f"{'FAILED' if done.returncode else 'ok':<7} {check.name}")
                self.stdout.flush()
                if done.returncode:
                    failures.append((check, done.stdout))
        for check, output in failures:
            self.stdout.write(f"\n--- {check.name}\n{output}")
        if failures:
            raise CommandError(
                f"{len(failures)} of {len(CHECKS)} checks failed: " + ", ".join(c.name for c, _ in failures)
            )
