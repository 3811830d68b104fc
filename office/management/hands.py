"""Processes of the office that do what they are told line by line, for benchmarks: warm before anything is timed."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from queue import Empty, SimpleQueue

from office import environment
from office.management import serving

# `work` is a module's function that takes the words of a line and returns the words of its answer.
_LOOP = """
import sys
from office import memory
from {module} import {function} as work
memory.settle()
print("ready", flush=True)
for line in sys.stdin:
    print(work(*line.split()), flush=True)
"""
# An invented office of a few boats with all that led to their certificates.
_INVENTED = """
from office.demo import load, presses
with presses.side_by_side():
    load.load(boats={boats})
"""


class Hand:
    """One such process, on the database `url`."""

    def __init__(self, url: str, module: str, function: str) -> None:
        code = _LOOP.format(module=module, function=function)
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "shell", "-v0", "-c", code],
            cwd=environment.ROOT,
            env=serving.surroundings(serving.files(), url),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self._read()

    def do(self, line: str) -> str:
        """Its answer. RuntimeError where it has ended instead."""
        assert self.process.stdin is not None  # noqa: S101  (asked for above)
        self.process.stdin.write(line + "\n")
        self.process.stdin.flush()
        return self._read()

    def _read(self) -> str:
        assert self.process.stdout is not None  # noqa: S101  (asked for above)
        answer = self.process.stdout.readline()
        if not answer:
            raise RuntimeError(f"a process of the benchmark ended: {self.process.wait()}")
        return answer.strip()

    def end(self) -> None:
        self.process.kill()
        self.process.communicate()


@contextlib.contextmanager
def hands(count: int, url: str, module: str, function: str) -> Iterator[list[Hand]]:
    started: list[Hand] = []
    try:
        started.extend(Hand(url, module, function) for _ in range(count))
        yield started
    finally:
        for one in started:
            one.end()


def share(among: Sequence[Hand], lines: Sequence[str]) -> list[str]:
    """The lines, each done by whoever is free; the answers in no order."""
    waiting: SimpleQueue[str] = SimpleQueue()
    for line in lines:
        waiting.put(line)

    def work_off(hand: Hand) -> list[str]:
        answers = []
        with contextlib.suppress(Empty):
            while True:
                answers.append(hand.do(waiting.get_nowait()))
        return answers

    with ThreadPoolExecutor(len(among)) as threads:
        return [answer for answers in threads.map(work_off, among) for answer in answers]


def together(among: Sequence[Hand], line: str) -> list[str]:
    """The same line done by all of them at once; their answers."""
    with ThreadPoolExecutor(len(among)) as threads:
        return list(threads.map(lambda hand: hand.do(line), among))


def office_at(url: str, boats: int) -> None:
    """Makes the tables at `url`, and an invented office of so many boats in them unless there is to be none."""
    env = serving.surroundings(serving.files(), url)
    calls = [["migrate", "-v0"], *([["shell", "-v0", "-c", _INVENTED.format(boats=boats)]] if boats else [])]
    for call in calls:
        subprocess.run([sys.executable, "manage.py", *call], cwd=environment.ROOT, env=env, check=True)
