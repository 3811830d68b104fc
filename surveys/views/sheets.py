"""Log sheets in and out."""

from __future__ import annotations

import hashlib
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office.people.models import Person
from surveys import actions, export, rules
from surveys.actions.sheets import Taken
from surveys.forms.visits import UploadForm
from surveys.logsheet import LogSheetError, LogSheetErrors, read
from surveys.logsheet.fields import LARGEST_FILE
from surveys.models import Instrument, Visit
from surveys.views.common import person_of, posted, sent, status_of, visit_for


def upload(request: HttpRequest, key: str) -> HttpResponse:
    """Every error of the file at once, and then nothing is stored; or the whole sheet is."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    form = UploadForm(sent(request), request.FILES if request.method == "POST" else None)
    errors: list[LogSheetError] = []
    try:
        taken = posted(request, form, lambda data: _take(person, visit, data))
    except LogSheetErrors as refused:
        taken, errors = None, refused.errors
    if taken is not None:
        return _told(request, taken)
    context = {
        "visit": visit,
        "form": form,
        "errors": errors,
        "why_not": rules.why_not(rules.check_state, visit, "write"),
    }
    return render(request, "surveys/upload.html", context, status=422 if errors else status_of(form))


def _take(by: Person, visit: Visit, data: dict[str, Any]) -> Taken:
    file: UploadedFile[bytes] = data["file"]
    content = file.read(LARGEST_FILE + 1)
    name = (file.name or "log sheet")[:120]
    known = set(Instrument.objects.values_list("identifier", flat=True))
    sheet = read(content, name, known_instruments=known, today=timezone.localdate())
    return actions.take_log_sheet(
        by=by,
        visit=visit,
        sheet=sheet,
        filename=name,
        file_sha256=hashlib.sha256(content).hexdigest(),
        amend_reason=data["reason"] if data["amend"] else "",
    )


def _told(request: HttpRequest, taken: Taken) -> HttpResponse:
    messages.success(
        request,
        f"The log sheet is taken: {taken.new} reading{'s' * (taken.new != 1)} new, {taken.same} there already, "
        f"{taken.amended} amended.",
    )
    if taken.differences:
        told = "; ".join(
            f"{one.identifier}, {one.field.replace('_', ' ')}: {_word(one.file_value)} in the file, "
            f"{_word(one.stored_value)} on record"
            for one in taken.differences
        )
        messages.warning(request, f"The office's record says otherwise, and stands: {told}.")
    return redirect("surveys:readings", taken.visit.key)


def _word(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "nothing" if value in (None, "") else str(value).replace("_", " ")


def download(request: HttpRequest, key: str) -> HttpResponse:
    """The stored visit as a log sheet: `?format=xlsx`, else CSV."""
    visit = visit_for(request, key)
    kind = request.GET.get("format", "csv")
    if kind not in export.KINDS:
        raise Http404("There is no such kind of file.")
    content_type, write = export.KINDS[kind]
    name = export.file_name(visit, kind)
    return HttpResponse(
        write(export.log_sheet_of(visit)),
        content_type=content_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"},
    )
