"""Issuing an amendment, and its papers."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from boats.views.common import posted, status_of
from office.audit.refusals import WrongState
from office.certificates import amending, snapshot
from office.certificates.forms import AmendForm
from office.certificates.models import AmendmentDocument, AmendmentSeal
from office.certificates.views import readable
from office.people.access import person_of, require_roles
from office.people.confirming import confirmed
from office.people.models import Role


@require_roles(Role.CERTIFIER)
@confirmed
def amend(request: HttpRequest, number: str) -> HttpResponse:
    certificate, by = readable(request, number), person_of(request)
    amending.check_may_amend(by, certificate)
    amending.check_can_amend(certificate, timezone.localdate())
    form = AmendForm(request.POST or None)
    made = posted(
        request,
        form,
        lambda data: amending.amend(by=by, certificate=certificate, text=data["text"], reason=data["reason"]),
    )
    if made:
        messages.success(request, f"Amendment {made.number} to certificate {number} is issued.")
        return redirect("certificates:certificate", number)
    context = {"certificate": certificate, "form": form}
    return render(request, "certificates/amend.html", context, status=status_of(form))


def signed_snapshot(request: HttpRequest, number: str, amendment: int) -> HttpResponse:
    """What it states with its signature, as one JSON file."""
    certificate = readable(request, number)
    seal = get_object_or_404(
        AmendmentSeal.objects.select_related("statement_key", "amendment"),
        amendment__certificate=certificate, amendment__number=amendment,
    )  # fmt: skip
    return HttpResponse(
        amending.signed_file(seal),
        content_type="application/json",
        headers={
            "Content-Disposition": f'attachment; filename="{certificate.number}-A{amendment}.json"',
            "Cache-Control": "private, no-store",
        },
    )


def pdf(request: HttpRequest, number: str, amendment: int, size: str) -> HttpResponse:
    """The paper as it was issued: the stored bytes, never made anew."""
    certificate = readable(request, number)
    document = get_object_or_404(
        AmendmentDocument, amendment__certificate=certificate, amendment__number=amendment, paper=size
    )
    content = bytes(document.pdf)
    if snapshot.sha256(content) != document.pdf_sha256:
        raise WrongState(f"The stored paper of {number} does not have its hash any more; the office must look into it.")
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{certificate.number}-A{amendment}-{size}.pdf"',
            "Cache-Control": "private, no-store",
        },
    )
