"""What a reviewer looks at before deciding: changes, what carried them, checks, every reading and its past."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from django.utils.safestring import SafeString, mark_safe

from computations import charts
from computations.catalogue import DIMENSIONS, READINGS, STATIONS, ReadingKind
from computations.diagnosis.diagnose import Answer
from computations.diagnosis.sisters import Sisters
from computations.drawing import draw_for_page, figures_from
from computations.results import Carried, Change, CheckResult
from office.desk.queue import Waiting
from surveys.diagnosis import probable_causes
from surveys.models import Query, Reading, Settlement, Visit

Place = tuple[str, str, str]  # slug, mast, position
LEAST_TOLD = 0.02  # answers less probable than this are not shown
MOST_TOLD = 5
SMALLEST_PART = 0.05  # a part below this share of the change is left to the table


@dataclass(slots=True)
class ReadingRow:
    """One thing measured: all its takes, what they replaced, what was asked about it, and what it was last time."""

    kind: ReadingKind
    mast: str
    position: str
    takes: list[Reading] = field(default_factory=list)
    replaced: list[Reading] = field(default_factory=list)
    previous: list[Reading] = field(default_factory=list)
    queries: list[Query] = field(default_factory=list)

    @property
    def now(self) -> float | None:
        return _mean(self.takes)

    @property
    def before(self) -> float | None:
        return _mean(self.previous)

    @property
    def difference(self) -> float | None:
        return None if self.now is None or self.before is None else self.now - self.before


@dataclass(frozen=True, slots=True)
class Station:
    title: str
    rows: list[ReadingRow]


@dataclass(frozen=True, slots=True)
class CarriedPart:
    part: Carried
    name: str
    share: float


@dataclass(frozen=True, slots=True)
class ChangeStory:
    """A change that is real and the readings that carried most of it."""

    change: Change
    parts: tuple[CarriedPart, ...]
    chart: SafeString


def _mean(readings: list[Reading]) -> float | None:
    values = [reading.value for reading in readings if reading.value is not None]
    return sum(values) / len(values) if values else None


def _split(visit: Visit) -> tuple[list[Reading], list[Reading]]:
    """The readings that stand, and those that an amendment replaced or took away."""
    rows = list(visit.readings.all())
    replaced_ids = {row.replaces_id for row in rows if row.replaces_id}
    standing = [row for row in rows if row.pk not in replaced_ids and not row.withdrawn]
    past = [row for row in rows if row.pk in replaced_ids or row.withdrawn]
    return standing, past


def stations(visit: Visit, previous: Visit | None) -> list[Station]:
    """Every reading of the visit beside the last visit's, in the order a measurer walks."""
    rows: dict[Place, ReadingRow] = {}

    def row(slug: str, mast: str, position: str) -> ReadingRow:
        return rows.setdefault((slug, mast, position), ReadingRow(READINGS[slug], mast, position))

    standing, past = _split(visit)
    for reading in standing:
        row(reading.slug, reading.mast, reading.position).takes.append(reading)
    for reading in past:
        row(reading.slug, reading.mast, reading.position).replaced.append(reading)
    if previous is not None:
        for reading in _split(previous)[0]:
            row(reading.slug, reading.mast, reading.position).previous.append(reading)
    for query in visit.queries.all():
        if query.slug:
            row(query.slug, query.mast, query.position).queries.append(query)
    by_station: dict[str, list[ReadingRow]] = defaultdict(list)
    for one in sorted(rows.values(), key=lambda one: (one.kind.order, one.mast, one.position)):
        by_station[one.kind.station].append(one)
    return [Station(title, by_station[slug]) for slug, title in STATIONS.items() if slug in by_station]


def part_name(part: Carried) -> str:
    kind = READINGS.get(part.reading)
    return "what the readings carry together (non-linear rest)" if kind is None else kind.name


def tell(change: Change) -> ChangeStory:
    """The parts of a change, largest first; parts too small to matter are left to the table."""
    whole = sum(abs(part.amount) for part in change.carried_by) or 1.0
    parts = [CarriedPart(part, part_name(part), abs(part.amount) / whole) for part in change.carried_by]
    parts.sort(key=lambda part: -part.share)
    told = tuple(part for part in parts if part.share >= SMALLEST_PART)
    return ChangeStory(change, told, _chart(change, told))


def _chart(change: Change, told: tuple[CarriedPart, ...]) -> SafeString:
    """Bars that add up to the change: the parts that matter, and all the small ones together."""
    bars = [
        charts.Part(", ".join(word for word in (one.name, one.part.position) if word), one.part.amount) for one in told
    ]
    rest = (change.change or 0.0) - sum(bar.amount for bar in bars)
    if len(told) < len(change.carried_by):
        bars.append(charts.Part("all the rest", rest))
    name = DIMENSIONS[change.slug].name
    prefix = f"carried-{change.slug}-{change.mast}"
    svg = charts.draw_carried(
        bars,
        unit=change.unit,
        expanded=change.expanded_uncertainty,
        title=f"What carried the change: {name}",
        id_prefix=prefix,
    )
    return mark_safe(svg)  # noqa: S308 - our own SVG, its texts escaped there


@dataclass(frozen=True, slots=True)
class Cause:
    answer: Answer

    @property
    def percent(self) -> str:
        """Never 100: nothing that was measured is certain."""
        share = 100.0 * self.answer.probability
        return "over 99" if share > 99.0 else f"{share:.0f}"


@dataclass(frozen=True, slots=True)
class Found:
    """A check's finding with the reasons the measurer wrote for it."""

    check: CheckResult
    reasons: tuple[Settlement, ...]


def findings(waiting: Waiting) -> list[Found]:
    """Every finding, and beside it why the measurer let it stand."""
    settlements = list(waiting.visit.settlements.all())
    return [
        Found(check, tuple(one for one in settlements if one.check_key == check.key))
        for check in waiting.figures.checks
    ]


def past_reasons(waiting: Waiting) -> list[Settlement]:
    """Reasons written for a finding that no longer stands, after an amendment."""
    standing = {check.key for check in waiting.figures.checks}
    return [one for one in waiting.visit.settlements.all() if one.check_key not in standing]


def causes(waiting: Waiting, sisters: Sisters) -> list[Cause]:
    """What probably happened, the most probable first; a first visit is held against itself and her sisters."""
    answers = probable_causes(waiting.previous_figures, waiting.figures, sisters)
    return [Cause(one) for one in answers if one.probability >= LEAST_TOLD][:MOST_TOLD]


def stories(waiting: Waiting) -> list[ChangeStory]:
    """The changes that are real, the most certain first."""
    if waiting.comparison is None:
        return []
    real = [change for change in waiting.comparison.changes if change.verdict == "changed"]
    return [tell(change) for change in sorted(real, key=lambda change: -abs(change.en or 0.0))]


def drawing(waiting: Waiting) -> SafeString:
    """The rig to scale, the last visit's beneath it."""
    now = figures_from(waiting.figures.derivation.dimensions, waiting.figures.inputs.rig)
    before = None
    if waiting.comparison is not None and waiting.previous_figures is not None:
        before = figures_from(waiting.previous_figures.derivation.dimensions, waiting.previous_figures.inputs.rig)
    svg = draw_for_page(now, previous=before, title=f"Rig of {waiting.visit.boat}")
    return mark_safe(svg)  # noqa: S308 - our own SVG, its texts escaped there
