"""Programs that are started and killed: all of a program at once, by the numbers of its own processes."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path


def children(pid: int) -> list[int]:
    """The processes that this one has started and that are still there."""
    try:
        return [int(one) for one in Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()]
    except OSError:
        return []


def kill(*pids: int) -> None:
    for pid in pids:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


def resident_kib(pid: int) -> int:
    """What a process and those it started hold of the memory, in KiB (proportional set size)."""
    own = 0
    with contextlib.suppress(OSError):
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text(encoding="ascii").splitlines():
            if line.startswith("Pss:"):
                own = int(line.split()[1])
    return own + sum(resident_kib(one) for one in children(pid))


class Program:
    """One command, started again as often as it is killed. What it says goes to a file."""

    def __init__(self, command: Sequence[str], *, log: Path, cwd: Path, environment: dict[str, str]) -> None:
        self.command, self.log, self.cwd, self.environment = command, log, cwd, environment
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self.command, cwd=self.cwd, env=self.environment, stdin=subprocess.DEVNULL, stdout=log, stderr=log
            )

    @property
    def pid(self) -> int:
        assert self.process is not None
        return self.process.pid

    def alive(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def kill(self) -> None:
        """SIGKILL to it and to what it has started; nobody gets to tidy anything up."""
        if self.alive():
            kill(self.pid, *children(self.pid))
            assert self.process is not None
            self.process.wait(10)

    def stop(self) -> None:
        if self.process is None:
            return
        self.process.terminate()
        try:
            self.process.wait(20)
        except subprocess.TimeoutExpired:
            self.kill()


def wait_until_gone(pids: Sequence[int], patience: float = 10.0) -> None:
    deadline = time.monotonic() + patience
    while any(Path(f"/proc/{pid}/stat").exists() and _runs(pid) for pid in pids):
        assert time.monotonic() < deadline, "a killed process is still there"
        time.sleep(0.01)


def _runs(pid: int) -> bool:
    """Whether it is more than the entry of an ended process that nobody has asked about."""
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
