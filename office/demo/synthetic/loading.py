"""The large office as a whole: into an empty database or not at all, and the row of the trail that says so."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from django.db import connection, transaction

from boats.models import Boat
from office.audit import trail
from office.audit.models import Entry
from office.certificates.verification.invented import VERB
from office.demo.synthetic import names, pattern, standing
from office.demo.synthetic.cast import Cast
from office.demo.synthetic.walk import Walk
from office.demo.synthetic.writing import in_one_go, write
from office.people.models import Person

SEED = 20260314
TELL_EVERY = 1_000_000
Progress = Callable[[str], None]


class CannotLoad(Exception):
    """Why nothing is loaded: one sentence."""


def check(boats: int, visits: int) -> None:
    """Raises CannotLoad where the database is in use, or the numbers make no office."""
    if not 1 <= boats <= names.MOST_BOATS:
        raise CannotLoad(f"{boats} boats cannot be invented; expected 1 to {names.MOST_BOATS}.")
    if not 1 <= visits <= pattern.MOST_VISITS:
        raise CannotLoad(f"{visits} visits to each boat cannot be invented; expected 1 to {pattern.MOST_VISITS}.")
    if Person.objects.exists() or Boat.objects.exists() or Entry.objects.exists():
        raise CannotLoad("There is an office in this database; name an empty one in DATABASE_URL. Nothing was changed.")


def load(
    *,
    boats: int,
    visits: int = 3,
    seed: int = SEED,
    papers: int = 3,
    after: int = pattern.BOATS,
    progress: Progress = lambda what: None,
) -> int:
    """How many rows were written.

    `papers`: of how many boats the certificates get papers and seals. `after`: how many boats the small office has.
    """
    check(boats, visits)
    progress("a small office, by the same actions as anybody's")
    drawn = pattern.draw(visits=visits, seed=seed, boats=after)
    progress(f"{boats} boats after it")
    cast = Cast(drawn, boats, seed)
    told = 0

    def tell(rows: int) -> None:
        nonlocal told
        if rows - told >= TELL_EVERY:
            told = rows
            progress(f"  {rows / 1e6:.1f} million rows")

    with in_one_go(), transaction.atomic():
        rows = write(batches(cast, papers), tell)
        trail.record(
            by=None,
            verb=VERB,
            subject=trail.Subject("office", "office", "An invented office"),
            after={"boats": str(boats), "visits_to_each": str(visits), "seed": str(seed), "with_papers": str(papers)},
        )
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    return rows


def batches(cast: Cast, papers: int) -> Iterator[standing.Batch]:
    """All rows, in the order in which they can be written."""
    yield from standing.batches(cast)
    yield from Walk(cast, papers).batches()
