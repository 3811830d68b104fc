"""Certificates that end soon with what their owners have been told, and the letters for the ticked ones."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from office.audit.refusals import NotAllowed, Refusal
from office.certificates import reminding, renewing
from office.certificates.forms import EndingForm, ticked_numbers
from office.certificates.renewal_views import AHEAD, ROWS
from office.people.access import OFFICE, person_of, require_roles


@require_roles(*OFFICE)
def show(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    form = EndingForm(request.GET if "until" in request.GET else {"until": (today + AHEAD).isoformat()})
    until = form.cleaned_data["until"] if form.is_valid() else today
    if request.method == "POST" and _sent(request):
        return redirect(request.get_full_path())
    page = Paginator(renewing.ending_by(until, today), ROWS).get_page(request.GET.get("page"))
    by_certificate: dict[int, list[reminding.Letter]] = {}
    for letter in reminding.letters(today, page.object_list):
        by_certificate.setdefault(letter.certificate.pk, []).append(letter)
    context = {
        "page": page,
        "form": form,
        "until": until,
        "rows": [(one, by_certificate.get(one.pk, [])) for one in page.object_list],
    }
    return render(request, "certificates/remind.html", context, status=422 if request.method == "POST" else 200)


def _sent(request: HttpRequest) -> bool:
    try:
        done = reminding.send_ticked(by=person_of(request), numbers=ticked_numbers(request))
    except NotAllowed:
        raise
    except Refusal as refusal:
        messages.error(request, str(refusal))
        return False
    messages.success(request, f"Letters sent: {done.sent}; sent already at this stage: {done.already}.")
    if done.waiting:
        messages.error(
            request, f"{done.waiting} could not be sent yet ({done.trouble}); they wait, and the office tries again."
        )
    return True
