"""What the log must not hold: whoever reads it could use a link that is still open."""

from __future__ import annotations

import logging
import re
from typing import Any

TOKEN = re.compile(r"(/join/)[^/\s\"']+")


class WithoutTokens(logging.Filter):
    """Takes the token out of the address of a one-time link, wherever the address stands in a record."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.msg = _plain(record.msg)
        if isinstance(record.args, tuple):
            record.args = tuple(_plain(one) for one in record.args)
        return True


def _plain(value: Any) -> Any:
    return TOKEN.sub(r"\1…", value) if isinstance(value, str) else value
