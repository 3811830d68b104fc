"""Pages of the certificates: list, one certificate, issue, withdraw, and the papers themselves."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Prefetch, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe

from boats.rules import SEES_EVERY_BOAT, owns
from boats.views.common import posted, status_of
from computations.drawing import RigFigures, draw_file, draw_for_page, figures_from
from office import papers, spreadsheets
from office.audit.refusals import NotAllowed, Refusal, WrongState
from office.certificates import actions, amending, paper, queries, rules, snapshot
from office.certificates.forms import BeginForm, ConfirmForm, FilterForm, WithdrawForm
from office.certificates.models import AmendmentDocument, Certificate, Document, Seal
from office.certificates.seal import statement_file
from office.certificates.standing import WORDS, standing
from office.people.access import OFFICE, is_office, person_of, require_roles
from office.people.confirming import confirmed
from office.people.models import Role
from surveys.models import Visit

ROWS = 50
SORTS = {
    "number": ("number",),
    "boat": ("boat__name_normal", "valid_from", "pk"),
    "sail": ("boat__sail_number_normal", "valid_from", "pk"),
    "from": ("valid_from", "pk"),
    "until": ("valid_until", "pk"),
    "issued": ("issued_at", "pk"),
}
HEADER = (
    "certificate", "boat", "sail_number", "in_force_from", "in_force_until", "standing", "on", "ended_on",
    "ending_reason", "replaces", "replaced_by", "issued_at", "issued_by",
)  # fmt: skip


# ---- The list ----


def _listed(request: HttpRequest, form: FilterForm) -> tuple[QuerySet[Certificate], str, dt.date]:
    """The certificates asked for in the order asked for, that order's key, and the day they are asked about."""
    on = timezone.localdate()
    rows = Certificate.objects.none()
    if form.is_valid():
        asked = form.cleaned_data
        on = asked["on"] or on
        rows = queries.listed(
            person_of(request), on, text=asked["q"], stands=asked["standing"], ends_within=asked["ends"]
        )
    sort = request.GET.get("sort", "-issued")
    if sort.removeprefix("-") not in SORTS:
        sort = "-issued"
    keys = SORTS[sort.removeprefix("-")]
    return rows.order_by(*(f"-{key}" if sort.startswith("-") else key for key in keys)), sort, on


@require_roles(*SEES_EVERY_BOAT, Role.OWNER)
def show_all(request: HttpRequest) -> HttpResponse:
    form = FilterForm(request.GET)
    rows, sort, on = _listed(request, form)
    page = Paginator(rows, ROWS).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": [(one, standing(one, on)) for one in page.object_list],
        "form": form,
        "sort": sort,
        "on": on,
        "certifier": person_of(request).holds(Role.CERTIFIER),
        "office": is_office(person_of(request)),
    }
    return render(request, "certificates/list.html", context)


@require_roles(*SEES_EVERY_BOAT, Role.OWNER)
def export(request: HttpRequest, kind: str) -> HttpResponse:
    """Every row of the list as it is filtered and sorted, not only one page."""
    if kind not in spreadsheets.KINDS:
        raise Http404("There is no such kind of file.")
    rows, _, on = _listed(request, FilterForm(request.GET))
    table = (_exported(one, on) for one in rows.iterator(chunk_size=1000))
    return spreadsheets.answer(kind, "certificates", HEADER, table)


def _exported(one: Certificate, on: dt.date) -> spreadsheets.Row:
    successor = getattr(one, "successor", None)
    return (
        one.number, one.boat.name, one.boat.sail_number, one.valid_from, one.valid_until, WORDS[standing(one, on)], on,
        one.ended_on, one.ending_reason, one.replaces.number if one.replaces else "",
        successor.number if successor else "", snapshot.instant(one.issued_at), one.issued_by.name,
    )  # fmt: skip


# ---- One certificate ----


def readable(request: HttpRequest, number: str) -> Certificate:
    """The certificate of an address, for whoever may read it."""
    rows = Certificate.objects.select_related("boat", "visit", "replaces", "successor", "issued_by", "ended_by")
    rows = rows.prefetch_related("suspensions__suspended_by", "suspensions__lifted_by")
    certificate = get_object_or_404(rows.defer("replaces__snapshot", "successor__snapshot"), number=number)
    rules.check_may_read(person_of(request), certificate)
    return certificate


def show(request: HttpRequest, number: str) -> HttpResponse:
    """What it states, from its snapshot; how it stands today; what it replaced and what replaced it; its papers."""
    certificate = readable(request, number)
    document, today, person = snapshot.read(certificate), timezone.localdate(), person_of(request)
    context = {
        "certificate": certificate,
        "standing": standing(certificate, today),
        "today": today,
        "successor": getattr(certificate, "successor", None),
        "chain": [(one, standing(one, today)) for one in queries.chain_of(certificate)],
        "papers": certificate.documents.defer("pdf"),
        "seal": Seal.objects.select_related("statement_key", "paper_key").filter(certificate=certificate).first(),
        "trail": person.holds(*OFFICE, Role.OWNER),
        "certifier": person.holds(Role.CERTIFIER),
        "office": is_office(person),
        "owns": owns(person, certificate.boat),
        "why_not_withdraw": _why_not_withdraw(person, certificate, today),
        "amendments": certificate.amendments.select_related("issued_by", "seal").prefetch_related(
            Prefetch("documents", AmendmentDocument.objects.defer("pdf"))
        ),
        "why_not_amend": amending.why_not(person, certificate, today),
        "suspended": rules.open_suspension(certificate),
        "why_not_suspend": _why_not_suspend(person, certificate, today),
        "why_not_reinstate": _why_not_reinstate(person, certificate, today),
        "why_not_replace": rules.why_not(rules.check_may_issue, person, certificate.visit),
        **_stated(document),
    }
    return render(request, "certificates/certificate.html", context)


def _why_not_withdraw(person: Any, certificate: Certificate, today: dt.date) -> str:
    day = max(today, certificate.valid_from)
    return rules.why_not(rules.check_may_withdraw, person, certificate) or rules.why_not(
        rules.check_can_withdraw, certificate, day, today
    )


def _why_not_suspend(person: Any, certificate: Certificate, today: dt.date) -> str:
    return rules.why_not(rules.check_may_suspend, person, certificate) or rules.why_not(
        rules.check_can_suspend, certificate, rules.first_day_to_suspend(certificate, today), today
    )


def _why_not_reinstate(person: Any, certificate: Certificate, today: dt.date) -> str:
    return rules.why_not(rules.check_may_reinstate, person, certificate) or rules.why_not(
        rules.check_can_reinstate, certificate, rules.first_day_to_reinstate(certificate, today), today
    )


def _stated(document: dict[str, Any]) -> dict[str, Any]:
    """What pages show of a snapshot: its rows with their drawing, and the facts around them."""
    results = snapshot.results_of(document)
    return {
        "c": document,
        "results": [one for one in results if one.value is not None],
        "several_masts": len(paper.mast_names(document)) > 1,
        "not_measured": paper.names_of(document["not_measured"]),
        "spars": paper.spars(document),
        "instruments": [paper.instrument_line(one) for one in document["instruments"]],
        "drawing": _drawing(document),
    }


def _drawing(document: dict[str, Any]) -> SafeString:
    figures, title = _drawn(document)
    return mark_safe(draw_for_page(figures, title=title))  # noqa: S308  (made by us, texts escaped there)


def _drawn(document: dict[str, Any]) -> tuple[RigFigures, str]:
    figures = figures_from(snapshot.results_of(document), snapshot.rig_of(document))
    return figures, f"Rig of {document['boat']['name']}"


def drawing_file(request: HttpRequest, number: str) -> HttpResponse:
    """The rig as the certificate states it, as an SVG file."""
    certificate = readable(request, number)
    figures, title = _drawn(snapshot.read(certificate))
    return papers.drawing_answer(draw_file(figures, title=f"{title}, certificate {number}"), f"{number}-rig")


def pdf(request: HttpRequest, number: str, size: str) -> HttpResponse:
    """The paper as it was issued: the stored bytes, never made anew."""
    certificate = readable(request, number)
    document = get_object_or_404(Document, certificate=certificate, paper=size)
    content = bytes(document.pdf)
    if snapshot.sha256(content) != document.pdf_sha256:
        raise WrongState(f"The stored paper of {number} does not have its hash any more; the office must look into it.")
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{certificate.number}-{size}.pdf"',
            "Cache-Control": "private, no-store",
        },
    )


def signed_snapshot(request: HttpRequest, number: str) -> HttpResponse:
    """What it states with its signature, as one JSON file that can be checked without any PDF."""
    certificate = readable(request, number)
    seal = get_object_or_404(Seal.objects.select_related("statement_key"), certificate=certificate)
    content = statement_file.write(snapshot.read(certificate), seal.statement_key.identifier, seal.signature)
    return HttpResponse(
        content,
        content_type="application/json",
        headers={
            "Content-Disposition": f'attachment; filename="{certificate.number}.json"',
            "Cache-Control": "private, no-store",
        },
    )


# ---- Issue, replace, withdraw ----


@require_roles(Role.CERTIFIER)
@confirmed
def issue(request: HttpRequest, key: str) -> HttpResponse:
    """What a certificate of this visit would state from a day on; sent, with the confirmation, it is issued."""
    visit = get_object_or_404(Visit.objects.select_related("boat"), key=key)
    by = person_of(request)
    rules.check_accepted(visit)
    rules.check_may_issue(by, visit)
    correction = queries.of_visit(visit).first()
    form = ConfirmForm(request.POST or None, correction=correction is not None)
    made = posted(
        request,
        form,
        lambda data: actions.issue(
            by=by, visit=visit, valid_from=data["valid_from"], reason=data["reason"], replacing=data["replacing"]
        ),
    )
    if made:
        messages.success(request, f"{made.number} is issued, in force from {made.valid_from} to {made.valid_until}.")
        return redirect("certificates:certificate", made.number)
    begin = BeginForm(request.GET if "valid_from" in request.GET else {"valid_from": _first_day(request)})
    context = {"visit": visit, "form": form, "begin": begin, "correction": correction}
    context |= _preview(by, visit, begin, form, correction)
    return render(request, "certificates/issue.html", context, status=status_of(form))


def _first_day(request: HttpRequest) -> str:
    return str(request.POST.get("valid_from") or timezone.localdate().isoformat())


def _preview(
    by: Any, visit: Visit, begin: BeginForm, form: ConfirmForm, correction: Certificate | None
) -> dict[str, Any]:
    """What would be stated from the day asked for, or the sentence why not."""
    if not begin.is_valid():
        return {}
    first_day = begin.cleaned_data["valid_from"]
    predecessor = actions.predecessor_of(visit, queries.spanning(visit.boat, first_day))
    replacing = predecessor.number if predecessor else ""
    reason = "as given below" if correction else ""
    try:
        ready = actions.draft(by=by, visit=visit, valid_from=first_day, reason=reason, replacing=replacing)
    except NotAllowed:
        raise
    except Refusal as refusal:
        return {"refusal": str(refusal)}
    return {"ready": ready, "predecessor": predecessor, **_stated(ready.document)}


@require_roles(Role.CERTIFIER)
@confirmed
def withdraw(request: HttpRequest, number: str) -> HttpResponse:
    certificate = readable(request, number)
    by, today = person_of(request), timezone.localdate()
    rules.check_may_withdraw(by, certificate)
    rules.check_can_withdraw(certificate, max(today, certificate.valid_from), today)
    form = WithdrawForm(request.POST or None)
    done = posted(
        request,
        form,
        lambda data: actions.withdraw(by=by, certificate=certificate, on=data["on"], reason=data["reason"]),
    )
    if done:
        messages.success(request, f"{done.number} is withdrawn; it is not in force from {done.in_force_before} on.")
        return redirect("certificates:certificate", done.number)
    return render(
        request, "certificates/withdraw.html", {"certificate": certificate, "form": form}, status=status_of(form)
    )
