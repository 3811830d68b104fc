"""Figures, dates, words with shapes: how every page prints them. `{% load figures %}`."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from computations import charts, drawing, typesetting, units
from computations.catalogue import DIMENSIONS, READINGS
from computations.drawing import RigFigures
from computations.fleet.charting import Control, draw_control
from computations.results import Change
from office import marks

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from django.template import Context

register = template.Library()

EMPTY = "–"


def _set(text: str) -> SafeString:
    """The digits, with the fraction in its own box so that a column lines up on the decimal."""
    whole, point, fraction = text.partition(".")
    return format_html('{}<span class="fraction">{}{}</span>', whole, point, fraction)


def _beside(context: Context, value: float, unit: str) -> SafeString | str:
    """Feet and inches beside millimetres, where the viewer asks."""
    if unit != "mm" or not wants_feet(context):
        return ""
    return format_html(' <span class="beside">{}</span>', units.format_feet_inches(value))


def wants_feet(context: Context) -> bool:
    """The address asks by `?beside=feet`; else what the person stored, or this browser for somebody not signed in."""
    request = context.get("request")
    if request is None:
        return bool(context.get("feet_inches"))
    if "beside" in request.GET:
        return bool(request.GET["beside"] == "feet")
    lengths = getattr(getattr(request, "user", None), "lengths", request.COOKIES.get("beside", ""))
    return bool(lengths == "feet")


@register.simple_tag(takes_context=True)
def feet_wanted(context: Context) -> bool:
    return wants_feet(context)


def _data(value: float, text: str) -> SafeString:
    return format_html('<data class="figure" value="{}">{}</data>', repr(float(value)), _set(text))


@register.simple_tag(takes_context=True)
def figure_value(
    context: Context, value: float | None, unit: str = "mm", expanded: float | None = None, decimals: int | None = None
) -> SafeString | str:
    """The figure and its unit, with as many decimals as U justifies."""
    if value is None:
        return mark_safe('<span class="not-read">not read</span>')
    text = typesetting.number(value, typesetting.decimals_for(expanded, unit, decimals))
    return format_html("{}{}{}", _data(value, text), _unit(unit), _beside(context, value, unit))


def _unit(unit: str) -> SafeString:
    word = typesetting.unit_word(unit)
    return format_html(' <span class="unit">{}</span>', word)


@register.simple_tag
def uncertainty(expanded: float | None, unit: str = "mm") -> SafeString | str:
    """± U, two significant digits at most."""
    if expanded is None:
        return EMPTY
    text = typesetting.number(expanded, typesetting.decimals_for(expanded, unit))
    return format_html('<span class="uncertainty">±\u202f{}</span>', _set(text))


@register.simple_tag(takes_context=True)
def figure(
    context: Context, value: float | None, unit: str = "mm", expanded: float | None = None, decimals: int | None = None
) -> SafeString | str:
    """The figure, ± U and the unit: 15 286.4 ± 3.8 mm."""
    if value is None or expanded is None:
        return figure_value(context, value, unit, expanded, decimals)
    text = typesetting.number(value, typesetting.decimals_for(expanded, unit, decimals))
    sure = typesetting.number(expanded, typesetting.decimals_for(expanded, unit))
    return format_html(
        '{} <span class="uncertainty">±\u202f{}</span>{}{}',
        _data(value, text),
        sure,
        _unit(unit),
        _beside(context, value, unit),
    )


@register.simple_tag
def signed_figure(value: float | None, unit: str = "mm", expanded: float | None = None) -> SafeString | str:
    """A change: its sign always shown, ± its own U."""
    if value is None:
        return EMPTY
    decimals = typesetting.decimals_for(expanded, unit)
    text = _data(value, typesetting.number(value, decimals, signed=True))
    if expanded is None:
        return format_html("{}{}", text, _unit(unit))
    sure = typesetting.number(expanded, decimals)
    return format_html('{} <span class="uncertainty">±\u202f{}</span>{}', text, sure, _unit(unit))


@register.simple_tag
def plain_number(value: float | None, decimals: int = 0) -> SafeString | str:
    return EMPTY if value is None else _data(value, typesetting.number(value, decimals))


@register.simple_tag
def dimension_name(dimension: Any, method: str = "") -> SafeString | str:
    """The plain name leads, the symbol follows it, smaller. Takes a slug or anything that has one."""
    slug = str(getattr(dimension, "slug", "") or (dimension.get("slug") if isinstance(dimension, dict) else dimension))
    method = method or str(getattr(dimension, "method", "") or "")
    kind = DIMENSIONS.get(slug)
    name, symbol = (kind.name, kind.symbol) if kind else (slug.replace("_", " ").capitalize(), "")
    way = METHODS.get(method, "")
    return format_html(
        "{}{}{}",
        name,
        format_html(' <span class="symbol">{}</span>', symbol) if symbol else "",
        format_html(' <span class="small">{}</span>', way) if way else "",
    )


METHODS = {"string": "by the string", "two_mark": "by two marks", "adopted": ""}


def dimension_words(slug: str, mast: str = "main") -> str:
    """A dimension's name without markup: Luff P, mizzen."""
    kind = DIMENSIONS.get(slug)
    name = " ".join(filter(None, (kind.name, kind.symbol))) if kind else words(slug)
    return name if mast == "main" else f"{name}, {mast}"


def reading_words(slug: str, position: str = "", mast: str = "main") -> str:
    """A reading's name without markup: Second mark to the sheer point, port."""
    if slug == "remainder":
        return "The rest, not linear"
    kind = READINGS.get(slug)
    where = (position, mast if mast != "main" else "")
    return ", ".join(filter(None, (kind.name if kind else words(slug), *where)))


@register.simple_tag
def reading_name(slug: str, position: str = "", mast: str = "main") -> SafeString:
    """A reading's plain name, its symbol, side or halyard, and the mast where it is not the main one."""
    kind = READINGS.get(slug)
    plain = reading_words(slug)
    where = reading_words(slug, position, mast).removeprefix(plain)
    symbol = format_html(' <span class="symbol">{}</span>', kind.symbol) if kind and kind.symbol else ""
    return format_html("{}{}{}", plain, symbol, where)


@register.simple_tag
def verdict(key: str | None) -> SafeString:
    return marks.render(marks.find(marks.VERDICTS, key))


@register.simple_tag
def grade(key: str | None) -> SafeString:
    return marks.render(marks.find(marks.GRADES, key))


@register.simple_tag
def state(key: str | None) -> SafeString:
    return marks.render(marks.find(marks.STATES, key))


@register.simple_tag
def icon(shape: str, label: str = "") -> SafeString:
    return marks.draw(shape, label)


@register.simple_tag
def brand_glyph() -> SafeString:
    """A mast with its two bands."""
    return mark_safe(
        '<svg viewBox="0 0 24 32" aria-hidden="true" focusable="false"><path d="M10.5 1h3v25h-3z" fill="currentColor"/>'
        '<path class="glyph-band" d="M9 4.5h6v3H9zM9 18h6v3H9z" fill="currentColor"/>'
        '<path d="M1 26h22l-3.5 5H4.5z" fill="currentColor"/></svg>'
    )


def _both(draw: Callable[[str, float], str], id_prefix: str) -> SafeString:
    """A drawing for a column and one for a phone: the style sheet shows the one that fits."""
    wide, narrow = (
        mark_safe(draw(id_prefix + suffix, width))  # noqa: S308 - our own text, escaped word by word where it is drawn
        for suffix, width in (("", drawing.WIDTH), ("-narrow", drawing.NARROW))
    )
    return format_html('<div class="rig-for-wide">{}</div><div class="rig-for-narrow">{}</div>', wide, narrow)


@register.simple_tag
def rig_drawing(
    figures: RigFigures, previous: RigFigures | None = None, title: str = "Rig plan", id_prefix: str = "rig"
) -> SafeString:
    """The rig plan, the previous visit's lines beneath where given."""
    drawn = drawing.draw_for_page(figures, previous=previous, title=title, id_prefix=id_prefix)
    return mark_safe(drawn)  # noqa: S308 - our own text, escaped word by word where it is drawn


@register.simple_tag
def carried_chart(change: Change, id_prefix: str = "") -> SafeString | str:
    """What carried one change, as bars that add up to it; nothing where nothing is known to have carried it."""
    parts = [charts.Part(reading_words(one.reading, one.position, one.mast), one.amount) for one in change.carried_by]
    if not parts:
        return ""
    title = f"What carried the change of {dimension_words(change.slug, change.mast)}"
    return _both(
        lambda prefix, width: charts.draw_carried(
            parts, unit=change.unit, expanded=change.expanded_uncertainty, title=title, id_prefix=prefix, width=width
        ),
        id_prefix or f"carried-{change.slug}-{change.mast}-{change.method or 'only'}",
    )


@register.simple_tag
def history_chart(
    points: Sequence[charts.Point],
    unit: str = "mm",
    band: tuple[float, float] | None = None,
    title: str = "Over the visits",
    id_prefix: str = "history",
) -> SafeString:
    """One dimension over the visits with its uncertainty bars; `band` is what would be measuring noise."""
    return _both(
        lambda prefix, width: charts.draw_history(
            points, unit=unit, band=band, title=title, id_prefix=prefix, width=width
        ),
        id_prefix,
    )


@register.simple_tag
def small_history_chart(
    points: Sequence[charts.Point], unit: str, band: tuple[float, float] | None, title: str, id_prefix: str
) -> SafeString:
    """The same where many stand side by side: drawn once, small enough for a phone and for three in a row."""
    drawn = charts.draw_history(points, unit=unit, band=band, title=title, id_prefix=id_prefix, width=drawing.NARROW)
    return mark_safe(drawn)  # noqa: S308 - our own text, escaped word by word where it is drawn


@register.simple_tag
def control_chart(control: Control, unit: str, what: str) -> SafeString:
    """One tape's or measurer's visits with the limits drawn from them."""
    return _both(
        lambda prefix, width: draw_control(
            control, unit=unit, title=f"Control chart of the {what}", id_prefix=prefix, width=width
        ),
        f"control-{what}-{control.number}",
    )


@register.filter
def iso_date(value: dt.date | dt.datetime | None) -> SafeString | str:
    """2026-05-04."""
    if not value:
        return EMPTY
    day = timezone.localtime(value).date() if isinstance(value, dt.datetime) else value
    return format_html('<time datetime="{}">{}</time>', day.isoformat(), day.isoformat())


@register.filter
def iso_time(value: dt.datetime | None) -> SafeString | str:
    """2026-05-04 09:30 UTC: date, time and zone, to the minute."""
    if not value:
        return EMPTY
    local = timezone.localtime(value)
    return format_html(
        '<time datetime="{}">{}</time>', local.isoformat(timespec="seconds"), local.strftime("%Y-%m-%d %H:%M %Z")
    )


@register.filter
def feet_inches(value_mm: float | None) -> str:
    """Millimetres as feet, inches and sixteenths."""
    return EMPTY if value_mm is None else units.format_feet_inches(value_mm)


@register.filter
def words(key: str | None) -> str:
    """A key of the code in plain words: under_review becomes Under review."""
    return str(key or "").replace("_", " ").capitalize() or EMPTY
