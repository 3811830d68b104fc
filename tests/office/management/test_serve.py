"""`manage.py serve` really started: it answers, says when its port is taken, and finishes what it does when stopped."""

from __future__ import annotations

import http.client
import os
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import time
import urllib.request
from contextlib import closing

import pytest
from django.core.management import call_command

from office import environment


def manage(*arguments, data):
    settings = {**os.environ, "OFFICE_DATA": str(data), "DATABASE_URL": f"sqlite:///{data}/office.sqlite3"}
    settings["DJANGO_SETTINGS_MODULE"] = "office.settings"
    command = [sys.executable, "-c", MANAGE, *arguments]
    return subprocess.Popen(
        command, cwd=environment.ROOT, env=settings, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )


# As manage.py does, without looking after the environment: the tests run in one already.
MANAGE = """
import sys
from django.core.management import execute_from_command_line
execute_from_command_line(["manage.py", *sys.argv[1:]])
"""


@pytest.fixture
def port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def answer(port, patience=30.0):
    deadline = time.monotonic() + patience
    while True:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/static/office/office.css", timeout=5) as response:
                return response.status, response.headers["content-type"]
        except OSError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)


def test_it_serves_refuses_a_taken_port_and_stops_when_told(tmp_path, port):
    server = manage("serve", "--port", str(port), data=tmp_path)
    try:
        assert answer(port) == (200, 'text/css; charset="utf-8"')
        second = manage("serve", "--port", str(port), data=tmp_path)
        _, complaint = second.communicate(timeout=60)
        assert second.returncode == 1
        assert f"Port {port} on 127.0.0.1 is in use" in complaint
        assert "Traceback" not in complaint
    finally:
        server.send_signal(signal.SIGTERM)
        said, complaint = server.communicate(timeout=60)
    assert server.returncode == 0, complaint
    assert f"http://127.0.0.1:{port}/" in said
    assert environment.port_is_free("127.0.0.1", port)


def test_with_its_own_certificate_it_serves_https_and_guards_its_cookies(tmp_path, port):
    call_command("local_ca", "--name", "office.example", "--directory", str(tmp_path / "ca"))
    migrated = manage("migrate", data=tmp_path)
    migrated.communicate(timeout=120)
    assert migrated.returncode == 0
    files = ["--certificate", str(tmp_path / "ca" / "server.pem"), "--key", str(tmp_path / "ca" / "server.key")]
    server = manage("serve", "--port", str(port), *files, data=tmp_path)
    trusting = ssl.create_default_context(cafile=tmp_path / "ca" / "ca.pem")
    try:
        with https(port, trusting) as response:
            pass
        assert response.status == 200
        cookie = response.headers["Set-Cookie"]
        assert "csrftoken=" in cookie
        assert "Secure" in cookie
        assert response.headers["Strict-Transport-Security"] is None  # no promise for a name of its own
        with pytest.raises(http.client.BadStatusLine):
            urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5)
    finally:
        server.send_signal(signal.SIGTERM)
        said, complaint = server.communicate(timeout=60)
    assert server.returncode == 0, complaint
    assert f"https://office.example:{port}/" in said


def test_long_work_is_done_beside_it_and_the_worker_ends_with_it(tmp_path, port):
    migrated = manage("migrate", data=tmp_path)
    migrated.communicate(timeout=120)
    with closing(sqlite3.connect(tmp_path / "office.sqlite3")) as office:
        asked = manage("shell", "-v0", "-c", ASK, data=tmp_path)
        asked.communicate(timeout=60)
        server = manage("serve", "--port", str(port), data=tmp_path)
        try:
            deadline = time.monotonic() + 60
            while office.execute("SELECT state FROM work_work").fetchall() != [("done",)]:
                assert time.monotonic() < deadline
                time.sleep(0.2)
        finally:
            server.send_signal(signal.SIGTERM)
            server.communicate(timeout=90)  # the worker holds the same pipes: it has ended too
    assert server.returncode == 0

    late = manage("worker", "--with-parent", str(server.pid), data=tmp_path)  # began when the server was gone already
    late.communicate(timeout=60)
    assert late.returncode == 0


ASK = """
from office.work.actions import ask_for_work
ask_for_work(by=None, kind="recompute")
"""


def https(port, trusting, patience=30.0):
    deadline = time.monotonic() + patience
    while True:
        try:
            return urllib.request.urlopen(f"https://localhost:{port}/people/sign-in/", timeout=5, context=trusting)
        except OSError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)
