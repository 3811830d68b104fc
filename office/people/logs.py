"""What the log must not hold: whoever reads it could use a link that is still open."""

from __future__ import annotations

import logging
import re

TOKEN = re.compile(r"(/join/|/feed/)[^/\s\"']+")


class WithoutTokens(logging.Filter):
    """Takes the token out of the address of a one-time link or of a calendar, wherever a record holds it."""

    def filter(self, record: logging.LogRecord) -> bool:
        text = record.getMessage()
        if TOKEN.search(text):
            record.msg, record.args = TOKEN.sub(r"\1…", text), ()
        return True
