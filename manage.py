#!/usr/bin/env python3
"""The one door to every command: `python3 manage.py demo`, `test`, `serve`, `check_all`, `bench`, ...

Sees to the environment first (office/environment.py, standard library only), then hands over to Django.
"""

import sys

if sys.version_info < (3, 11):  # noqa: UP036  (said plainly, before anything newer is read)
    sys.exit("This needs Python 3.11 or newer; this is Python %d.%d." % sys.version_info[:2])  # noqa: UP031  (must be readable by any Python)

import os

from office import environment


def main() -> None:
    command = sys.argv[1] if len(sys.argv) > 1 else "help"
    environment.prepare(command)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "office.settings")
    from django.core.management import execute_from_command_line  # noqa: PLC0415  (there only from here on)

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
