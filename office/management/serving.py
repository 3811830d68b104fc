"""Servers on free ports of this machine and a client that asks them a counted number of things, for benchmarks."""

from __future__ import annotations

import atexit
import contextlib
import os
import re
import selectors
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache

from django.db import connection

from office import environment

HOST = "127.0.0.1"
OFFICE, BARE, AS_WRITTEN = (
    "office.wsgi:application",
    "office.management.bare:application",
    "office.management.as_written:application",
)
PATIENCE = 30.0  # seconds for a server to answer
LENGTH = re.compile(rb"\r\ncontent-length: *([0-9]+)", re.IGNORECASE)
OPENED = b" 200 "


def address_of_database() -> str:
    """DATABASE_URL of the database that this process is connected to."""
    at = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{at['NAME']}"
    return f"postgres://{at['USER']}@{at['HOST']}:{at['PORT']}/{at['NAME']}"


def surroundings(data: str, database: str = "") -> dict[str, str]:
    """The environment of an office on a database, this process's if none is named, with its files in `data`."""
    return os.environ | {
        "DJANGO_SETTINGS_MODULE": "office.settings", "DATABASE_URL": database or address_of_database(),
        "OFFICE_DATA": data, "OFFICE_SECRET_KEY": "only for benchmarks", "OFFICE_HOSTS": HOST,
        "OFFICE_SECOND_FACTOR": "0", "OFFICE_KEY_PASSPHRASE": "only for benchmarks, and nowhere else",
    }  # fmt: skip


@contextlib.contextmanager
def running(application: str, *, workers: int = 1, threads: int = 4, database: str = "") -> Iterator[int]:
    """granian as `serve` starts it, in a group of its own that ends with the block; yields its port."""
    port = environment.free_port()
    call = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", HOST, "--port", str(port)]
    call += ["--workers", str(workers), "--blocking-threads", str(threads), "--log-level", "error", application]
    env = surroundings(files(), database)
    process = subprocess.Popen(call, env=env, cwd=environment.ROOT, start_new_session=True)
    try:
        _wait_for(port, process)
        yield port
    finally:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()


@cache
def files() -> str:
    """A directory with the collected files that every server of this process uses; it goes when the process ends.

    With OFFICE_DEBUG they are served from where they lie, and nothing is collected.
    """
    directory = tempfile.mkdtemp(prefix="office-served-")
    atexit.register(shutil.rmtree, directory, ignore_errors=True)
    if not os.environ.get("OFFICE_DEBUG"):
        collect = [sys.executable, "-m", "django", "collectstatic", "--noinput", "-v0"]
        subprocess.run(collect, env=surroundings(directory), cwd=environment.ROOT, check=True)
    return directory


def _wait_for(port: int, process: subprocess.Popen[bytes]) -> None:
    """RuntimeError where it ends or says nothing for so long."""
    until = time.monotonic() + PATIENCE
    while time.monotonic() < until and process.poll() is None:
        with socket.socket() as asked:
            if asked.connect_ex((HOST, port)) == 0:
                return
        time.sleep(0.05)
    raise RuntimeError("the server does not listen")


def get(path: str, **headers: str) -> bytes:
    """The text of a request."""
    more = "".join(f"{name.replace('_', '-')}: {value}\r\n" for name, value in headers.items())
    return f"GET {path} HTTP/1.1\r\nHost: {HOST}\r\n{more}\r\n".encode()


@dataclass(slots=True)
class Connection:
    """One that is kept open; `answer` reads what has come and says whether the answer is whole."""

    port: int
    socket: socket.socket = field(init=False)
    received: bytearray = field(default_factory=bytearray)

    def __post_init__(self) -> None:
        self.socket = socket.create_connection((HOST, self.port), timeout=PATIENCE)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def answer(self) -> bytes | None:
        """The whole answer, head and body; None while some of it is to come. RuntimeError where it is not 200."""
        piece = self.socket.recv(65_536)
        if not piece:
            raise RuntimeError("the server closed the connection")
        self.received += piece
        head = self.received.find(b"\r\n\r\n")
        if head >= 0 and OPENED not in self.received[:16]:
            raise RuntimeError(f"expected 200: {bytes(self.received[:400])!r}")
        found = LENGTH.search(self.received, 0, head + 2) if head >= 0 else None
        if found is None or len(self.received) < head + 4 + int(found[1]):
            return None
        whole = bytes(self.received)
        self.received.clear()
        return whole


def ask(port: int, requests: Sequence[bytes], connections: int = 8) -> bytes:
    """Each once, over a few connections that stay open meanwhile, the next thing on each as soon as it has its answer.

    The last answer. RuntimeError where one is not answered, or not with 200.
    """
    waiting, answer = deque(requests), b""
    with contextlib.ExitStack() as stack:
        selector = stack.enter_context(contextlib.closing(selectors.DefaultSelector()))
        under_way = min(connections, len(waiting))
        for _ in range(under_way):
            one = Connection(port)
            stack.enter_context(contextlib.closing(one.socket))
            selector.register(one.socket, selectors.EVENT_READ, one)
            one.socket.sendall(waiting.popleft())
        while under_way:
            ready = selector.select(PATIENCE)
            if not ready:
                raise RuntimeError("the server does not answer")
            for key, _ in ready:
                whole = key.data.answer()
                if whole is None:
                    continue
                answer = whole
                if waiting:
                    key.data.socket.sendall(waiting.popleft())
                else:
                    under_way -= 1
    return answer
