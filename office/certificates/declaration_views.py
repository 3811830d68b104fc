"""What has happened to a boat: declared by her owner, settled by the office; and handing her over."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from boats import rules as boat_rules
from boats.models import Boat, Declaration
from boats.views.access import show_link, with_letter
from boats.views.common import posted, status_of
from office.certificates import declaring
from office.certificates.forms import DeclareForm, HandOverForm, SettleForm
from office.people.access import OFFICE, person_of, require_roles
from office.people.confirming import confirmed
from office.people.models import Role
from office.policy import queries as policy_queries

DONE = {
    "note": "It is noted; the certificate is left as it stands.",
    "suspend": "It is noted; by the office's policy the certificate is suspended until the office has looked into it.",
    "end": "It is noted; by the office's policy the certificate has ended.",
}


def declare(request: HttpRequest, key: str) -> HttpResponse:
    boat, by = get_object_or_404(Boat, key=key), person_of(request)
    declaring.check_may_declare(by, boat)
    form = DeclareForm(request.POST or None)
    made = posted(request, form, lambda data: declaring.declare(by=by, boat=boat, **data))
    if made:
        messages.success(request, DONE[made.consequence] if made.certificate else DONE["note"])
        return redirect("desk:boat", boat.key)
    policy = policy_queries.current()
    kinds = [
        (label, policy_queries.consequence_of(policy, str(kind)))
        for kind, label in form.fields["kind"].choices  # type: ignore[attr-defined]
    ]
    context = {"boat": boat, "form": form, "kinds": kinds}
    return render(request, "certificates/declare.html", context, status=status_of(form))


@require_roles(*OFFICE)
@confirmed
def settle(request: HttpRequest, key: str) -> HttpResponse:
    """Reinstating and withdrawing are a certifier's; anybody of the office may leave it as it stands."""
    rows = Declaration.objects.select_related("boat", "declared_by", "settled_by")
    declaration, by = get_object_or_404(rows, key=key), person_of(request)
    decisions = declaring.DECISIONS if by.holds(Role.CERTIFIER) else {"leave": declaring.DECISIONS["leave"]}
    form = SettleForm(request.POST or None, decisions=decisions)
    done = posted(request, form, lambda data: declaring.settle(by=by, declaration=declaration, **data))
    if done:
        messages.success(request, f"What was declared of {done.boat.name} is settled.")
        return redirect("desk:boat", done.boat.key)
    context = {"declaration": declaration, "form": form}
    return render(request, "certificates/settle.html", context, status=status_of(form))


@confirmed
def hand_over(request: HttpRequest, key: str) -> HttpResponse:
    boat, by = get_object_or_404(Boat, key=key), person_of(request)
    boat_rules.check_owns(by, boat)
    form = HandOverForm(request.POST or None)
    made = posted(
        request,
        form,
        lambda data: with_letter(
            request,
            lambda: declaring.hand_over(
                by=by, boat=boat, sold_on=data["sold_on"], email=data["email"], name=data["name"], text=data["text"]
            ),
        ),
    )
    if made:
        return show_link(request, *made)
    consequence = policy_queries.consequence_of(policy_queries.current(), "sold")
    context = {"boat": boat, "form": form, "consequence": consequence}
    return render(request, "certificates/hand_over.html", context, status=status_of(form))
