"""The rig on the log sheet: dotted, each dimension with the lines of the sheet it is read on."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

from django.utils.safestring import SafeString, mark_safe

from computations.catalogue import DIMENSIONS, READINGS
from computations.derivation import derive
from computations.drawing import draw_rig, figures_from
from computations.drawing_dimensions import NOT_READ
from computations.inputs import Rig, Visit
from office import papers
from surveys.paper.sheet import numbers_in_words

# Widths in the drawing's own units: each arranges itself anew, and the one that fills its room best prints largest.
WIDTHS = (340.0, 400.0, 460.0, 520.0, 580.0)
ROOM_MM = (98.0, 118.0)
GROUP = re.compile(r'<g class="rig-dimension" [^>]*data-dimension="([^"]+)" data-mast="([^"]+)".*?</g>')
EMPTY = re.compile(rf"(<text [^>]*>){NOT_READ}(</text>)")
# The scale and its words end the drawing; of a rig at usual proportions they would say something untrue.
KEY = re.compile(r"<text [^>]*>(?:Dotted: not read\.|[^<]*hull schematic\.)</text>")
KEY_HEIGHT = 36
SIZE = re.compile(r'viewBox="0 0 (\d+) (\d+)" width="\d+" height="\d+"')


@dataclass(frozen=True, slots=True)
class Plan:
    """The drawing, and how high it is on paper."""

    svg: SafeString
    height_mm: float


def rig_with_lines(rig: Rig, given: Mapping[tuple[str, str], list[int]], title: str) -> Plan:
    """The rig at usual proportions; where a page says "not read", this says on which lines it is to be read."""
    figures = figures_from(derive(Visit(rig=rig)).dimensions, rig)
    drawn = [draw_rig(figures, title=title, width=width, id_prefix="sheet") for width in WIDTHS]
    scale, height, best = max(((*_fit(svg), svg) for svg in drawn), key=lambda one: one[0])

    def filled(match: re.Match[str]) -> str:
        words = escape(numbers_in_words(lines_of(match[1], match[2], given)))
        return EMPTY.sub(rf"\g<1>{words}\g<2>", match[0])

    svg = KEY.sub("", GROUP.sub(filled, papers.UNSEEN.sub("", best)))
    cropped = SIZE.sub(rf'viewBox="0 0 \g<1> {height}"', svg, count=1)
    return Plan(mark_safe(cropped), round(scale * height, 1))  # noqa: S308 - our own, escaped


def _fit(svg: str) -> tuple[float, int]:
    """Millimetres of paper for each unit where the drawing fills its room, and its height without the key."""
    width, height = (int(text) for text in SIZE.findall(svg)[0])
    height -= KEY_HEIGHT
    return min(ROOM_MM[0] / width, ROOM_MM[1] / height), height


def lines_of(dimension: str, mast: str, given: Mapping[tuple[str, str], list[int]]) -> list[int]:
    """The numbers of the lines whose readings feed the dimension by their own name."""
    label = DIMENSIONS[dimension].label
    return [
        number
        for (slug, where), numbers in given.items()
        if where == mast and label in READINGS[slug].feeds
        for number in numbers
    ]
