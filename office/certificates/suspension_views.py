"""Suspend and reinstate: one page each."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from boats.views.common import posted, status_of
from office.certificates import rules, suspending
from office.certificates.forms import ReinstateForm, SuspendForm
from office.certificates.views import readable
from office.people.access import person_of, require_roles
from office.people.confirming import confirmed
from office.people.models import Role


@require_roles(Role.CERTIFIER)
@confirmed
def suspend(request: HttpRequest, number: str) -> HttpResponse:
    certificate, by = readable(request, number), person_of(request)
    rules.check_may_suspend(by, certificate)
    form = SuspendForm(request.POST or None)
    done = posted(
        request,
        form,
        lambda data: suspending.suspend(by=by, certificate=certificate, since=data["since"], reason=data["reason"]),
    )
    if done:
        messages.success(request, f"{number} is suspended from {done.since} on, until it is reinstated.")
        return redirect("certificates:certificate", number)
    context = {"certificate": certificate, "form": form}
    return render(request, "certificates/suspend.html", context, status=status_of(form))


@require_roles(Role.CERTIFIER)
@confirmed
def reinstate(request: HttpRequest, number: str) -> HttpResponse:
    certificate, by = readable(request, number), person_of(request)
    rules.check_may_reinstate(by, certificate)
    form = ReinstateForm(request.POST or None)
    done = posted(
        request,
        form,
        lambda data: suspending.reinstate(by=by, certificate=certificate, on=data["on"], reason=data["reason"]),
    )
    if done:
        messages.success(request, f"{number} is in force again from {done.lifted_from} on.")
        return redirect("certificates:certificate", number)
    context = {"certificate": certificate, "form": form, "suspension": rules.open_suspension(certificate)}
    return render(request, "certificates/reinstate.html", context, status=status_of(form))
