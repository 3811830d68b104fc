"""The kinds of long work there are. Each storey registers its own, in a module `long_work` that is found by its name.

A kind's function gets a `Progress` and the arguments it was asked with, and may be called again for the same piece of
work after a worker was killed: each of its steps is a transaction of its own, and a step done before is done no more.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from office.audit.refusals import WrongState
from office.people.models import Person
from office.work.progress import Progress

Function = Callable[..., None]
Still = Callable[[Person, dict[str, Any]], bool]  # a person, and the arguments the work was asked with


class Kind(NamedTuple):
    title: str
    run: Function
    roles: tuple[str, ...] = ()  # who may ask for it on the page of long work; nobody: other pages ask for it
    tries: int = 3  # after so many, killed workers and passing failures together, it has failed
    still: Still | None = None  # who asked may have the file that came of it only while this holds


KINDS: dict[str, Kind] = {}


def kind(
    name: str, title: str, *roles: str, tries: int = 3, still: Still | None = None
) -> Callable[[Function], Function]:
    """Registers a function `run(progress, **arguments)` as the kind of work `name`; `roles` may ask for it by hand."""

    def register(function: Function) -> Function:
        KINDS[name] = Kind(title, function, roles, tries, still)
        return function

    return register


def kind_of(name: str) -> Kind:
    """Raises WrongState where nothing of that name is known (any more)."""
    if name not in KINDS:
        raise WrongState(f"This office knows no long work called “{name}”.")
    return KINDS[name]


def run(name: str, progress: Progress, arguments: dict[str, Any]) -> None:
    kind_of(name).run(progress, **arguments)


def most_tries(name: str) -> int:
    return KINDS[name].tries if name in KINDS else 1
