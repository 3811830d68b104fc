"""Long work about certificates."""

from __future__ import annotations

from office.certificates.recomputing import Difference, recompute
from office.people.models import Role
from office.work.kinds import kind
from office.work.progress import Progress


@kind("recompute", "Every visit derived again", Role.ADMINISTRATOR, Role.CERTIFIER)
def recompute_all(progress: Progress) -> None:
    """Stores nothing but its sentences; may be done again at any time."""
    found = recompute(progress.step)
    progress.say(
        f"{found.visits} visits derived; held against {found.signatures} signatures and "
        f"{found.certificates} certificates."
    )
    if not found.differing:
        progress.say("Every figure is what was signed and certified.")
    else:
        progress.say(f"{found.differing} figures differ:")
    for one in found.differences:
        progress.say(_sentence(one))


def _sentence(one: Difference) -> str:
    method = f" ({one.method.replace('_', ' ')})" if one.method else ""
    return (
        f"{one.boat}, {one.where}: {one.dimension}{method} of the {one.mast} mast, {one.what.replace('_', ' ')}: "
        f"stated {one.stated or 'nothing'}, now {one.now or 'nothing'}."
    )
