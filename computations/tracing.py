"""Traces corrections, sources and formulas for one set of readings, once, into an expression graph.

What is traced: the corrected mean of each reading, its own variance, how each shared source moves it, every
dimension, and each dimension's change with independent parts. `layout` compiles the result.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from computations import formulas
from computations.catalogue import BOOM_HEIGHT_METHODS, READINGS, SIDES, ReadingKey
from computations.gauges import SPAR_INPUTS, Gauge
from computations.graph import Differentials, Form, Graph, Node, combined
from computations.inputs import Assumptions, Rig
from computations.plan import Plan
from computations.sources import PER_TAKE, ROOT_3, SIGNS, SOURCES

BOOM_HEIGHT_READINGS = frozenset(slug for slugs in BOOM_HEIGHT_METHODS.values() for slug in slugs)


@dataclass(frozen=True, slots=True)
class Take:
    """Where a take's value stands among the inputs, its gauge, and whether its tape hung free."""

    input: int
    gauge: int
    hanging: bool = False


@dataclass(frozen=True, slots=True)
class SharedSource:
    """A source several readings may share: an instrument's (`gauge`), the visit's, or a mast's (`where`)."""

    kind: str
    gauge: int = -1
    where: tuple[str, ...] = ()


@dataclass(slots=True)
class TracedReading:
    """One reading, its takes together: corrected mean, own sources and shared ones (per one standard uncertainty)."""

    key: ReadingKey
    takes: tuple[Take, ...]
    value: Node
    own: dict[str, Node] = field(default_factory=dict)  # kind -> variance
    own_weight: Node | None = None  # variance squared over its degrees of freedom, where takes gave it
    shared: dict[SharedSource, Node] = field(default_factory=dict)


@dataclass(slots=True)
class Adoption:
    """The boom's height adopted from two methods: string_share x string + (1 - string_share) x two_mark."""

    node: Node
    string_share: Node
    string: Node
    two_mark: Node


class GraphMaths:
    def __init__(self, graph: Graph) -> None:
        self.sqrt = graph.sqrt
        self.choose = graph.choose


class Trace:
    """Everything traced for one set of readings."""

    def __init__(
        self,
        rig: Rig,
        takes: Mapping[ReadingKey, tuple[Take, ...]],
        gauges: tuple[Gauge, ...],
        assumptions: Assumptions,
        *,
        spars: frozenset[str] = frozenset(),
        chosen: Mapping[str, str],
    ) -> None:
        self.graph = Graph()
        self.maths = GraphMaths(self.graph)
        self.takes, self.gauges, self.spars, self.chosen = takes, gauges, spars, chosen
        self.assumptions = assumptions
        self.readings = {key: self._reading(key, some) for key, some in takes.items()}
        self._slopes()
        self.adoptions: dict[str, Adoption] = {}
        self.differentials = Differentials(
            self.graph, {reading.value: self._parts(reading) for reading in self.readings.values()}
        )
        self.lumps: dict[str, tuple[Node, Node]] = {}
        values = {key: reading.value for key, reading in self.readings.items()}
        self.plan = Plan(rig, values, self.maths, self._adopt)
        for mast in rig.masts:
            self._gather(mast.name)

    # Readings

    def _input(self, *name: str | int) -> Node:
        return self.graph.input("_".join(str(piece) for piece in name))

    def _reading(self, key: ReadingKey, takes: tuple[Take, ...]) -> TracedReading:
        slug, mast, _ = key
        along = mast if READINGS[slug].along_spar and mast in self.spars else ""
        value = self.graph.const(0.0)
        reading = TracedReading(key, takes, value)
        by_gauge: dict[int, list[Take]] = {}
        for take in takes:
            by_gauge.setdefault(take.gauge, []).append(take)
        for gauge, some in by_gauge.items():
            value = value + self._by_one_gauge(reading, gauge, some, along)
        if along:
            value = value * self._input(along, SPAR_INPUTS[0])
        reading.value = value
        self._own_sources(reading)
        for (source, read), sign in SIGNS.items():
            if read == slug:
                half_width = getattr(self.assumptions, SOURCES[source].assumption)
                where = (mast, key[2]) if source == "sheer_point" else (mast,)
                reading.shared[SharedSource(source, where=where)] = self.graph.const(sign * half_width / ROOT_3)
        return reading

    def _by_one_gauge(self, reading: TracedReading, index: int, takes: list[Take], along: str) -> Node:
        """What this gauge's takes add to the corrected mean; its sources are noted on the way."""
        gauge, share = self.gauges[index], len(takes) / len(reading.takes)
        shown = (1.0 / len(takes)) * self.graph.total([self._input("v", take.input) for take in takes])
        source = SharedSource(gauge.source, gauge=index)
        if gauge.category != "tape":
            error, limit = (self._input("g", index, name) for name in gauge.inputs)
            load = self._load(reading.key, shown)
            reading.shared[source] = share * (limit * load)
            return share * (shown + error * load)
        factor, per_k, *limits = (self._input("g", index, name) for name in gauge.inputs)
        length = self.graph.choose(shown, shown, -shown) if READINGS[reading.key[0]].may_be_negative else shown
        if gauge.model == "class":
            reading.shared[source] = share * (limits[0] + limits[1] * self.graph.ceil(length / 1000.0))
        else:
            reading.shared[source] = share * (limits[0] if gauge.model == "constant" else limits[0] * shown)
        temperature = SharedSource("tape_temperature")
        if along:
            per_k = per_k - self._input(along, SPAR_INPUTS[1])
            spar = SharedSource("spar_expansion", where=(along,))
            reading.shared[spar] = reading.shared.get(spar, 0.0) + share * (shown * self._input(along, SPAR_INPUTS[2]))
        reading.shared[temperature] = reading.shared.get(temperature, 0.0) + share * (shown * per_k)
        return share * (shown * factor) + self._hanging(reading, takes)

    def _hanging(self, reading: TracedReading, takes: list[Take]) -> Node:
        total = self.graph.const(0.0)
        for take in takes:
            if take.hanging:
                shown = self._input("v", take.input)
                stretch, sag = self._input("h", take.input, "stretch"), self._input("h", take.input, "sag")
                total = total + (1.0 / len(reading.takes)) * (shown * stretch - shown * shown * shown * sag)
        return total

    def _load(self, key: ReadingKey, shown: Node) -> Node:
        """How much of the gauge's error the reading has: a scale's grows with its load and is whole at the mast's own.

        With the same error at every load it would cancel between mast and slings, and the weight would seem surer
        than the scale.
        """
        one = self.graph.const(1.0)
        if key[0] != "sling_weight":
            return one
        hanging = self.takes.get(("scale_reading", key[1], ""))
        if hanging is None:
            return one
        heavy = (1.0 / len(hanging)) * self.graph.total([self._input("v", take.input) for take in hanging])
        return self.graph.choose(heavy - shown, shown / heavy, one)

    def _own_sources(self, reading: TracedReading) -> None:
        kind, count = READINGS[reading.key[0]], len(reading.takes)
        tape = all(self.gauges[take.gauge].category == "tape" for take in reading.takes)
        end = self.assumptions.reading_end_mm if tape else 0.05  # half of the 0.1 mm or 0.1 kg that is read to
        ends = 2 if tape else 1
        reading.own["reading_end"] = self.graph.const(ends * end * end / 3.0 / count)
        for source in kind.sources:
            if SOURCES[source].scope == "reading":
                half_width = getattr(self.assumptions, SOURCES[source].assumption)
                shared_out = count if source in PER_TAKE else 1
                reading.own[source] = self.graph.const(half_width * half_width / 3.0 / shared_out)
        if count >= 3:
            for source in PER_TAKE:
                reading.own.pop(source, None)
            self._scatter(reading, end * end / 3.0)

    def _scatter(self, reading: TracedReading, least: float) -> None:
        """s2 / n in place of what each take does anew, but no less than the reading's own rounding, which takes that
        all round alike do not show (JCGM 100:2008, F.2.2.1).
        """
        count = len(reading.takes)
        shown = [self._input("v", take.input) for take in reading.takes]
        mean = (1.0 / count) * self.graph.total(shown)
        squares = self.graph.total([(one - mean) * (one - mean) for one in shown])
        variance = (1.0 / (count * (count - 1))) * squares
        enough = variance - least
        reading.own["repeatability"] = self.graph.choose(enough, variance, least)
        reading.own_weight = self.graph.choose(enough, (1.0 / (count - 1)) * (variance * variance), 0.0)

    def _slopes(self) -> None:
        """How the band's edge and the sheer point move the slant distances: by the cosine of the tape to the mast."""
        edge = self.assumptions.band_edge_mm / ROOT_3
        sheer = self.assumptions.sheer_point_mm / ROOT_3
        for (slug, mast, side), reading in self.readings.items():
            if slug not in ("band_to_sheer", "mark_to_sheer") or side not in SIDES:
                continue
            three = [("band_to_sheer", mast, side), ("mark_to_sheer", mast, side), ("mark_spacing", mast, "")]
            cosine = self.graph.const(1.0)
            if all(key in self.readings for key in three):
                a, b, z = (self.readings[key].value for key in three)
                drop = (a * a - b * b) / (2.0 * z) + 0.5 * z
                slope = drop / a if slug == "band_to_sheer" else (drop - z) / b
                cosine = self.graph.choose(formulas.possible(a, b, z, self.maths), slope, 1.0)
            reading.shared[SharedSource("sheer_point", where=(mast, side))] = -sheer * cosine
            if slug == "band_to_sheer":
                reading.shared[SharedSource("lower_band_edge", where=(mast,))] = edge * cosine

    # Dimensions

    def _parts(self, reading: TracedReading) -> Form:
        form: Form = {reading.key: self.graph.const(1.0)}
        for source, node in reading.shared.items():
            form[source] = node
        return form

    def part_variance(self, part: object) -> Node:
        """Variance of one part of a form: a reading's own, 1 for a shared source, or that of a gathered lump."""
        if isinstance(part, tuple) and len(part) == 3:
            return self.graph.total(self.readings[part].own.values())
        return self.lumps[part][0] if isinstance(part, str) else self.graph.const(1.0)

    def covariance(self, a: Form, b: Form) -> Node:
        return self.graph.total(
            coefficient * b[part] * self.part_variance(part) for part, coefficient in a.items() if part in b
        )

    def variance(self, form: Form) -> Node:
        return self.covariance(form, form)

    def weight(self, form: Form) -> Node:
        """The sum of variance squared over degrees of freedom in the Welch-Satterthwaite formula."""
        total = self.graph.const(0.0)
        for part, coefficient in form.items():
            own: Node | None = None
            if isinstance(part, str):
                own = self.lumps[part][1]
            elif isinstance(part, tuple):
                own = self.readings[part].own_weight
            if own is not None:
                square = coefficient * coefficient
                total = total + square * square * own
        return total

    def _adopt(self, mast: str, string: Node, two_mark: Node) -> Node:
        """The linear combination of least variance where the methods agree, else what the visit chose, else NaN."""
        form_s, form_t = self.differentials.of(string), self.differentials.of(two_mark)
        var_s, var_t, both = self.variance(form_s), self.variance(form_t), self.covariance(form_s, form_t)
        spread = var_s + var_t - 2.0 * both
        apart = string - two_mark
        agree = self.assumptions.coverage_factor**2 * spread - apart * apart
        share = (var_t - both) / spread
        rest = 1.0 - share
        node = share * string + rest * two_mark
        self.adoptions[mast] = Adoption(node, share, string, two_mark)
        # The shares count as fixed numbers: near the least variance they hardly matter to it.
        self.differentials.set(node, combined(self.graph, share, form_s, rest, form_t))
        otherwise = {"string": string, "two_mark": two_mark}.get(
            self.chosen.get(mast, ""), self.graph.const(formulas.NAN)
        )
        return self.graph.choose(agree, node, otherwise)

    def _gather(self, mast: str) -> None:
        """Lump what reaches other dimensions only through this boom height into one part, to carry it once."""
        outcome = self.plan.dimension("boom_above_sheer", mast)
        if outcome is None or outcome.value is None:
            return
        own = {key for key in self.readings if key[0] in BOOM_HEIGHT_READINGS and key[1] == mast}
        elsewhere = {part for key, reading in self.readings.items() if key not in own for part in reading.shared}
        form = self.differentials.of(outcome.value)
        inside = {part: node for part, node in form.items() if part in own or part not in elsewhere}
        self.lumps[mast] = (self.variance(inside), self.weight(inside))
        outside = {part: node for part, node in form.items() if part not in inside}
        self.differentials.set(outcome.value, {mast: self.graph.const(1.0), **outside})

    def by_reading(self) -> Differentials:
        """Differentials of every dimension in the readings themselves, for budgets and for attributing changes."""
        one = self.graph.const(1.0)
        result = Differentials(self.graph, {reading.value: {key: one} for key, reading in self.readings.items()})
        for adoption in self.adoptions.values():
            share = adoption.string_share
            form = combined(self.graph, share, result.of(adoption.string), 1.0 - share, result.of(adoption.two_mark))
            result.set(adoption.node, form)
        return result
