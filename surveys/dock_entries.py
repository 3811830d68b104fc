"""What a device sends, entry by entry, as it arrives: checked for shape, nothing looked up yet."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import asdict, dataclass
from typing import Any

from django.utils import timezone
from django.utils.dateparse import parse_datetime

from surveys.logsheet.fields import MOST_TAKES
from surveys.logsheet.table import UNSEEN
from surveys.values import Unreadable

KINDS = ("take", "amend", "take_away", "absent", "present", "settle", "undo")
MOST_ENTRIES = 500
_TOKEN = re.compile(r"[A-Za-z0-9_-]{22,64}", re.ASCII)
_LONGEST = 400  # of any text; each action has narrower bounds of its own


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry. `row` and `position` name the place, `replaces` the token of what it is about."""

    token: str
    kind: str
    row: str = ""
    position: str = ""
    take: int = 1
    text: str = ""
    unit: str = ""
    instrument: str = ""
    remark: str = ""
    reason: str = ""
    replaces: str = ""
    choose: str = ""
    by: str = ""
    typed_at: str = ""

    def as_typed(self) -> dict[str, Any]:
        """What was typed, for keeping and for telling a resend from another figure under the same token."""
        return {name: value for name, value in asdict(self).items() if name not in {"token", "by", "typed_at"}}

    @property
    def typed_at_moment(self) -> dt.datetime | None:
        """By the device's clock; None where it says nothing that can be read."""
        try:
            moment = parse_datetime(self.typed_at)
        except ValueError:
            return None
        return moment if moment is None or timezone.is_aware(moment) else timezone.make_aware(moment)


def entry_of(given: object) -> Entry:
    """The entry a device sent. Raises Unreadable, naming the field, where it is none."""
    if not isinstance(given, dict):
        raise Unreadable("Entry", "", "an object with token, kind and row", "entry")
    token = token_of(given.get("token"))
    texts = {name: _text(given, name) for name in Entry.__slots__ if name not in {"token", "take"}}
    if texts["kind"] not in KINDS:
        raise Unreadable("Kind", texts["kind"], ", ".join(KINDS), "kind")
    return Entry(token=token, take=_take(given), **texts)


def token_of(given: object) -> str:
    if not isinstance(given, str) or not _TOKEN.fullmatch(given):
        raise Unreadable("Token", "", "22 to 64 letters, digits, - or _, made on the device", "token")
    return given


def said_token(given: object) -> str:
    """The token of an entry that may be none, so that its device knows which one is answered."""
    found = given.get("token") if isinstance(given, dict) else ""
    return found if isinstance(found, str) and _TOKEN.fullmatch(found) else ""


def _text(given: dict[Any, Any], name: str) -> str:
    value = given.get(name)
    if value is None:
        return ""
    if not isinstance(value, str):
        raise Unreadable(name.capitalize(), "", "a text", name)
    if len(value) > _LONGEST:
        raise Unreadable(name.capitalize(), value[:40] + "…", f"at most {_LONGEST} characters", name)
    if hidden := UNSEEN.search(value):
        raise Unreadable(name.capitalize(), f"U+{ord(hidden[0]):04X}", "text without control characters", name)
    return value


def _take(given: dict[Any, Any]) -> int:
    take = given.get("take", 1)
    if isinstance(take, bool) or not isinstance(take, int) or not 1 <= take <= MOST_TAKES:
        raise Unreadable("Take", "", f"a whole number from 1 to {MOST_TAKES}", "take")
    return take
