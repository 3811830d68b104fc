"""What changed between two checks of an event's list."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from office.racing.checking import Key, key_of
from office.racing.results import Result


@dataclass(frozen=True, slots=True)
class Changed:
    """One entry, before and now; None where it was not on the list, or is no longer."""

    before: Result | None
    now: Result | None

    @property
    def entry(self) -> Result:
        if entry := self.now or self.before:
            return entry
        raise ValueError("A change of nothing.")


def changes(before: Iterable[Result], now: Sequence[Result]) -> list[Changed]:
    """Entries whose answer is another one, that came, and that went; in the order of the list, those that went last."""
    former: dict[Key, list[Result]] = defaultdict(list)
    for one in before:
        former[key_of(one.sail_number, one.boat)].append(one)
    found = []
    for one in now:
        same = former.get(key_of(one.sail_number, one.boat))
        was = same.pop(0) if same else None
        if was is None or _answer(was) != _answer(one):
            found.append(Changed(was, one))
    return [*found, *(Changed(one, None) for left in former.values() for one in left)]


def _answer(one: Result) -> tuple[str, str, str, str]:
    return one.status, one.certificate, one.last_day, one.matched.key if one.matched else ""
