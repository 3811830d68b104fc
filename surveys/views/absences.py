""" "Not on this rig", said of one reading and taken back."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from surveys import actions, rules
from surveys.forms.readings import WithdrawForm
from surveys.reading_rows import rows_of
from surveys.views.common import person_of, posted, sent, status_of, visit_for


def show(request: HttpRequest, key: str, row_key: str) -> HttpResponse:
    """Mark the row, or take the mark back where there is one; each with a reason."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    row = next((one for one in rows_of(visit) if one.key == row_key), None)
    if row is None:
        raise Http404("This rig has no such reading.")
    form = WithdrawForm(sent(request))
    if row.absent is not None:
        mark = row.absent
        done = posted(request, form, lambda data: actions.take_absence_back(by=person, mark=mark, **data))
    else:
        place = {"slug": row.kind.slug, "mast": row.mast, "position": row.position}
        done = posted(request, form, lambda data: actions.mark_absent(by=person, visit=visit, **place, **data))
    if done:
        messages.success(request, "The mark is taken back." if row.absent else "Marked as not on this rig.")
        return redirect("surveys:readings", visit.key)
    return render(request, "surveys/absent.html", {"visit": visit, "row": row, "form": form}, status=status_of(form))
