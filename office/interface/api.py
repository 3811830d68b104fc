"""The JSON interface for organisers' systems, under /api/. Each operation names its scope and every error it may give.

`office.interface.guards` asks for the key, counts, and sends the answer with its entity tag.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest
from django.urls import reverse
from django.utils import timezone
from ninja import NinjaAPI
from ninja.decorators import decorate_view
from ninja.params.functions import Path, Query

from office.certificates.queries import certificate_list
from office.certificates.seal import keyring, published
from office.certificates.standing import Standing, standing_is
from office.interface import answering, schemas
from office.interface.guards import Bearer, described, errors, handle, open_to_all, tagged, takes
from office.interface.models import Scope
from office.racing import answers
from office.racing import queries as racing_queries

LONGEST_TEXT = 80
NUMBER = "^[A-Za-z0-9-]{1,20}$"
KEY = "^[A-Za-z0-9_-]{1,32}$"
DAY_OF_LIST = Query(
    None,
    description="How the entries of the list that stands now stand on this day, by the register as it is; without it "
    "the last check as it was stored",
)


class Interface(NinjaAPI):
    def get_openapi_schema(self, **options: Any) -> Any:
        return described(super().get_openapi_schema(**options))


api = Interface(
    title="Rig certificates",
    version="1",
    description="How boats' certificates stand, what they state, the office's keys and the results of entry lists. "
    "Ask with an access key: `Authorization: Bearer …`.",
    urls_namespace="api",
    docs_url=None,
)
handle(api)


@api.get("/keys", response={200: schemas.Keys, 304: None, **errors(400, 429)}, tags=["keys"], url_name="keys")
@decorate_view(tagged(leaving_out=("as_of",)), open_to_all)
def keys(request: HttpRequest) -> Any:
    """The office's published keys, with which papers and statements are verified. No access key needed."""
    return published.to_document(keyring.published())


@api.get(
    "/validity",
    auth=Bearer(Scope.VALIDITY),
    response={200: schemas.Validity, 304: None, **errors(400, 401, 403, 422, 429)},
    tags=["validity"],
    url_name="validity",
)
@decorate_view(tagged(), takes("q", "on"))
def validity(
    request: HttpRequest, q: str = Query(..., min_length=1, max_length=LONGEST_TEXT), on: schemas.Day | None = None
) -> Any:
    """How one boat stands on a day: by sail number, name or certificate number."""
    return answering.validity(q, on or timezone.localdate())


@api.post(
    "/validity",
    auth=Bearer(Scope.VALIDITY),
    response={200: schemas.Validities, **errors(400, 401, 403, 422, 429)},
    tags=["validity"],
    url_name="validities",
)
@decorate_view(takes())
def validities(request: HttpRequest, asked: schemas.Asked) -> Any:
    """How many boats stand on a day, in the order asked."""
    on = asked.on or timezone.localdate()
    texts = [text[:LONGEST_TEXT] for text in asked.asked]
    return {"on": on, "answers": answering.validities(texts, on)}


@api.get(
    "/certificates",
    auth=Bearer(Scope.CERTIFICATES),
    response={200: schemas.Page, 304: None, **errors(400, 401, 403, 422, 429)},
    tags=["certificates"],
    url_name="certificates",
)
@decorate_view(tagged(), takes("boat", "standing", "on", "page", "size"))
def certificates(
    request: HttpRequest,
    boat: str = Query("", pattern="^[A-Za-z0-9_-]{0,32}$", description="Key of a boat"),
    standing: Standing | None = None,
    on: schemas.Day | None = None,
    page: int = Query(1, ge=1, le=100_000),
    size: int = Query(50, ge=1, le=200),
) -> Any:
    """The register of certificates, the last issued first."""
    day = on or timezone.localdate()
    rows = certificate_list()
    if boat:
        rows = rows.filter(boat__key=boat)
    if standing:
        rows = rows.filter(standing_is(standing, day))
    total, begin = rows.count(), (page - 1) * size
    more = begin + size < total
    asked = {"boat": boat, "standing": standing or "", "on": on.isoformat() if on else ""}
    again = urlencode({**{name: value for name, value in asked.items() if value}, "page": page + 1, "size": size})
    return {
        "items": answering.listed(rows[begin : begin + size], day),
        "page": page,
        "size": size,
        "total": total,
        "next": f"{reverse('api:certificates')}?{again}" if more else None,
    }


@api.get(
    "/certificates/{number}",
    auth=Bearer(Scope.CERTIFICATES),
    response={200: schemas.Stated, 304: None, **errors(400, 401, 403, 404, 422, 429)},
    tags=["certificates"],
    url_name="certificate",
)
@decorate_view(tagged(), takes("on"))
def certificate(request: HttpRequest, number: str = Path(..., pattern=NUMBER), on: schemas.Day | None = None) -> Any:
    """What a certificate states, as it was issued, and how it stands on a day."""
    day = on or timezone.localdate()
    paper = answers.find_certificate(number, day, whole=True)
    if paper is None:
        raise Http404("The register holds no such certificate.")
    return answering.stated(paper, day)


@api.get(
    "/events/{key}/results",
    auth=Bearer(Scope.EVENTS),
    response={200: schemas.Results, 304: None, **errors(400, 401, 403, 404, 422, 429)},
    tags=["events"],
    url_name="event_results",
)
@decorate_view(tagged(), takes("on"))
def event_results(
    request: HttpRequest,
    key: str = Path(..., pattern=KEY),
    on: schemas.Day | None = DAY_OF_LIST,
) -> Any:
    """The entry list of an event of the holder's: its last check over the event's days, or how it stands on one day."""
    holder = request.auth.holder  # type: ignore[attr-defined]
    event = racing_queries.events_visible_to(holder).filter(key=key).first()
    answer = answering.entries_on(event, on) if event and on else answering.last_check(event) if event else None
    if answer is None:
        raise Http404("There is no such event of this key's holder, or it has no list or no check yet.")
    return answer
