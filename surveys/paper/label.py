"""The label of one instrument, to stick on the piece or its case."""

from __future__ import annotations

import hashlib
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse

from office import papers


def of(instrument: Any) -> bytes:
    """70 by 32 mm: mark, calibrated on, due on, a code that leads to its page. One from `listed_instruments`.

    A piece out of use gets a label that says so in place of its dates. Refusal without fonts.
    """
    html = html_of(instrument)
    return papers.write_pdf(html, identifier=hashlib.sha256(html.encode()).digest()[:16])


def html_of(instrument: Any) -> str:
    address = settings.PUBLIC_URL + reverse("instruments:instrument", args=[instrument.identifier])
    return render_to_string("instruments/label.html", {"instrument": instrument, "code": papers.code(address)})
