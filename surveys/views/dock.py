"""The dock page: its shell, its state, what a device sends, and the worker that keeps it through a dead network."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.template.loader import render_to_string
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from office.people.access import person_of
from office.people.json_answers import Garbled, TooLarge, WrongKind, answers_in_json
from office.people.middleware import length_of
from office.people.models import Person
from surveys import dock_sending, rules
from surveys.actions.photos import PhotoExists, add_photo
from surveys.dock import (
    JSON,
    addresses,
    dock_visit,
    photo_json,
    state_of,
    static_files,
    take_json,
    why_not_writable,
)
from surveys.dock_entries import MOST_ENTRIES, token_of
from surveys.dock_sending import Answer
from surveys.models import Visit
from surveys.photographs import LARGEST_FILE
from surveys.row_keys import place_of
from surveys.values import Unreadable
from surveys.views.common import unless_known, visit_for

MOST_OF_A_FORM = 64 * 1024  # what a photograph's form holds besides the picture


@ensure_csrf_cookie
def show(request: HttpRequest, key: str) -> HttpResponse:
    """The page: useful without its script too, as a list of the other ways."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    context = {"visit": visit, "dock": addresses(visit), "why_not": why_not_writable(visit, person)}
    return render(request, "surveys/dock.html", context)


@gzip_page  # on a quay every kilobyte counts; the framework pads the answer against guessing by its length
@answers_in_json("GET")
def state(request: HttpRequest, key: str) -> HttpResponse:
    """The whole state; 304 where the device has it already."""
    get_token(request)  # the page may come from the worker, and a sign-in since has changed the token
    person = person_of(request)
    answer = JsonResponse(state_of(dock_visit(key, person), person))
    etag = hashlib.sha256(answer.content).hexdigest()[:32]
    return unless_known(request, answer, etag)


@gzip_page
@answers_in_json("POST")
def send(request: HttpRequest, key: str) -> HttpResponse:
    """Take what waits on a device; the answer holds one outcome for each entry, and the state as it is then."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    device, entries = sent_entries(request)
    answers = dock_sending.send(by=person, visit=visit, device=device, entries=entries)
    return _answered(key, person, [_answer_json(one, visit, person) for one in answers])


@answers_in_json("POST")
def photo(request: HttpRequest, key: str) -> HttpResponse:
    """One photograph, answered as an entry is."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    if length_of(request) > LARGEST_FILE + MOST_OF_A_FORM:
        raise TooLarge(f"A photograph is at most {LARGEST_FILE // 1024 // 1024} MiB as it is sent.")
    if request.content_type != "multipart/form-data":
        raise WrongKind("Send the photograph as multipart/form-data, with token, row and remark.")
    return _answered(key, person, [_photo_answer(request, visit, person)])


@login_not_required
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The script that keeps the dock page. The same for everybody: it holds nothing but addresses of static files."""
    listed = json.dumps(static_files())
    context = {"files_json": listed, "version": hashlib.sha256(listed.encode()).hexdigest()[:16]}
    script = render_to_string("surveys/worker.js", context)
    answer = HttpResponse(script, content_type="text/javascript; charset=utf-8")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


def sent_entries(request: HttpRequest) -> tuple[str, list[object]]:
    """Device and entries. Raises a refusal where they cannot be read as such."""
    if request.content_type != "application/json":
        raise WrongKind("Send application/json.")
    try:
        sent: Any = json.loads(request.body)
    except (ValueError, RecursionError):
        raise Garbled("This is no JSON that can be read.") from None
    entries = sent.get("entries") if isinstance(sent, dict) else None
    device = sent.get("device", "") if isinstance(sent, dict) else None
    if not isinstance(entries, list) or not isinstance(device, str):
        raise Garbled("Expected an object with device, a text, and entries, a list.")
    if len(entries) > MOST_ENTRIES:
        raise TooLarge(f"At most {MOST_ENTRIES} entries are taken at once; send the rest after them.")
    plain = "".join(sign for sign in device[:64] if sign.isascii() and sign.isprintable())
    return plain, entries


def _photo_answer(request: HttpRequest, visit: Visit, person: Person) -> JSON:
    token, file = request.POST.get("token", ""), request.FILES.get("photo")
    try:
        if file is None or file.size is None:
            raise Unreadable("Photograph", "", "a file in the field photo", "photo")
        row = request.POST.get("row", "")
        place = place_of(visit, row, request.POST.get("position", "")) if row else None
        kept = add_photo(
            by=person, visit=visit, file=file, size=file.size, place=place, token=token_of(token),
            remark=request.POST.get("remark", ""),
        )  # fmt: skip
    except PhotoExists as exists:
        return _said(token, "already", str(exists), photo_json(exists.photo, visit))
    except Unreadable as refusal:
        return _said(token, "refused", str(refusal))
    return _said(token, "stored", "The photograph is kept, without the camera's own data.", photo_json(kept, visit))


def _said(token: str, outcome: str, sentence: str, current: JSON | None = None) -> JSON:
    return {"token": token, "outcome": outcome, "sentence": sentence, "current": current}


def _answer_json(one: Answer, visit: Visit, person: Person) -> JSON:
    return _said(one.token, one.outcome, one.sentence, take_json(one.reading, visit, person) if one.reading else None)


def _answered(key: str, person: Person, answers: list[JSON]) -> JsonResponse:
    visit = dock_visit(key, person)
    answer = JsonResponse({"answers": answers, "state": state_of(visit, person)})
    answer.headers["Cache-Control"] = "private, no-store"
    return answer
