"""A boat's figures over the years: each dimension over the accepted visits, and any two visits side by side."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from boats import rules as boat_rules
from boats.models import Boat
from computations import typesetting
from computations.agreement import Agreement, Between, between
from computations.catalogue import DIMENSIONS
from computations.charts import Point
from computations.comparison import Comparison
from computations.results import Change, DimensionResult
from office.desk.boat import figures_hidden_from
from office.desk.evidence import ChangeStory, tell
from office.desk.queue import Waiting
from office.people.access import person_of
from surveys.figures import Figures, compare_figures, figures_alone
from surveys.history import accepted
from surveys.models import Visit


@dataclass(slots=True)
class Course:
    """One dimension over the visits, the newest figure last."""

    last: DimensionResult
    points: list[Point] = field(default_factory=list)
    noise: tuple[float, float] | None = None  # where a review says this visit's figure would be measuring noise
    moved: bool = False  # whether it is beyond that

    @property
    def name(self) -> str:
        kind = DIMENSIONS[self.last.slug]
        words = [
            kind.name,
            f"({kind.symbol})" if kind.symbol else "",
            self.last.mast if self.last.mast != "main" else "",
        ]
        return " ".join(word for word in words if word)

    @property
    def unit(self) -> str:
        return typesetting.unit_word(self.last.unit)

    @property
    def key(self) -> str:
        return f"course-{self.last.slug}-{self.last.mast}"

    @property
    def band(self) -> tuple[float, float] | None:
        """Where the next figure would be within measuring noise of the last, unless the review says it for this one."""
        if self.noise is not None:
            return self.noise
        if self.last.value is None or self.last.expanded_uncertainty is None:
            return None
        return (self.last.value - self.last.expanded_uncertainty, self.last.value + self.last.expanded_uncertainty)


@dataclass(frozen=True, slots=True)
class SideBySide:
    previous: Visit
    current: Visit
    comparison: Comparison
    stories: list[ChangeStory]
    between: Between | None = None  # where two people measured

    @property
    def rows(self) -> list[tuple[Change, Agreement | None]]:
        """Each change, with whether the two measurers agree on it."""
        if self.between is None:
            return [(one, None) for one in self.comparison.changes]
        return [(one.change, one) for one in self.between.agreements]


def accepted_visits(boat: Boat) -> list[tuple[Visit, Figures]]:
    """The boat's accepted visits with their figures, oldest first; a constant number of queries."""
    return [(visit, figures_alone(visit)) for visit in accepted(boat)]


def courses(measured: list[tuple[Visit, Figures]]) -> list[Course]:
    """Every dimension that has a figure in at least two visits, in the catalogue's order."""
    points: dict[tuple[str, str], list[Point]] = defaultdict(list)
    last: dict[tuple[str, str], DimensionResult] = {}
    for visit, figures in measured:
        for one in figures.derivation.dimensions:
            if one.value is None or one.method not in {"", "adopted"} or visit.date is None:
                continue
            points[one.slug, one.mast].append(Point(visit.date, one.value, one.expanded_uncertainty))
            last[one.slug, one.mast] = one
    order = list(DIMENSIONS)
    several = [key for key in points if len(points[key]) > 1]
    return [Course(last[key], points[key]) for key in sorted(several, key=lambda key: (key[1], order.index(key[0])))]


def courses_of(waiting: Waiting, earlier: list[Visit]) -> list[Course]:
    """For a review: every dimension over her accepted visits and this one, held against the noise of its change."""
    if waiting.comparison is None or waiting.previous_figures is None:
        return []
    measured = [(one, figures_alone(one)) for one in earlier[:-1]]
    measured += [(earlier[-1], waiting.previous_figures), (waiting.visit, waiting.figures)]
    changes = {(one.slug, one.mast): one for one in waiting.comparison.changes if one.method in {"", "adopted"}}
    found = courses(measured)
    for course in found:
        change = changes.get((course.last.slug, course.last.mast))
        if change is None or change.previous is None or change.expanded_uncertainty is None:
            continue
        course.moved = change.verdict == "changed"
        course.noise = (
            change.previous - change.expanded_uncertainty, change.previous + change.expanded_uncertainty
        )  # fmt: skip
    return found


def side_by_side(measured: list[tuple[Visit, Figures]], previous: str, current: str) -> SideBySide | None:
    """The two visits with these keys; without keys, or with unknown ones, the last two."""
    if len(measured) < 2:
        return None
    by_key = {visit.key: (visit, figures) for visit, figures in measured}
    before, now = by_key.get(previous, measured[-2]), by_key.get(current, measured[-1])
    comparison = compare_figures(before[1], now[1])
    real = [change for change in comparison.changes if change.verdict == "changed"]
    real.sort(key=lambda change: -abs(change.en or 0.0))
    return SideBySide(
        before[0], now[0], comparison, [tell(change) for change in real], _between(before, now, comparison)
    )


def _between(before: tuple[Visit, Figures], now: tuple[Visit, Figures], comparison: Comparison) -> Between | None:
    """How far two measurers agree; None where one person measured both times."""
    if before[0].measurer_id == now[0].measurer_id:
        return None
    return between(before[1].derivation, now[1].derivation, comparison)


def show(request: HttpRequest, key: str) -> HttpResponse:
    boat = get_object_or_404(Boat.objects.select_related("design"), key=key)
    person = person_of(request)
    boat_rules.check_sees(person, boat)
    hidden = figures_hidden_from(person, boat)
    measured = [] if hidden else accepted_visits(boat)
    context = {
        "boat": boat,
        "hidden": hidden,
        "visits": [visit for visit, _ in measured],
        "courses": courses(measured),
        "beside": side_by_side(measured, request.GET.get("previous", ""), request.GET.get("current", "")),
    }
    return render(request, "desk/history.html", context)
