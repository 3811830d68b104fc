"""Everything that changes the register of boats: one verb, one function, one transaction, one row of the trail.

A change of particulars, rig or limit leaves what stood before in place, ended or set aside, never overwritten.
Each raises NotAllowed, WrongState, Stale or a plain Refusal with one sentence.
"""

from boats.actions.access import (
    accept_boat_invitation,
    cancel_boat_invitation,
    end_access,
    find_boat_invitation,
    invite_to_boat,
    join_by_boat_invitation,
)
from boats.actions.designs import add_design, end_limit, set_limit
from boats.actions.people import add_owner, declare_interest, end_interest, end_ownership
from boats.actions.register import change_particulars, register_boat
from boats.actions.rigs import describe_rig

__all__ = [
    "accept_boat_invitation",
    "add_design",
    "add_owner",
    "cancel_boat_invitation",
    "change_particulars",
    "declare_interest",
    "describe_rig",
    "end_access",
    "end_interest",
    "end_limit",
    "end_ownership",
    "find_boat_invitation",
    "invite_to_boat",
    "join_by_boat_invitation",
    "register_boat",
    "set_limit",
]
