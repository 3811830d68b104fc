"""The page that checks certificates without a network, and the two lists it goes by: keys, and what ended early.

Loaded once, it stays in the browser with its own service worker, which answers for it, and for the address in a
paper's code, wherever the office cannot be reached.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from computations.catalogue import DIMENSIONS
from office.certificates.models import Amendment, Certificate, Ending, Suspension
from office.certificates.seal import keyring, published, statement
from office.policy import queries as policy_queries

ENDED_FORMAT = "rig-ended-certificates-1"
SCRIPTS = ("bytes", "statement", "paper", "verdict", "shown", "camera", "page")  # in this order
ALSO_NEEDED = ("office/office.css", "office/office.js", "office/icon.svg", "django_htmx/htmx-2.min.js")


@login_not_required
@never_cache
@require_safe
def show(request: HttpRequest) -> HttpResponse:
    return render(request, "racing/anywhere.html", page_context())


def page_context() -> dict[str, Any]:
    return {
        "scripts": [f"office/check/{name}.js" for name in SCRIPTS],
        "names": {
            slug: {"name": DIMENSIONS[slug].name, "symbol": DIMENSIONS[slug].symbol} for slug in statement.DIMENSIONS
        },
    }


@login_not_required
@never_cache
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker. Its text changes with whatever the page is made of, and so a browser fetches all anew."""
    page = reverse("racing:anywhere")
    files = [static(name) for name in (*ALSO_NEEDED, *(f"office/check/{one}.js" for one in SCRIPTS))]
    kept = [page, reverse("racing:keys"), reverse("racing:ended"), *files]
    made_of = render_to_string("racing/anywhere.html", page_context()) + "\n".join(kept)
    context = {
        "kept": kept,
        "page": page,
        "codes": reverse("racing:certificate", args=["x"]).removesuffix("x/"),
        "version": hashlib.sha256(made_of.encode()).hexdigest()[:12],
    }
    return render(request, "racing/worker.js", context, content_type="text/javascript")


@login_not_required
@never_cache
@require_safe
def keys(request: HttpRequest) -> HttpResponse:
    """The office's published keys, retired ones too."""
    return JsonResponse(published.to_document(keyring.published()))


@login_not_required
@never_cache
@require_safe
def ended(request: HttpRequest) -> HttpResponse:
    """Every certificate that is not, or not throughout, in force to its printed last day, while that lies ahead; and
    every one that is amended."""
    today = timezone.localdate()
    document = {
        "format": ENDED_FORMAT,
        "office": policy_queries.current().office_name,
        "as_of": published.instant(timezone.now()),
        "ended": [*_ended_early(today), *_suspended(today)],
        "amended": _amended(today),
    }
    return JsonResponse(document)


def _ended_early(today: dt.date) -> list[list[str]]:
    """Number, what happened, first day no longer in force, the certificate after it."""
    rows = Certificate.objects.exclude(ending=Ending.NONE).filter(valid_until__gte=today).order_by("number")
    columns = rows.values_list("number", "ending", "in_force_before", "successor__number")
    return [[number, ending, day.isoformat(), successor or ""] for number, ending, day, successor in columns]


def _suspended(today: dt.date) -> list[list[str]]:
    lasting = Suspension.objects.filter(
        Q(lifted_from=None) | Q(lifted_from__gt=today),
        certificate__valid_until__gte=today,
        certificate__ending=Ending.NONE,
    )
    columns = lasting.order_by("certificate__number").values_list("certificate__number", "since")
    return [[number, "suspended", since.isoformat(), ""] for number, since in columns]


def _amended(today: dt.date) -> list[list[Any]]:
    """Number, and how many amendments it has: they are numbered from 1 without a gap."""
    rows = Amendment.objects.filter(certificate__valid_until__gte=today).order_by("certificate__number")
    counted = rows.values_list("certificate__number").annotate(Count("pk"))
    return [[number, count] for number, count in counted]
