"""What is done to several ticked visits at once: planned together, or printed together."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from office.audit.refusals import WrongState
from office.people.access import OFFICE, require_roles
from office.people.models import Role
from surveys import actions, rules
from surveys.forms.visits import PlanSeveralForm
from surveys.listing import visits_visible_to
from surveys.models import Visit
from surveys.paper import pages
from surveys.paper.visits import for_paper
from surveys.views.common import person_of, posted, sent, status_of
from surveys.views.paper import answer, asked_for

MOST = 50  # a page of the list


def ticked(request: HttpRequest) -> list[Visit]:
    """`?visit=KEY&visit=KEY…`, those the person may see, harbour by harbour. WrongState for none, or too many."""
    keys = {key for key in request.GET.getlist("visit") if "\0" not in key}
    if not keys:
        raise WrongState("No visit was ticked. Go back to the list and tick at least one.")
    if len(keys) > MOST:
        raise WrongState(f"{len(keys)} visits were ticked; at most {MOST} are taken at once.")
    found = for_paper(visits_visible_to(person_of(request)).filter(key__in=keys))
    return list(found.order_by("harbour", "planned_on", "boat__name_normal", "pk"))


@require_roles(Role.MEASURER, *OFFICE)
def print_them(request: HttpRequest) -> HttpResponse:
    """Every log sheet in one PDF, behind a page that lists them."""
    visits, person = ticked(request), person_of(request)
    for visit in visits:
        rules.check_may_print(person, visit)
    if not visits:
        raise WrongState("None of the ticked visits is there for you to print.")
    size, blank = asked_for(request)
    return answer(pages.several(visits, size, blank=blank), "log-sheets.pdf")


@require_roles(*OFFICE)
def plan(request: HttpRequest) -> HttpResponse:
    """One day, one measurer, one harbour or each its own. The address holds the visits, so that a refused form keeps
    them."""
    visits = ticked(request)
    form = PlanSeveralForm(sent(request))
    done = posted(request, form, lambda data: actions.plan_several(by=person_of(request), visits=visits, **data))
    if done:
        messages.success(request, f"{len(done)} visit{'' if len(done) == 1 else 's'} planned.")
        return redirect("surveys:list")
    closed = [visit for visit in visits if not rules.state_allows(visit, "plan")]
    return render(
        request, "surveys/plan_several.html", {"visits": visits, "closed": closed, "form": form}, status=status_of(form)
    )
