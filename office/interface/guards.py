"""Before and after each operation: the key and its scope, the count of the minute, the entity tag, the errors' form."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from functools import wraps
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from ninja import NinjaAPI
from ninja.errors import AuthenticationError, HttpError, ValidationError
from ninja.security import HttpBearer

from office.audit.refusals import Refusal
from office.interface import keys, limits, problems
from office.interface.models import AccessKey, Scope
from office.interface.schemas import Problem
from office.people.limits import address_of

View = Callable[..., HttpResponse]
NO_KEY = "Send a good access key: Authorization: Bearer …"
INVALID = "The request is not as the description has it."
NOTHING = "There is no such thing."
LONGEST_TOKEN = 200


class Bearer(HttpBearer):
    """A good key that opens this scope. Failed tries are counted by address, good ones by key."""

    def __init__(self, scope: Scope) -> None:
        super().__init__()
        self.scope = scope

    def authenticate(self, request: HttpRequest, token: str) -> AccessKey:
        found = keys.find(token) if 0 < len(token) <= LONGEST_TOKEN else None
        if found is None:
            limits.count(f"failed {address_of(request)}", limits.WITHOUT)
            raise AuthenticationError
        limits.count(f"key {found.key}", limits.WITH_A_KEY)
        if self.scope not in found.scopes:
            raise HttpError(403, f"This key does not open “{self.scope.value}”.")
        return found


def open_to_all(view: View) -> View:
    """Needs no key; counted by address."""

    @wraps(view)
    def counted(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        try:
            limits.count(f"open {address_of(request)}", limits.WITHOUT)
        except limits.TooMany as error:
            return problems.too_many(error.wait)
        return view(request, *args, **kwargs)

    return counted


def takes(*names: str) -> Callable[[View], View]:
    """Refuses a question with a parameter that the operation does not have: it would be passed over in silence."""

    def decorate(view: View) -> View:
        @wraps(view)
        def known(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if strange := sorted(set(request.GET) - set(names)):
                sentences = [f"{name[:40]}: there is no such parameter here" for name in strange[:10]]
                return problems.problem(422, INVALID, errors=sentences)
            return view(request, *args, **kwargs)

        return known

    return decorate


def tagged(leaving_out: Sequence[str] = ()) -> Callable[[View], View]:
    """Gives a good answer its entity tag, and 304 to whoever has it already (RFC 9110, 13.1.2, from memory).

    `leaving_out` names what may differ without the content being another, such as the time of the answer.
    """

    def decorate(view: View) -> View:
        @wraps(view)
        def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            answer = view(request, *args, **kwargs)
            if answer.status_code != 200:
                return answer
            tag = quote_etag(hashlib.sha256(_lasting(answer.content, leaving_out)).hexdigest()[:32])
            answer.headers["ETag"] = tag
            answer.headers["Cache-Control"] = "private, no-cache"
            same = get_conditional_response(request, etag=tag, response=answer)
            return same if isinstance(same, HttpResponse) else answer

        return answered

    return decorate


def _lasting(content: bytes, leaving_out: Sequence[str]) -> bytes:
    if not leaving_out:
        return content
    document = json.loads(content)
    return json.dumps({name: value for name, value in document.items() if name not in leaving_out}).encode()


# ---- Errors ----


def errors(*statuses: int) -> dict[int, Any]:
    """The responses of an operation that are problem details."""
    return dict.fromkeys(statuses, Problem)


def handle(api: NinjaAPI) -> None:
    """Every error of the interface becomes a problem document, with the content type that says so."""
    for kind, answer in ANSWERS.items():
        api.add_exception_handler(kind, _saying(answer))


def _saying(answer: Callable[[Any], HttpResponse]) -> Callable[[HttpRequest, Any], HttpResponse]:
    def handler(request: HttpRequest, error: Any) -> HttpResponse:
        return answer(error)

    return handler


def _invalid(error: ValidationError) -> HttpResponse:
    """Names what is wrong and where, never what was sent."""
    found = [f"{'.'.join(str(part) for part in one['loc'][1:])}: {one['msg']}" for one in error.errors]
    return problems.problem(422, INVALID, errors=found)


# What goes wrong, and the problem it becomes; a kind of error goes before what it is a kind of.
ANSWERS: dict[type[Exception], Callable[[Any], HttpResponse]] = {
    AuthenticationError: lambda error: problems.unauthorised(NO_KEY),
    HttpError: lambda error: problems.problem(error.status_code, str(error)),
    limits.TooMany: lambda error: problems.too_many(error.wait),
    ValidationError: _invalid,
    Http404: lambda error: problems.problem(404, str(error) or NOTHING),
    Refusal: lambda error: problems.problem(error.status, str(error)),
}


def described(schema: dict[str, Any]) -> dict[str, Any]:
    """The description with problem documents under their own content type."""
    for operations in schema["paths"].values():
        for operation in operations.values():
            for response in operation["responses"].values():
                plain = response.get("content", {}).get("application/json", {}).get("schema", {})
                if plain.get("$ref", "").endswith("/Problem"):
                    response["content"] = {problems.CONTENT_TYPE: {"schema": plain}}
    return schema
