"""Words and shapes for states, verdicts and grades: nothing is said by colour alone.

Every mark is a word with a shape of our own; the shape is drawn in the text's colour on a 16 x 16 grid, so that it
prints in black and white and follows the dark scheme.
"""

from __future__ import annotations

from typing import NamedTuple

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

_LINE = 'fill="none" stroke="currentColor" stroke-width="1.8" stroke-linecap="round" stroke-linejoin="round"'

# Shape name -> content of a 16 x 16 SVG.
SHAPES = {
    "ring_dotted": f'<circle cx="8" cy="8" r="6" {_LINE} stroke-dasharray="0.1 3.05"/>',
    "ring": f'<circle cx="8" cy="8" r="6" {_LINE}/>',
    "ring_half": f'<circle cx="8" cy="8" r="6" {_LINE}/><path d="M8 2a6 6 0 0 1 0 12z" fill="currentColor"/>',
    "disc": '<circle cx="8" cy="8" r="6.5" fill="currentColor"/>',
    "pen": f'<path d="M2.5 13.5l1-3.5L11 2.5l2.5 2.5L6 12.5zM9.5 4l2.5 2.5" {_LINE}/>',
    "signature": f'<path d="M2 9.5c2-6 4-7 4.5-5S4 11 5 11s2-3 3-3 0 3 1.2 3S11 9 14 9M2 14h12" {_LINE}/>',
    "lens": f'<circle cx="7" cy="7" r="4.6" {_LINE}/><path d="M10.5 10.5L14 14" {_LINE}/>',
    "return": f'<path d="M6 3L2.5 6.5 6 10M3 6.5h6.5a4 4 0 0 1 0 7.5H7" {_LINE}/>',
    "tick": f'<path d="M2.5 8.5l3.5 4 7.5-9" {_LINE}/>',
    "cross": f'<path d="M3.5 3.5l9 9M12.5 3.5l-9 9" {_LINE}/>',
    "stop": '<path d="M5 1h6l4 4v6l-4 4H5l-4-4V5z" fill="none" stroke="currentColor" stroke-width="1.8"/>'
    '<path d="M7.1 4h1.8v5H7.1zM7.1 10.2h1.8V12H7.1z" fill="currentColor"/>',
    "ask": f'<path d="M8 1l7 7-7 7-7-7z" {_LINE}/>'
    f'<path d="M6.3 6.6a1.7 1.7 0 1 1 2.5 1.5c-.6.3-.8.6-.8 1.1M8 11.3v.1" {_LINE}/>',
    "note": f'<circle cx="8" cy="8" r="6.5" {_LINE}/><path d="M8 7.5v3.7M8 4.8v.1" {_LINE}/>',
    "wave": f'<path d="M1.5 6.5q1.6-3 3.25 0t3.25 0 3.25 0 3.25 0M1.5 11q1.6-3 3.25 0t3.25 0 3.25 0 3.25 0" {_LINE}/>',
    "step_open": f'<path d="M8 3l6 10H2z" {_LINE}/>',
    "step": '<path d="M8 2l7 12H1z" fill="currentColor"/>',
    "seal": f'<circle cx="8" cy="6.5" r="5" fill="currentColor"/>'
    f'<path d="M5.5 11L4.5 15 8 13.3 11.5 15l-1-4" {_LINE}/>',
    "sand": f'<path d="M3.5 1.8h9M3.5 14.2h9M4.5 2c0 4 7 8 7 12M11.5 2c0 4-7 8-7 12" {_LINE}/>',
    "swap": f'<path d="M2 5.5h11M10 2.5l3 3-3 3M14 11H3M6 8.5L3 11l3 3" {_LINE}/>',
    "pause": '<path d="M3.5 2.5h3v11h-3zM9.5 2.5h3v11h-3z" fill="currentColor"/>',
    "dash": f'<path d="M3 8h10" {_LINE}/>',
    "search": f'<circle cx="7" cy="7" r="4.6" {_LINE}/><path d="M10.5 10.5L14 14" {_LINE}/>',
    "page": f'<path d="M3.5 1.5h6l3 3v10h-9zM9.5 1.5v3h3" {_LINE}/>',
    "download": f'<path d="M8 2v8M4.5 7L8 10.5 11.5 7M2.5 14h11" {_LINE}/>',
    "upload": f'<path d="M8 10.5v-8M4.5 6L8 2.5 11.5 6M2.5 14h11" {_LINE}/>',
    "plus": f'<path d="M8 3v10M3 8h10" {_LINE}/>',
    "calendar": f'<path d="M2.5 3.5h11v10h-11zM2.5 6.5h11M5.5 1.5v3M10.5 1.5v3" {_LINE}/>',
    "person": f'<circle cx="8" cy="5" r="3" {_LINE}/><path d="M2.5 14.5c.5-4 10.5-4 11 0" {_LINE}/>',
    "boat": f'<path d="M1.5 11h13l-2 3h-9zM8 1.5V9M8 2l5 7H8" {_LINE}/>',
    "print": f'<path d="M4.5 5.5v-4h7v4M4.5 11h-2.5V5.5h12V11h-2.5M4.5 9h7v5.5h-7z" {_LINE}/>',
}


class Mark(NamedTuple):
    word: str
    shape: str
    tone: str = ""  # firm | signal | quiet


# States of a visit and of a certificate, answers of the public page, checks' grades, verdicts on changes.
STATES = {
    "asked_for": Mark("Asked for", "ring_dotted"),
    "planned": Mark("Planned", "calendar"),
    "draft": Mark("Draft", "pen"),
    "signed": Mark("Signed", "signature", "firm"),
    "under_review": Mark("Under review", "lens", "firm"),
    "returned": Mark("Returned", "return", "signal"),
    "accepted": Mark("Accepted", "tick", "firm"),
    "called_off": Mark("Called off", "cross", "quiet"),
    "waiting": Mark("Waiting for a worker", "sand"),
    "running": Mark("Under way", "ring_half"),
    "done": Mark("Done", "tick"),
    "failed": Mark("Failed", "cross", "signal"),
    "in_force": Mark("In force", "seal", "firm"),
    "not_yet": Mark("Not yet in force", "ring_dotted"),
    "expired": Mark("Expired", "sand", "signal"),
    "replaced": Mark("Replaced", "swap", "quiet"),
    "withdrawn": Mark("Withdrawn", "cross", "signal"),
    "suspended": Mark("Suspended", "pause", "signal"),
    "none": Mark("None", "dash", "signal"),
    "unsure": Mark("Not sure which boat", "ask", "signal"),
    "ends_during_event": Mark("Ends during the event", "sand", "signal"),
    "genuine": Mark("Genuine", "seal", "firm"),
    "not_genuine": Mark("Not genuine", "stop", "signal"),
    "not_checked": Mark("Not checked", "ask", "signal"),
    "holds": Mark("Holds", "tick", "firm"),
    "fails": Mark("Fails", "cross", "signal"),
    "received": Mark("Received", "ring_dotted", "signal"),
    "acknowledged": Mark("Acknowledged", "ring"),
    "looked_into": Mark("Being looked into", "lens", "firm"),
    "decided": Mark("Decided", "tick", "firm"),
    "closed": Mark("Closed", "tick", "quiet"),
    "to_come": Mark("To come", "ring_dotted"),
    "run_out": Mark("Run out", "sand", "signal"),
    "open": Mark("Open", "ask", "signal"),
    "answered": Mark("Answered", "ring_half"),
    "settled": Mark("Settled", "tick"),
    "in_date": Mark("In date", "tick"),
    "overdue": Mark("Overdue", "sand", "signal"),
    "due_soon": Mark("Due soon", "sand"),
    "agrees": Mark("Agrees", "tick", "firm"),
    "differs": Mark("Differs", "step", "signal"),
    "cannot_tell": Mark("Cannot tell", "ask"),
    "not_read": Mark("Not read", "dash", "quiet"),
    "finished": Mark("Finished", "tick"),
}
GRADES = {
    "stop": Mark("Stop", "stop", "signal"),
    "ask": Mark("Ask", "ask", "firm"),
    "note": Mark("Note", "note"),
}
VERDICTS = {
    "within_noise": Mark("Within measuring noise", "wave", "quiet"),
    "changed_below_limit": Mark("Changed, below the limit", "step_open"),
    "changed": Mark("Changed", "step", "signal"),
}


def draw(shape: str, label: str = "") -> SafeString:
    """The shape as inline SVG, hidden from screen readers unless it has a label of its own."""
    content = mark_safe(SHAPES.get(shape, SHAPES["ring"]))  # noqa: S308 - our own constants
    if label:
        return format_html('<svg class="icon" viewBox="0 0 16 16" role="img" aria-label="{}">{}</svg>', label, content)
    return format_html('<svg class="icon" viewBox="0 0 16 16" aria-hidden="true" focusable="false">{}</svg>', content)


def render(mark: Mark) -> SafeString:
    tone = f" mark-{mark.tone}" if mark.tone else ""
    return format_html('<span class="mark{}">{}<span>{}</span></span>', tone, draw(mark.shape), mark.word)


def find(table: dict[str, Mark], key: str | None) -> Mark:
    """The mark of a key; an unknown key is said in its own words rather than hidden."""
    if not key:
        return Mark("–", "dash", "quiet")
    return table.get(key) or Mark(key.replace("_", " ").capitalize(), "ring")
