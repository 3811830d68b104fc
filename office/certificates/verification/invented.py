"""An office that `load_synthetic` wrote: most of its certificates were never put on paper, and the trail says which.

Such a certificate is excused from papers and seal only if its issue was written before the row of the trail that calls
the office invented, and itself tells of no papers. All else is checked as in any office, and the excuse is told.
"""

from __future__ import annotations

from office.audit.models import Entry
from office.certificates.models import Certificate

VERB = "load_synthetic"
NO_PAPERS = '"documents":{}'


def loaded_up_to() -> int:
    """The number of the row that calls the office invented; 0 in any other office."""
    found = Entry.objects.filter(verb=VERB).order_by("number").values_list("number", flat=True).first()
    return found or 0


def without_papers(numbers: list[str], up_to: int) -> set[str]:
    """Of these certificates, those that were invented without papers."""
    if not up_to:
        return set()
    issues = Entry.objects.filter(
        certificate__in=numbers, verb="issue_certificate", number__lt=up_to, after__contains=NO_PAPERS
    )
    return set(issues.values_list("certificate", flat=True))


def counted() -> int:
    """How many certificates are excused; 0 where the office is none that was invented."""
    up_to = loaded_up_to()
    if not up_to:
        return 0
    told = Entry.objects.filter(verb="issue_certificate", number__lt=up_to, after__contains=NO_PAPERS)
    return Certificate.objects.filter(number__in=told.values("certificate")).count()
