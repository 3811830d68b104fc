"""A progress bar on standard error, only where a person watches: nothing of it gets into a pipe or a log."""

from __future__ import annotations

import time
from typing import TextIO

WIDTH = 30
EVERY = 0.1  # seconds between two drawings


class Progress:
    """Call with what is done and of how much; `end` takes the bar away."""

    def __init__(self, stream: TextIO, what: str) -> None:
        self.stream, self.what = stream, what
        self.shown = bool(getattr(stream, "isatty", lambda: False)())
        self.drawn = 0.0

    def __call__(self, done: int, of: int) -> None:
        now = time.monotonic()
        if self.shown and (now - self.drawn >= EVERY or done >= of):
            filled = WIDTH * done // max(of, 1)
            self.stream.write(f"\r{self.what} [{'#' * filled}{'.' * (WIDTH - filled)}] {done} of {of}")
            self.stream.flush()
            self.drawn = now

    def end(self) -> None:
        if self.drawn:
            self.stream.write("\r" + " " * (len(self.what) + WIDTH + 40) + "\r")
            self.stream.flush()
