"""How far a piece of work is: written to its row, but not more often than anybody looks."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable

from django.utils import timezone

from office.work.models import Work, WorkFile

EVERY = 0.5  # seconds between two writes
MOST_SENTENCES = 500


class Lost(Exception):
    """This piece of work has been given to another worker meanwhile, or ended."""


class TryAgain(Exception):
    """What stands in the way passes (a disk, a mail server): one sentence. The work is tried again later.

    `after`: how much later; without it, later with every try.
    """

    def __init__(self, sentence: str, after: dt.timedelta | None = None) -> None:
        super().__init__(sentence)
        self.after = after


class Progress:
    """`step` says how far the work is; `say` adds a sentence; `leads_to` names the page that shows what came of it."""

    def __init__(self, work: Work, clock: Callable[[], float] = time.monotonic) -> None:
        self.work, self._clock, self._written = work, clock, -EVERY
        self._unsaid = 0

    def step(self, done: int, total: int) -> None:
        """Raises Lost where the piece is no longer this worker's."""
        self.work.done, self.work.total = done, total
        if self._clock() - self._written >= EVERY or done == total:
            self.write()

    def say(self, sentence: str) -> None:
        """Past the five-hundredth sentence only their number is kept."""
        if len(self.work.said) < MOST_SENTENCES:
            self.work.said.append(sentence)
        else:
            self._unsaid += 1

    def leads_to(self, address: str) -> None:
        self.work.leads_to = address

    def keep(self, name: str, content_type: str, content: bytes) -> None:
        """A file for who asked, on the page of the work; done again, it takes the place of the former one."""
        WorkFile.objects.update_or_create(
            work=self.work,
            defaults={"name": name, "content_type": content_type, "content": content, "made_at": timezone.now()},
        )

    def write(self) -> None:
        work = self.work
        work.beat_at = timezone.now()
        said = [*work.said, f"… and {self._unsaid} more."] if self._unsaid else work.said
        mine = Work.objects.filter(pk=work.pk, state=work.state, tries=work.tries)
        if not mine.update(done=work.done, total=work.total, said=said, leads_to=work.leads_to, beat_at=work.beat_at):
            raise Lost(f"{work.title} is done by another worker.")
        self._written = self._clock()
