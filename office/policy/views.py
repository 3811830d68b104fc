"""The policy in force, the form for the next edition, and the former ones with what each changed."""

from __future__ import annotations

from typing import cast

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render

from office.audit.refusals import Refusal, Stale
from office.people.access import require_roles
from office.people.models import Person, Role
from office.people.queries import names_by_key
from office.policy import actions, editions, queries, validation
from office.policy.forms import PolicyForm
from office.policy.models import PolicyEdition

A_PAGE = 20


@require_roles(Role.ADMINISTRATOR)
def show(request: HttpRequest) -> HttpResponse:
    current = queries.current()
    typed = request.POST.copy() if request.method == "POST" else None
    form = PolicyForm(typed, edition=current)
    if typed is not None and form.is_valid() and _change(cast("Person", request.user), form, typed):
        messages.success(request, "The new edition is in force from now on.")
        return redirect("policy:show")
    context = {"form": form, "current": current}
    return render(request, "policy/show.html", context, status=422 if form.errors else 200)


@require_roles(Role.ADMINISTRATOR)
def list_editions(request: HttpRequest) -> HttpResponse:
    page = Paginator(PolicyEdition.objects.order_by("-pk"), A_PAGE).get_page(request.GET.get("page"))
    # One more than the page shows: the oldest on it is compared with the one before.
    found = list(page.paginator.object_list[page.start_index() - 1 : page.start_index() + A_PAGE])
    names = names_by_key(edition.made_by_key for edition in found)
    context = {"page": page, "changes": editions.changes(found, names)[:A_PAGE]}
    return render(request, "policy/editions.html", context)


def _change(by: Person, form: PolicyForm, typed: QueryDict) -> bool:
    data = form.cleaned_data
    try:
        actions.change_policy(by=by, reason=data["reason"], edition=data["edition"], **form.stated())
    except validation.Problems as found:
        for field, sentence in found.problems.items():
            form.add_error(field if field in form.fields else None, sentence)
    except Stale as refusal:
        # What was typed stays; sent again, it takes the new edition's place knowingly.
        typed["edition"] = str(queries.current().pk)
        form.add_error(None, f"{refusal} What you typed is still here; save again to let it stand.")
    except Refusal as refusal:
        form.add_error(None, str(refusal))
    return not form.errors
