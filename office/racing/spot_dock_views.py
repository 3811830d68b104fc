"""The dock page of a spot check: its shell, its state, and what a device sends."""

from __future__ import annotations

import hashlib

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.gzip import gzip_page

from office.people.access import person_of
from office.people.json_answers import answers_in_json
from office.racing import spot_dock
from office.racing.spot_views import spot_for
from surveys.views.common import unless_known
from surveys.views.dock import sent_entries


@ensure_csrf_cookie
def show(request: HttpRequest, key: str, spot_key: str) -> HttpResponse:
    spot = spot_for(request, key, spot_key)
    return render(request, "racing/events/spot_dock.html", {"spot": spot, "dock": spot_dock.addresses(spot)})


@gzip_page
@answers_in_json("GET")
def state(request: HttpRequest, key: str, spot_key: str) -> HttpResponse:
    """The whole state; 304 where the device has it already."""
    get_token(request)  # the page may come from the worker, and a sign-in since has changed the token
    spot = spot_for(request, key, spot_key)
    answer = JsonResponse(spot_dock.state_of(spot, person_of(request)))
    return unless_known(request, answer, hashlib.sha256(answer.content).hexdigest()[:32])


@answers_in_json("POST")
def send(request: HttpRequest, key: str, spot_key: str) -> HttpResponse:
    """Take what waits on a device; one outcome for each entry, and the state as it is then."""
    spot, person = spot_for(request, key, spot_key), person_of(request)
    _, entries = sent_entries(request)
    answers = spot_dock.send(by=person, spot=spot, entries=entries)
    state_now = spot_dock.state_of(spot_for(request, key, spot_key), person)
    answer = JsonResponse({"answers": answers, "state": state_now})
    answer.headers["Cache-Control"] = "private, no-store"
    return answer
