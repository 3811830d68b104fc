"""Access keys: the list, a new one whose secret is shown once, and revoking one."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers

from boats.forms import fields
from boats.views.common import posted, status_of
from office.interface import keys
from office.interface.models import AccessKey, Scope
from office.people.access import person_of, require_roles
from office.people.confirming import confirmed
from office.people.models import Role

ROWS = 50
A_YEAR = dt.timedelta(days=365)


class KeyForm(forms.Form):
    name = forms.CharField(label="The system that uses it", max_length=120)
    holder = fields.person("Who answers for it")
    scopes = forms.MultipleChoiceField(label="It opens", choices=Scope.choices, widget=forms.CheckboxSelectMultiple)
    expires_on = fields.day("Last day", "At most two years from today.")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"expires_on": timezone.localdate() + A_YEAR})
        super().__init__(*args, **kwargs)


class RevokeForm(forms.Form):
    reason = fields.reason()


@require_roles(Role.ADMINISTRATOR)
def show_all(request: HttpRequest) -> HttpResponse:
    page = Paginator(AccessKey.objects.select_related("holder", "made_by"), ROWS).get_page(request.GET.get("page"))
    return render(request, "interface/keys.html", {"page": page})


@require_roles(Role.ADMINISTRATOR)
@confirmed
def make(request: HttpRequest) -> HttpResponse:
    form = KeyForm(request.POST or None)
    made = posted(request, form, lambda data: keys.make(by=person_of(request), **data))
    if not made:
        return render(request, "interface/make.html", {"form": form}, status=status_of(form))
    answer = render(request, "interface/made.html", {"access_key": made[0], "token": made[1]})
    add_never_cache_headers(answer)
    return answer


@require_roles(Role.ADMINISTRATOR)
def revoke(request: HttpRequest, key: str) -> HttpResponse:
    access_key = get_object_or_404(AccessKey.objects.select_related("holder"), key=key)
    form = RevokeForm(request.POST or None)
    done = posted(
        request, form, lambda data: keys.revoke(by=person_of(request), access_key=access_key, reason=data["reason"])
    )
    if done:
        messages.success(request, f"The key of {done.name} opens nothing any more.")
        return redirect("access_keys:list")
    return render(request, "interface/revoke.html", {"access_key": access_key, "form": form}, status=status_of(form))
