"""Where the words of a drawing stand: measured text boxes that never overlap.

Widths are those of a wide sans (DejaVu Sans, advance widths read from the font): a narrower font only leaves more air.
All lengths here are units of the drawing's viewBox, y down.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache

Box = tuple[float, float, float, float]  # left, top, right, bottom
Stroke = tuple[float, float, float, float]  # x1, y1, x2, y2

NAME_SIZE = 11.5
SYMBOL_SIZE = 9.5
FIGURE_SIZE = 13.0
LINE = 14.0  # from one baseline to the next
PAD = 2.0

# Advance widths in em, character by character.
_WIDTHS = {
    0.2: "\u202f",
    0.28: "'ijl",
    0.32: "IJ ,.·’",
    0.36: "/:;\\|f-",
    0.4: "()[]t!",
    0.42: "r",
    0.5: '"*_`–',
    0.53: "sz?",
    0.56: "cL",
    0.6: "FkvxyP",
    0.62: "TYaoe",
    0.64: "ESbdghnpqu$0123456789{}",
    0.69: "KAVBRXZC",
    0.76: "UHNDG",
    0.79: "OQ&",
    0.84: "w#+<=>^~±×−",
    0.87: "M",
    1.0: "m%W@",
}
_WIDTH = {character: width for width, characters in _WIDTHS.items() for character in characters}


@lru_cache(maxsize=2048)
def text_width(text: str, size: float) -> float:
    return size * sum(_WIDTH.get(character, 1.0) for character in text)


@lru_cache(maxsize=2048)
def _label_width(names: tuple[str, ...], symbol: str, figure: str) -> float:
    widths = [text_width(name, NAME_SIZE) for name in names]
    if symbol:
        widths[-1] += text_width(" " + symbol, SYMBOL_SIZE)
    return max(*widths, text_width(figure, FIGURE_SIZE))


@dataclass(frozen=True, slots=True)
class Label:
    """What stands at a dimension: plain name in one line or two, symbol smaller after it, figure beneath."""

    names: tuple[str, ...]
    symbol: str
    figure: str

    @property
    def width(self) -> float:
        return _label_width(self.names, self.symbol, self.figure)

    @property
    def height(self) -> float:
        return LINE * (len(self.names) + 1)

    def forms(self) -> tuple[Label, ...]:
        """The label as it is, and narrower with its name in two lines."""
        words = self.names[0].split()
        if len(self.names) > 1 or len(words) < 2:
            return (self,)
        cuts = [(" ".join(words[:cut]), " ".join(words[cut:])) for cut in range(1, len(words))]
        best = min(cuts, key=lambda cut: max(len(cut[0]), len(cut[1]) + 0.8 * len(self.symbol)))
        return (self, Label(best, self.symbol, self.figure))


@dataclass(frozen=True, slots=True)
class Spot:
    """A place for a label: x of its start, middle or end, and y of its top."""

    x: float
    y: float
    anchor: str = "start"

    def box(self, label: Label) -> Box:
        width = label.width
        left = self.x - {"start": 0.0, "middle": width / 2, "end": width}[self.anchor]
        return (left, self.y, left + width, self.y + label.height)


def overlap(one: Box, other: Box, pad: float = 0.0) -> bool:
    return one[0] < other[2] + pad and other[0] < one[2] + pad and one[1] < other[3] + pad and other[1] < one[3] + pad


def crosses(box: Box, stroke: Stroke) -> bool:
    """Whether a straight stroke touches a box: their extents meet and the corners lie on both sides of the line."""
    left, top, right, bottom = box
    x1, y1, x2, y2 = stroke
    if max(x1, x2) < left or min(x1, x2) > right or max(y1, y2) < top or min(y1, y2) > bottom:
        return False
    dx, dy = x2 - x1, y2 - y1
    if dx == 0 or dy == 0:
        return True
    sides = [dx * (y - y1) - dy * (x - x1) > 0 for x, y in ((left, top), (right, top), (left, bottom), (right, bottom))]
    return any(sides) and not all(sides)


@dataclass(slots=True)
class Placer:
    """Takes labels one by one and gives each the first place where it hides nothing, or the least bad one.

    A place that would overlap another label or leave the bounds is never taken.
    """

    bounds: Box
    strokes: list[Stroke] = field(default_factory=list)
    taken: list[Box] = field(default_factory=list)

    def place(
        self, label: Label, spots: Callable[[Label], Iterable[Spot]], most_crossings: int = 1
    ) -> tuple[Label, Spot] | None:
        """The form and spot taken, or None where no candidate hides at most that many strokes."""
        best: tuple[Label, Spot] | None = None
        fewest = most_crossings + 1
        for form in label.forms():
            for spot in spots(form):
                box = spot.box(form)
                if not self._free(box):
                    continue
                crossings = self._crossings(box, fewest)
                if crossings < fewest:
                    best, fewest = (form, spot), crossings
                    if not crossings:
                        break
            if not fewest:
                break
        if best is not None:
            self.taken.append(best[1].box(best[0]))
        return best

    def _free(self, box: Box) -> bool:
        left, top, right, bottom = self.bounds
        if box[0] < left or box[1] < top or box[2] > right or box[3] > bottom:
            return False
        return not any(overlap(box, other, PAD) for other in self.taken)

    def _crossings(self, box: Box, enough: int) -> int:
        count = 0
        for stroke in self.strokes:
            if crosses(box, stroke):
                count += 1
                if count >= enough:
                    break
        return count


def beside_upright(
    line: tuple[float, float, float], sides: tuple[str, ...], fractions: tuple[float, ...], form: Label
) -> Iterator[Spot]:
    """Places beside an upright line (x, top, bottom), at fractions of its length, on each side in turn."""
    x, top, bottom = line
    for side in sides:
        for fraction in fractions:
            y = top + (bottom - top) * fraction - form.height / 2
            yield Spot(x + 6, y, "start") if side == "right" else Spot(x - 6, y, "end")


def along_level(line: tuple[float, float, float], form: Label) -> Iterator[Spot]:
    """Places over a level line (y, left, right), then off its ends."""
    y, left, right = line
    for fraction in (0.5, 0.65, 0.35, 0.8, 0.2):
        yield Spot(left + (right - left) * fraction, y - form.height - 3, "middle")
    yield Spot(left, y - form.height - 3, "start")
    yield Spot(right, y - form.height - 3, "end")
    yield Spot(left - 6, y - form.height / 2, "end")
    yield Spot(right + 6, y - form.height / 2, "start")


Entry = tuple[float, float, float, float]  # line from, line to, label from, label to


@dataclass(slots=True)
class Rows:
    """Level dimensions stacked below the drawing: each takes the highest row where it and its label have room."""

    left: float
    right: float
    uprights: list[float] = field(default_factory=list)  # x of the thin lines that come down from the rig
    rows: list[list[Entry]] = field(default_factory=list)
    heights: list[float] = field(default_factory=list)

    def add(self, start: float, end: float, label: Label, first: int = 0) -> tuple[int, Label, float]:
        """Row number, the label's form and its left edge; start = end for a label under a point."""
        for number in range(first, len(self.rows) + 1):
            if number == len(self.rows):
                self.rows.append([])
                self.heights.append(0.0)
            for form, edge in self._options(start, end, label):
                if self._fits(number, (start, end, edge, edge + form.width)):
                    self.rows[number].append((start, end, edge, edge + form.width))
                    self.heights[number] = max(self.heights[number], form.height + 16)
                    return number, form, edge
        raise AssertionError("an empty row always has room")

    def add_words(self, label: Label, first: int) -> tuple[int, Label, float]:
        """A label without a line: the first row with room for it, from row `first` on, from the left."""
        edges = [self.left]
        if len(self.rows) > first:
            edges.append(max(entry[3] for entry in self.rows[-1]) + 12)
        for edge in reversed(edges):
            if edge + label.width <= self.right:
                return self.add(edge, edge, label, len(self.rows) - 1 if edge > self.left else len(self.rows))
        return self.add(self.left, self.left, label, len(self.rows))

    def top(self, number: int) -> float:
        return sum(self.heights[:number])

    def _options(self, start: float, end: float, label: Label) -> list[tuple[Label, float]]:
        """Under the line, in either form, without a thin line through it; then off its ends; then anyhow."""
        under: list[tuple[Label, float]] = []
        outside: list[tuple[Label, float]] = []
        for form in label.forms():
            width = form.width
            under += [(form, edge) for edge in ((start + end - width) / 2, start + 4, end - width - 4)]
            outside += [(form, edge) for edge in (start - width - 6, end + 6)]
        wanted = [(form, min(max(edge, self.left), self.right - form.width)) for form, edge in (*under, *outside)]
        return [option for option in wanted if self._clear(*option)] + wanted

    def _clear(self, form: Label, edge: float) -> bool:
        return not any(edge - 2 < x < edge + form.width + 2 for x in self.uprights)

    def _fits(self, number: int, entry: Entry) -> bool:
        start, end, left, right = entry
        for other_start, other_end, other_left, other_right in self.rows[number]:
            if left < other_right + 8 and other_left < right + 8:
                return False
            if start < other_end - 0.5 and other_start < end - 0.5:
                return False
        return True
