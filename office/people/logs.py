"""What the log tells, and what it must not hold: open links, and people's addresses."""

from __future__ import annotations

import datetime as dt
import json
import logging
import re
import traceback

TOKEN = re.compile(r"(/join/|/feed/)[^/\s\"']+")
ADDRESS = re.compile(r"[\w.+%-]+@[\w-]+(?:\.[\w-]+)+")
TOLD = ("person", "status_code", "work")  # what a record may carry beside its sentence


def without_secrets(text: str) -> str:
    """No token of a one-time link or of a calendar: whoever reads the log could use it. No e-mail address."""
    return ADDRESS.sub("…@…", TOKEN.sub(r"\1…", text))


class WithoutTokens(logging.Filter):
    """Takes them out wherever a record holds them."""

    def filter(self, record: logging.LogRecord) -> bool:
        text = record.getMessage()
        if (kept := without_secrets(text)) != text:
            record.msg, record.args = kept, ()
        return True


class Lines(logging.Formatter):
    """One JSON object a line (OFFICE_LOG=json): when (UTC), how grave, who says it, what.

    Of an error its kind and where it happened: its own words may quote a row.
    """

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, object] = {
            "at": dt.datetime.fromtimestamp(record.created, dt.UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": without_secrets(record.getMessage()),
        }
        line |= {name: getattr(record, name) for name in TOLD if hasattr(record, name)}
        if record.exc_info and record.exc_info[0]:
            frames = traceback.extract_tb(record.exc_info[2])
            line["error"] = record.exc_info[0].__name__
            line["where"] = [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames[-8:]]
        return json.dumps(line, ensure_ascii=False)
