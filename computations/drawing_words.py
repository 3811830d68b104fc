"""The drawing in words: its text alternative."""

from __future__ import annotations

from computations import typesetting
from computations.catalogue import DIMENSIONS
from computations.drawing_geometry import RigFigures

COUNTS = ("no mast", "one mast", "two masts", "three masts")


def description(figures: RigFigures) -> str:
    """The rig, every figure with its uncertainty, and what was not read: one short sentence each."""
    masts = len(figures.rig.masts)
    sentences = [f"{figures.rig.rig_type.capitalize()} with {COUNTS[min(masts, 3)]}."]

    def name(slug: str, mast: str) -> str:
        kind = DIMENSIONS[slug]
        symbol = f" {kind.symbol}" if kind.symbol else ""
        return f"{kind.name}{symbol}" + (f" ({mast})" if masts > 1 and kind.per == "mast" else "")

    for (slug, mast), figure in figures.figures.items():
        decimals = typesetting.decimals_for(figure.expanded, figure.unit, DIMENSIONS[slug].decimals)
        text = typesetting.number(figure.value, decimals)
        if figure.expanded is not None:
            text += f" ± {typesetting.number(figure.expanded, decimals)}"
        sentences.append(f"{name(slug, mast)} {typesetting.with_unit(text, figure.unit)}.")
    if figures.missing:
        sentences.append("Not read: " + ", ".join(name(*key) for key in sorted(figures.missing)) + ".")
    return " ".join(sentences)
