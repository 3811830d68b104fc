"""A small disk that fills up, is freed again, and takes nothing for a while.

Root mounts one of its own in memory. For others the running server may write no file beyond what there is, which its
system calls answer much as a full disk's do.
"""

from __future__ import annotations

import contextlib
import os
import resource
import subprocess
from collections.abc import Iterator
from pathlib import Path

from tests.campaigns.processes import children

SIZE = "48m"
OF_ROOT = os.geteuid() == 0


class Disk:
    def __init__(self, directory: Path) -> None:
        self.directory = directory
        self.filler = directory / "filler"
        self.programs: list[int] = []  # whose writing is bounded where nothing can be mounted

    def fill(self) -> None:
        if not OF_ROOT:
            self._allow(0)
            return
        size = 1 << 20
        with self.filler.open("ab", buffering=0) as file:
            while size:
                try:
                    file.write(b"\0" * size)
                except OSError:
                    size //= 2

    def free(self) -> None:
        if OF_ROOT:
            self.filler.unlink(missing_ok=True)
        else:
            self._allow(resource.RLIM_INFINITY)

    def _allow(self, size: int) -> None:
        for pid in [one for program in self.programs for one in (program, *children(program))]:
            resource.prlimit(pid, resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))

    def remount(self, how: str) -> None:
        """`ro` or `rw`; nothing on it may be open."""
        if OF_ROOT:
            subprocess.run(["mount", "-o", f"remount,{how}", str(self.directory)], check=True)


@contextlib.contextmanager
def small_disk(directory: Path) -> Iterator[Disk]:
    directory.mkdir()
    if not OF_ROOT:
        yield Disk(directory)
        return
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE},mode=755", "tmpfs", str(directory)], check=True)
    try:
        yield Disk(directory)
    finally:
        subprocess.run(["umount", "--lazy", str(directory)], check=True)
