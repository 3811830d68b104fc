"""Letters written, sent, and tried again.

A letter is claimed before it is handed to the mail server and noted after it: whoever is killed in between leaves it
unsure, and it is not sent a second time by itself.
"""

from __future__ import annotations

import datetime as dt
import smtplib
from itertools import takewhile

from django.core.mail import send_mail
from django.db.models import F
from django.utils import timezone

from office.audit.refusals import WrongState
from office.letters import sealing
from office.letters.models import Letter, LetterState

# How long after the first failed try, the second and so on the next one comes (judgement, no source).
PAUSES = [dt.timedelta(minutes=minutes) for minutes in (1, 5, 15, 60, 240)]
FIRST = dt.timedelta(seconds=60)  # for whoever wrote it to send it; then a worker does
SENDING = dt.timedelta(minutes=5)  # a mail server is given less
KEPT = dt.timedelta(days=14)  # rows of letters that were sent, and letters that never were


def write(*, to: str, subject: str, text: str, about: str) -> Letter:
    """A letter to be sent; call it in the transaction of what it tells, and `send` after that."""
    letter = sealing.sealed(to=to, subject=subject, text=text)
    return Letter.objects.create(about=about, sealed=letter, due_at=timezone.now() + FIRST)


def send(letter: Letter) -> bool:
    """Whether it is on its way. What failed is tried again by a worker, later with every try."""
    now = timezone.now()
    mine = Letter.objects.filter(pk=letter.pk, state=LetterState.WAITING)
    if not mine.update(state=LetterState.SENDING, claimed_at=now, tries=F("tries") + 1):
        return Letter.objects.filter(pk=letter.pk, state=LetterState.SENT).exists()
    letter.refresh_from_db()
    try:
        to, subject, text = sealing.opened(letter.sealed)
        send_mail(subject, text, None, [to])
    except (OSError, smtplib.SMTPException, sealing.CannotOpen) as error:
        _put_off(letter, type(error).__name__)
        return False
    _note(letter, state=LetterState.SENT, sealed="", ended_at=timezone.now(), trouble="")
    return True


def send_due(most: int = 50) -> int:
    """Sends what waits; how many are on their way. What was being sent for too long has become unsure."""
    now = timezone.now()
    lost = Letter.objects.filter(state=LetterState.SENDING, claimed_at__lt=now - SENDING)
    lost.update(state=LetterState.UNSURE, ended_at=now)
    due = Letter.objects.filter(state=LetterState.WAITING, due_at__lte=now).order_by("due_at", "pk")
    return sum(1 for _ in takewhile(send, due[:most]))  # where one fails, the others would


def try_again(letter: Letter) -> None:
    """By hand, what failed or may not have been sent. Raises WrongState."""
    ended = Letter.objects.filter(pk=letter.pk, state__in=[LetterState.FAILED, LetterState.UNSURE]).exclude(sealed="")
    if not ended.update(state=LetterState.WAITING, tries=0, ended_at=None, due_at=timezone.now()):
        raise WrongState("Only a letter that was not sent is tried again.")


def forget_old() -> None:
    Letter.objects.filter(written_at__lt=timezone.now() - KEPT).exclude(state=LetterState.SENDING).delete()


def _put_off(letter: Letter, trouble: str) -> None:
    now = timezone.now()
    if letter.tries > len(PAUSES):
        _note(letter, state=LetterState.FAILED, ended_at=now, trouble=trouble)
    else:
        _note(letter, state=LetterState.WAITING, due_at=now + PAUSES[letter.tries - 1], trouble=trouble)


def _note(letter: Letter, **fields: object) -> None:
    Letter.objects.filter(pk=letter.pk, state=LetterState.SENDING, tries=letter.tries).update(**fields)
    letter.refresh_from_db()
