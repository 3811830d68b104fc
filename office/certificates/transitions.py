"""What may happen to a certificate, by how it stands: the table from which the state diagram is drawn.

A certificate's standing on a day follows from its columns (standing.py); these are the verbs that write them.
`replace` is what issuing another certificate of the boat does to this one. Expiry comes by itself.
"""

from __future__ import annotations

from dataclasses import dataclass

from office.certificates.standing import Standing
from office.people.models import Role


@dataclass(frozen=True, slots=True)
class Transition:
    """One verb, the standings it may be done in, the standing it leads to, and the role it takes ("": time)."""

    verb: str
    sources: tuple[str, ...]
    target: str
    role: str


RUNNING = (Standing.IN_FORCE, Standing.NOT_YET)
NOT_ENDED = (*RUNNING, Standing.SUSPENDED)

TRANSITIONS = (
    Transition("issue", (), Standing.IN_FORCE, Role.CERTIFIER),
    Transition("issue_ahead", (), Standing.NOT_YET, Role.CERTIFIER),
    Transition("begin", (Standing.NOT_YET,), Standing.IN_FORCE, ""),
    Transition("expire", (Standing.IN_FORCE, Standing.SUSPENDED), Standing.EXPIRED, ""),
    Transition("suspend", RUNNING, Standing.SUSPENDED, Role.CERTIFIER),
    Transition("reinstate", (Standing.SUSPENDED,), Standing.IN_FORCE, Role.CERTIFIER),
    Transition("replace", NOT_ENDED, Standing.REPLACED, Role.CERTIFIER),
    Transition("withdraw", NOT_ENDED, Standing.WITHDRAWN, Role.CERTIFIER),
)
