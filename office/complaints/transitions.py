"""What may happen to a complaint in which state: the table behind the rules and the state diagram.

`TRANSITIONS` change the state, `DEEDS` leave it. Who may beyond the role, nobody who had a part in what is complained
about, is in `office.complaints.rules`.
"""

from __future__ import annotations

from office.complaints.models import State
from office.people.access import OFFICE
from office.people.models import Role
from surveys.transitions import Transition

_OFFICE = tuple(str(role) for role in OFFICE)
_R, _A, _L, _D, _C = (one.value for one in State)
OPEN = (_R, _A, _L, _D)

TRANSITIONS = (
    Transition("receive", (), _R, (Role.OWNER.value, Role.MEASURER.value, *_OFFICE), "be received"),
    Transition("acknowledge", (_R,), _A, _OFFICE, "be acknowledged"),
    # The office acknowledges nothing to itself: its own finding is given to somebody from where it was received.
    Transition("assign", (_R, _A, _L), _L, _OFFICE, "be given to somebody to look into"),
    Transition("decide", (_L,), _D, _OFFICE, "be decided"),
    Transition("close", (_D,), _C, _OFFICE, "be closed"),
    Transition("take_up_again", (_D, _C), _L, _OFFICE, "be taken up again"),
)

DEEDS = (
    Transition("name_subject", OPEN, "", _OFFICE, "have what it is about named"),
    Transition("note", OPEN, "", _OFFICE, "be added to"),
    Transition("note_consequence", OPEN, "", _OFFICE, "have what came of it noted"),
    Transition("remove_complainant", (_C,), "", (Role.ADMINISTRATOR.value,), "have its complainant's name removed"),
)

BY_VERB = {one.verb: one for one in (*TRANSITIONS, *DEEDS)}
