"""Papers of visits: log sheets, one visit's or all of a day's behind a page that lists them, and budgets."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
from collections.abc import Mapping, Sequence
from typing import Any

import pypdf
from django.template.loader import render_to_string

from computations.inputs import PREPARATION_ITEMS
from office import papers
from surveys.models import Visit
from surveys.paper.visits import Sheet, rig_of, sheets_of

TAKES = (1, 2, 3)
REMARK_LINES = 5


def html_of(sheet: Sheet, size: str) -> str:
    """One visit's sheet. KeyError where the size is not one of `papers.SIZES`."""
    context = {
        "sheet": sheet,
        "visit": sheet.visit,
        "boat": sheet.visit.boat,
        "rig": sheet.rig,
        "page_size": papers.SIZES[size],
        "preparation": PREPARATION_ITEMS.values(),
        "takes": TAKES,
        "remark_lines": range(REMARK_LINES),
    }
    return render_to_string("surveys/paper/sheet.html", context)


def one_visit(visit: Visit, size: str, *, blank: bool = False) -> bytes:
    """The log sheet of one visit from `for_paper`. WrongState where the rig is not described; Refusal without fonts."""
    return _pdf(html_of(sheets_of([visit], blank=blank)[0], size))


def whole_day(visits: Sequence[Visit], day: dt.date, size: str, *, blank: bool = False) -> bytes:
    """The day's visits by harbour, then the log sheet of each whose rig is described, every one numbered by itself."""
    return _bundle(visits, f"Visits on {day}", f"Log sheets for {day}", size, blank=blank)


def several(visits: Sequence[Visit], size: str, *, blank: bool = False) -> bytes:
    """The same for visits of any days, each with its day in the list."""
    title = f"Log sheets of {len(visits)} visit{'' if len(visits) == 1 else 's'}"
    return _bundle(visits, title, title, size, blank=blank, days=True)


def _bundle(visits: Sequence[Visit], heading: str, title: str, size: str, *, blank: bool, days: bool = False) -> bytes:
    described = [visit for visit in visits if rig_of(visit) is not None]
    sheets = sheets_of(described, blank=blank)
    left_out = [visit for visit in visits if rig_of(visit) is None]
    front = render_to_string(
        "surveys/paper/day.html",
        {
            "heading": heading,
            "days": days,
            "visits": visits,
            "left_out": left_out,
            "page_size": papers.SIZES[size],
            "kit": sorted({piece for sheet in sheets for piece in sheet.kit}, key=lambda piece: piece.identifier),
        },
    )
    return _joined([_pdf(front), *(_pdf(html_of(sheet, size)) for sheet in sheets)], title)


def all_budgets(shown: Mapping[str, Any], size: str) -> bytes:
    """How sure each dimension of one visit is, source by source: `shown` as the page of it has it."""
    return _pdf(render_to_string("surveys/paper/budget.html", {**shown, "page_size": papers.SIZES[size]}))


def _pdf(html: str) -> bytes:
    return papers.write_pdf(html, identifier=hashlib.sha256(html.encode()).digest()[:16])


def _joined(parts: Sequence[bytes], title: str) -> bytes:
    writer = pypdf.PdfWriter()
    for part in parts:
        writer.append(io.BytesIO(part))
    writer.add_metadata({"/Title": title})
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()
