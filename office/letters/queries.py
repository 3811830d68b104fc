"""Letters that somebody has to know of."""

from __future__ import annotations

from django.db.models import QuerySet

from office.letters.models import Letter, LetterState


def not_sent() -> QuerySet[Letter]:
    """What waits after a failure, failed for good, or may have been sent."""
    troubled = Letter.objects.exclude(state__in=[LetterState.SENT, LetterState.SENDING])
    return troubled.exclude(state=LetterState.WAITING, tries=0).order_by("-written_at", "-pk")
