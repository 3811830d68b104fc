"""Pages of long work: the list, and one piece with how far it is."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from office.letters import actions as letters
from office.letters.models import Letter
from office.letters.queries import not_sent
from office.people.access import check_holds, person_of
from office.people.models import Role
from office.work import workers
from office.work.actions import ask_for_work, try_again, under_way
from office.work.kinds import kind_of
from office.work.models import Work, WorkFile, WorkState
from office.work.queries import kinds_for, work_visible_to
from office.work.rules import check_may_have_file, check_may_see

MOST_LETTERS = 50


def show_all(request: HttpRequest) -> HttpResponse:
    person = person_of(request)
    page = Paginator(work_visible_to(person), 30).get_page(request.GET.get("page"))
    context: dict[str, object] = {"page": page, "kinds": kinds_for(person), "nobody": not workers.any_alive()}
    if person.holds(Role.ADMINISTRATOR):
        context["letters"] = not_sent()[:MOST_LETTERS]
    return render(request, "work/list.html", context)


@require_POST
def letter_again(request: HttpRequest, key: str) -> HttpResponse:
    """A letter that could not be sent, or may not have been, sent by hand."""
    check_holds(person_of(request), Role.ADMINISTRATOR)
    letter = get_object_or_404(Letter, key=key)
    letters.try_again(letter)
    if letters.send(letter):
        messages.success(request, "The letter is on its way.")
    else:
        messages.error(request, "The mail server did not take it; the office tries again.")
    return redirect("work:list")


@require_POST
def ask(request: HttpRequest) -> HttpResponse:
    """Work asked for by hand. What waits or is under way already is shown instead of asked for twice."""
    person, name = person_of(request), request.POST.get("kind", "")
    check_holds(person, *(kind_of(name).roles or (Role.ADMINISTRATOR,)))
    return redirect("work:work", (under_way(by=person, kind=name) or ask_for_work(by=person, kind=name)).key)


@require_safe
def show(request: HttpRequest, key: str) -> HttpResponse:
    work = get_object_or_404(Work.objects.select_related("asked_by"), key=key)
    check_may_see(person_of(request), work)
    template = "work/how_far.html" if request.headers.get("HX-Request") else "work/work.html"
    return render(request, template, {"work": work, "ahead": _ahead_of(work), "nobody": _nobody_for(work)})


@require_POST
def again(request: HttpRequest, key: str) -> HttpResponse:
    """Failed work tried again, by whoever may look at it."""
    work = get_object_or_404(Work, key=key)
    check_may_see(person_of(request), work)
    try_again(work=work)
    return redirect("work:work", key)


@require_safe
def file(request: HttpRequest, key: str) -> HttpResponse:
    """The file that came of it, while it is kept."""
    work = get_object_or_404(Work, key=key)
    check_may_have_file(person_of(request), work)
    made = get_object_or_404(WorkFile, work=work)
    return HttpResponse(
        bytes(made.content),
        content_type=made.content_type,
        headers={"Content-Disposition": f'inline; filename="{made.name}"', "Cache-Control": "private, no-store"},
    )


def _nobody_for(work: Work) -> bool:
    """It waits, and no worker runs."""
    return work.state == WorkState.WAITING and not workers.any_alive()


def _ahead_of(work: Work) -> int:
    """How many pieces wait before this one."""
    return Work.objects.filter(state="waiting", pk__lt=work.pk).count() if work.state == "waiting" else 0
