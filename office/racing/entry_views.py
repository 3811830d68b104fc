"""Pages of an event's entries: a list taken, checked again, one entry settled, the report."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from boats.list_matching import look_wide
from boats.models import Boat
from boats.views.common import posted, status_of
from office import papers, spreadsheets
from office.people.access import person_of
from office.racing import actions, entry_file, queries, report, results, statements
from office.racing.checking import key_of
from office.racing.entry_file import EntryFileError, EntryFileErrors
from office.racing.event_forms import ListForm, SettleForm, StatementForm
from office.racing.event_views import check_entry, event_for
from office.racing.models import Check, Event, Settlement
from office.racing.results import Named, Result
from office.work.actions import ask_for_work, under_way


def upload(request: HttpRequest, key: str) -> HttpResponse:
    """Every error of the list at once, and then nothing is stored; or the whole list is."""
    event = event_for(request, key)
    sent = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    form = ListForm(*sent)
    errors: list[EntryFileError] = []
    try:
        taken = posted(request, form, lambda data: _take(request, event, data))
    except EntryFileErrors as refused:
        taken, errors = None, refused.errors
    if taken is not None:
        messages.success(request, f"The list is taken, {sum(taken.counts.values())} entries, and checked.")
        return redirect("events:event", key)
    context = {"event": event, "form": form, "errors": errors, "standing": queries.standing_list(event)}
    return render(request, "racing/events/upload.html", context, status=422 if errors else status_of(form))


def _take(request: HttpRequest, event: Event, data: dict[str, Any]) -> Check:
    file: UploadedFile[bytes] | None = data["file"]
    content = file.read(entry_file.LARGEST_FILE + 1) if file else data["pasted"].encode("utf-8", errors="replace")
    name = (file.name or "entry list")[:120] if file else entry_file.PASTED
    read = entry_file.read(content, name)
    return actions.take_entry_list(by=person_of(request), event=event, file=read, content=content, filename=name)


@require_POST
def check_again(request: HttpRequest, key: str) -> HttpResponse:
    event = event_for(request, key)
    done = actions.check_again(by=person_of(request), event=event)
    if done is None:
        messages.warning(request, "There is no entry list yet.")
        return redirect("events:event", key)
    check, found = done
    statements.settle_by_certificates(event, found)
    messages.success(request, "The list is checked as of now, and the check is kept.")
    return redirect("events:check", key, check.number)


def one_entry(event: Event, row: int) -> tuple[Result, tuple[str, ...]]:
    entry_list = queries.standing_list(event)
    if entry_list is None:
        raise Http404("There is no entry list yet.")
    file, found = queries.look(event, entry_list)
    one = next((result for result in found if result.row == row), None)
    if one is None:
        raise Http404("There is no such entry.")
    return one, file.extra


def entry(request: HttpRequest, key: str, row: int) -> HttpResponse:
    """One entry: what is known of her boat, the boats she may be, and what a person has settled."""
    event = event_for(request, key)
    one, extra = one_entry(event, row)
    return _entry_page(request, event, one, extra)


def _entry_page(
    request: HttpRequest, event: Event, one: Result, extra: tuple[str, ...], form: StatementForm | None = None
) -> HttpResponse:
    number, name = key_of(one.sail_number, one.boat)
    offered = list(one.offered)
    if one.matched is None:
        known = {boat.key for boat in offered}
        wide = look_wide(one.sail_number, one.boat)
        offered += [Named(far.boat.key, far.boat.name, far.boat.sail_number, far.why) for far in wide
                    if far.boat.key not in known]  # fmt: skip
    settlements = Settlement.objects.filter(event=event, number=number, name=name).select_related("boat", "settled_by")
    context = {
        "event": event,
        "one": one,
        "written": actions.written(one.sail_number, one.boat),
        "extra": list(zip(extra, one.extra, strict=True)),
        "offered": offered,
        "settlements": settlements,
        "statements": event.statements.filter(number=number, name=name).select_related("recorded_by", "settled_by"),
        "deadline": statements.deadline_of(event),
        "statement_form": form or StatementForm(initial={"entry": actions.written(one.sail_number, one.boat)}),
    }
    return render(request, "racing/events/entry.html", context, status=422 if form and form.errors else 200)


@require_POST
def settle(request: HttpRequest, key: str, row: int) -> HttpResponse:
    """One click: this boat, or none of the register; or the question opened again."""
    event = event_for(request, key)
    one, _ = one_entry(event, row)
    form = SettleForm(request.POST)
    if not form.is_valid():
        return redirect("events:entry", key, row)
    check_entry(form.cleaned_data["entry"], actions.written(one.sail_number, one.boat))
    about: dict[str, Any] = {"by": person_of(request), "event": event, "sail_number": one.sail_number, "name": one.boat}
    if "reopen" in request.POST:
        actions.reopen_entry(**about)
        messages.success(request, "The question is open again.")
        return redirect("events:entry", key, row)
    chosen = form.cleaned_data["boat"]
    boat = get_object_or_404(Boat, key=chosen) if chosen else None
    actions.settle_entry(**about, boat=boat, reason=form.cleaned_data["reason"])
    messages.success(request, f"Settled: {boat or 'none of the register'}. It holds for every list of this event.")
    return redirect("events:entry", key, row)


@require_POST
def record_statement(request: HttpRequest, key: str, row: int) -> HttpResponse:
    event = event_for(request, key)
    one, extra = one_entry(event, row)
    form = StatementForm(request.POST)

    def record(data: dict[str, Any]) -> Any:
        check_entry(data.pop("entry"), actions.written(one.sail_number, one.boat))
        return statements.record_statement(
            by=person_of(request), event=event, sail_number=one.sail_number, name=one.boat, **data
        )

    if posted(request, form, record) is None:
        return _entry_page(request, event, one, extra, form)
    messages.success(request, f"The statement is recorded; it is open until {statements.deadline_of(event)}.")
    return redirect("events:statements", key)


def report_file(request: HttpRequest, key: str, kind: str) -> HttpResponse:
    """The list as of now, or as a stored check (`?check=`) found it: CSV, or PDF on A4 or Letter (`?size=`)."""
    event = event_for(request, key)
    check, size = _asked(request.GET, event)
    found = report.of(event, check)
    if kind not in {"csv", "pdf"} or found is None:
        raise Http404("There is no such report.")
    sheet, extra = found
    if kind == "csv":
        return spreadsheets.answer("csv", report.name_of(event), *results.table(list(sheet.found), extra))
    return HttpResponse(
        report.pdf(sheet, size),
        content_type="application/pdf",
        headers={
            "Content-Disposition": f'inline; filename="{report.name_of(event)}.pdf"', "Cache-Control": "no-store"
        },
    )  # fmt: skip


@require_POST
def ask_report(request: HttpRequest, key: str) -> HttpResponse:
    """The same PDF made by a worker: that of a big event takes longer than a page should."""
    event, person = event_for(request, key), person_of(request)
    check, size = _asked(request.POST, event)
    about: dict[str, Any] = {"kind": "event_report", "event": event.key, "check": check and check.number, "size": size}
    work = under_way(by=person, **about) or ask_for_work(by=person, title=f"Report on {event}", **about)
    return redirect("work:work", work.key)


def _asked(given: QueryDict, event: Event) -> tuple[Check | None, str]:
    """The stored check and the paper that are meant. Raises Http404 for what there is not."""
    stored, size = given.get("check", ""), given.get("size", "A4")
    if size not in papers.SIZES:
        raise Http404("There is no such paper.")
    if not stored:
        return None, size
    checks = event.checks.select_related("entry_list")
    return get_object_or_404(checks, number=stored if stored.isdecimal() else 0), size
