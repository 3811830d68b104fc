"""`manage.py worker`: does the office's long work, one piece after the other. `serve` starts one by itself."""

from __future__ import annotations

import logging
import os
import signal
import threading
import time
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, InterfaceError, OperationalError, ProgrammingError, connection

from office import environment, memory
from office.letters import actions as letters
from office.work import workers
from office.work.actions import take_up_again, tidy_up
from office.work.daily import ask_for_what_is_due

ASK_AGAIN = 2.0  # seconds
LETTERS_EVERY = 5.0  # seconds
LOOK_EVERY = 15.0  # seconds: for work whose worker was killed
log = logging.getLogger(__name__)


class Command(BaseCommand):
    help = "Does long work from the queue until it is stopped; a piece under way is finished first."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="end when nothing waits any more")
        parser.add_argument("--with-parent", type=int, default=0, metavar="PID", help="end when that one has ended")

    def handle(self, *, once: bool, with_parent: int, **options: Any) -> None:
        name = workers.own_name()
        try:
            look(name)
            tidy_up()
            letters.forget_old()
            letters.send_due()
        except (OperationalError, ProgrammingError) as error:
            raise CommandError(f"Long work waits: run `migrate` first ({error}).") from error
        memory.settle()
        if not once:
            watch = threading.Thread(target=look_after, args=(name, with_parent), daemon=True)
            watch.start()
            threading.Thread(target=send_letters, daemon=True).start()
        try:
            work_off(once=once)
        finally:
            try:
                workers.take_off(name)
            except DatabaseError:
                log.warning("could not say that this worker ends", exc_info=True)


def work_off(*, once: bool) -> None:
    """Take piece after piece. A database that is busy or away for a while ends no worker: it asks again."""
    while True:
        try:
            call_command("db_worker", batch=once, startup_delay=False, reload=False, verbosity=0, interval=1.0)
        except (OperationalError, InterfaceError):
            if once:
                raise
            log.warning("the database does not answer; long work waits for it", exc_info=True)
            connection.close()
            environment.stop_like_ctrl_c()  # the library's own way waits for what is under way: nothing is
            time.sleep(ASK_AGAIN)
        else:
            return


def look(name: str) -> None:
    """A sign of life; work that waits for a dead worker, or whose hour of the day has come, is queued."""
    workers.give_sign(name)
    take_up_again()
    ask_for_what_is_due()


def send_letters() -> None:
    """Beside the work, which may be long: letters that wait."""
    pause = threading.Event()
    while not pause.wait(LETTERS_EVERY):
        try:
            letters.send_due()
        except DatabaseError:
            log.warning("could not look for letters", exc_info=True)
        finally:
            connection.close()


def look_after(name: str, parent: int) -> None:
    """Every few seconds: is the process that started us still there, and is anything to be queued?

    That one is told by its number: it may have ended before we were ready to ask who it is.
    """
    pause = threading.Event()
    since = 0.0
    while not pause.wait(1.0):
        if parent and os.getppid() != parent:
            os.kill(os.getpid(), signal.SIGTERM)  # as Ctrl-C would: what is under way is finished
            return
        since += 1.0
        if since >= LOOK_EVERY:
            since = 0.0
            try:
                look(name)
            except DatabaseError:  # busy or away for a moment; the next look comes
                log.warning("could not look after the queue", exc_info=True)
            finally:
                connection.close()
