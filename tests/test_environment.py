"""The set-up of a fresh machine, with the programs it would start replaced by a recorder; PostgreSQL is real."""

from __future__ import annotations

import ast
import importlib.util
import os
import shutil
import socket
import stat
import subprocess
from pathlib import Path

import psycopg
import pytest

from office import environment


class Programs:
    """Stands in for every program: notes what was started, and answers with the next of `answers` (0 when empty)."""

    def __init__(self) -> None:
        self.started: list[str] = []
        self.answers: list[tuple[int, str]] = []

    def __call__(self, command, *, directory=None):
        self.started.append(" ".join(command))
        code, output = self.answers.pop(0) if self.answers else (0, "")
        return subprocess.CompletedProcess(command, code, stdout=output)


@pytest.fixture
def programs(monkeypatch):
    recorder = Programs()
    monkeypatch.setattr(environment, "_run_logged", recorder)
    return recorder


@pytest.fixture
def machine(tmp_path, monkeypatch, programs):
    """A checkout in which nothing has been made yet. Its `.venv` answers once it was made."""
    venv = tmp_path / ".venv"
    for name, text in {"requirements.txt": "one==1\n", "requirements-dev.txt": "two==2\n"}.items():
        (tmp_path / name).write_text(text)
    monkeypatch.setattr(environment, "VENV", venv)
    monkeypatch.setattr(environment, "VENV_PYTHON", venv / "bin" / "python")
    monkeypatch.setattr(environment, "STAMP", venv / "installed.json")
    monkeypatch.setattr(environment, "RUNTIME_LOCK", tmp_path / "requirements.txt")
    monkeypatch.setattr(environment, "DEVELOPMENT_LOCK", tmp_path / "requirements-dev.txt")
    monkeypatch.setattr(environment, "DATA", tmp_path / ".data")
    versions = iter(["", *["3.11"] * 50])
    monkeypatch.setattr(environment, "_venv_version", lambda: next(versions))
    venv.mkdir()  # where the recorder, making nothing, lets the stamp be written
    return tmp_path


def started(programs, *words):
    return [line for line in programs.started if all(word in line for word in words)]


# --- The Python environment


def test_a_fresh_machine_gets_its_environment_from_the_lock(machine, programs, capsys):
    environment.prepare_python(development=False)
    assert len(started(programs, "-m venv")) == 1
    (install,) = started(programs, "pip install")
    assert "--require-hashes" in install
    assert "requirements.txt" in install
    assert "requirements-dev.txt" not in install
    assert "Making the Python environment" in capsys.readouterr().err


def test_a_second_start_does_nothing(machine, programs):
    environment.prepare_python(development=False)
    programs.started.clear()
    environment.prepare_python(development=False)
    assert programs.started == []


def test_a_changed_lock_is_installed_into_the_same_environment(machine, programs):
    environment.prepare_python(development=False)
    programs.started.clear()
    (machine / "requirements.txt").write_text("one==1.1\n")
    environment.prepare_python(development=False)
    assert len(programs.started) == 1
    assert "pip install" in programs.started[0]


def test_the_tools_are_installed_for_the_commands_that_need_them(machine, programs):
    environment.prepare_python(development=False)
    programs.started.clear()
    environment.prepare_python(development=True)
    assert len(started(programs, "requirements.txt", "requirements-dev.txt")) == 1
    programs.started.clear()
    environment.prepare_python(development=False)
    environment.prepare_python(development=True)
    assert programs.started == []


def test_an_environment_made_by_another_python_is_made_anew(machine, programs, monkeypatch):
    environment.prepare_python(development=False)
    programs.started.clear()
    monkeypatch.setattr(environment, "_venv_version", lambda: "3.12")
    environment.prepare_python(development=False)
    assert len(started(programs, "-m venv --clear")) == 1
    assert len(started(programs, "pip install")) == 1


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ("THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE", "not the one that the lock names"),
        ("WARNING: Retrying (Retry(total=0", "did not answer"),
        ("ERROR: No matching distribution found for one==1", "did not answer or does not hold"),
        ("OSError: [Errno 28] No space left on device", "the disk is full"),
        ("something else", "pip failed"),
    ],
)
def test_a_failed_install_ends_in_one_sentence_and_is_tried_again(machine, programs, words, sentence):
    programs.answers = [(0, ""), (1, words)]
    with pytest.raises(SystemExit, match=sentence) as stop:
        environment.prepare_python(development=False)
    assert "\n" not in str(stop.value)
    programs.started.clear()
    environment.prepare_python(development=False)
    assert len(started(programs, "pip install")) == 1


def test_a_missing_venv_module_is_installed_or_named(machine, programs, monkeypatch, capsys):
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    with pytest.raises(SystemExit):
        environment.prepare_python(development=False)
    assert programs.started == []
    assert "sudo apt-get install --no-install-recommends python3-venv" in capsys.readouterr().err


def test_manage_py_is_read_by_old_pythons_so_that_they_get_the_sentence():
    source = (environment.ROOT / "manage.py").read_text(encoding="ascii")
    ast.parse(source, feature_version=(3, 4))
    before_the_refusal = source.partition("sys.exit")[0]
    assert "from office" not in before_the_refusal


# --- System packages


@pytest.fixture
def root_on_debian(monkeypatch):
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(shutil, "which", lambda name: f"/usr/bin/{name}")


def test_root_on_debian_installs_and_says_so(root_on_debian, programs, capsys):
    assert environment.install_system_packages(environment.PDF_LIBRARIES)
    (line,) = programs.started
    assert line.startswith("apt-get install -y")
    assert "libharfbuzz-subset0" in line
    assert "installing libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0" in capsys.readouterr().err


def test_package_lists_are_fetched_when_a_package_is_not_found(root_on_debian, programs):
    programs.answers = [(100, "E: Unable to locate package"), (0, ""), (0, "")]
    assert environment.install_system_packages(environment.CHROMIUM)
    assert [line.split()[1] for line in programs.started] == ["install", "update", "install"]


def test_a_refused_install_is_said_and_the_work_goes_on(root_on_debian, programs, capsys):
    programs.answers = [(100, ""), (100, ""), (100, "")]
    assert not environment.install_system_packages(environment.CHROMIUM)
    assert environment.CHROMIUM.sentence in capsys.readouterr().err


def test_others_get_the_one_command(monkeypatch, programs, capsys):
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setattr(environment, "has_pdf_libraries", lambda: False)
    assert not environment.prepare_pdf_libraries()
    assert programs.started == []
    assert capsys.readouterr().err.strip() == environment.PDF_LIBRARIES_SENTENCE


def test_the_sentence_about_pdfs_names_the_four_packages():
    assert environment.PDF_LIBRARIES_SENTENCE.endswith(
        "sudo apt-get install --no-install-recommends "
        "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core"
    )


def test_the_libraries_are_looked_for_where_the_renderer_will(monkeypatch):
    monkeypatch.setattr(environment, "PDF_LIBRARY_FILES", ("libthatisnowhere.so.0",))
    assert not environment.has_pdf_libraries()


def test_chromium_counts_only_with_what_drives_it(root_on_debian, monkeypatch):
    monkeypatch.setattr(environment, "CHROMIUM_DRIVER_FILES", ())
    assert environment.chromium() == "/usr/bin/chromium"
    monkeypatch.setattr(environment, "CHROMIUM_DRIVER_FILES", ("libthatisnowhere.so.0",))
    assert environment.chromium() is None


# --- What the settings read


@pytest.fixture
def no_settings(tmp_path, monkeypatch):
    monkeypatch.setattr(environment, "DATA", tmp_path / "data")
    for name in ("OFFICE_SECRET_KEY", "DATABASE_URL"):
        monkeypatch.setenv(name, "")  # so that what is set below is undone
        monkeypatch.delenv(name)


def test_the_secret_key_outlives_the_process_and_is_the_owners_alone(no_settings, monkeypatch):
    environment.prepare_settings("serve")
    first = os.environ["OFFICE_SECRET_KEY"]
    monkeypatch.delenv("OFFICE_SECRET_KEY")
    environment.prepare_settings("serve")
    assert os.environ["OFFICE_SECRET_KEY"] == first
    assert len(first) > 60
    assert stat.S_IMODE((environment.DATA / "secret_key").stat().st_mode) == 0o600


def test_what_the_caller_set_stays(no_settings, monkeypatch):
    monkeypatch.setenv("OFFICE_SECRET_KEY", "the caller's")
    monkeypatch.setenv("DATABASE_URL", "sqlite:////the/callers.sqlite3")
    environment.prepare_settings("demo")
    assert os.environ["OFFICE_SECRET_KEY"] == "the caller's"
    assert os.environ["DATABASE_URL"] == "sqlite:////the/callers.sqlite3"


def test_only_the_demo_gets_a_database_of_its_own(no_settings):
    environment.prepare_settings("serve")
    assert "DATABASE_URL" not in os.environ
    environment.prepare_settings("demo")
    assert os.environ["DATABASE_URL"] == f"sqlite:///{environment.DATA / 'demo.sqlite3'}"


# --- Ports and PostgreSQL


def test_a_port_in_use_is_noticed_even_where_the_server_would_share_it():
    with socket.socket() as taken:
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert not environment.port_is_free("127.0.0.1", port)
    assert environment.port_is_free("127.0.0.1", port)


def test_the_private_postgresql_starts_serves_an_ordinary_role_and_goes_away(tmp_path, monkeypatch):
    programs = environment.postgresql_programs()
    if programs is None:
        pytest.skip(environment.POSTGRESQL.sentence)
    monkeypatch.setattr(environment, "SETUP_LOG", tmp_path / "setup.log")
    with environment.private_postgresql(programs) as url:
        with psycopg.connect(url) as connection:
            row = connection.execute(
                "select rolsuper, rolcreatedb from pg_roles where rolname = current_user"
            ).fetchone()
        assert row == (False, True)
    with pytest.raises(psycopg.OperationalError):
        psycopg.connect(url, connect_timeout=5)
    lines = (tmp_path / "setup.log").read_text().splitlines()
    directory = Path(next(line for line in lines if "initdb -D" in line).partition("-D ")[2].split()[0]).parent
    assert directory.name.startswith("office-postgresql-")
    assert not directory.exists()


def test_readers_of_papers_are_installed_where_one_is_missing(monkeypatch):
    wanted: list[environment.SystemNeed] = []

    def install(need: environment.SystemNeed) -> bool:
        wanted.append(need)
        return True

    monkeypatch.setattr(environment, "install_system_packages", install)
    monkeypatch.setattr(environment, "PAPER_READER_PROGRAMS", ("sh",))
    assert environment.prepare_paper_readers()
    assert wanted == []
    monkeypatch.setattr(environment, "PAPER_READER_PROGRAMS", ("sh", "no-such-program-anywhere"))
    assert environment.prepare_paper_readers()
    assert wanted == [environment.PAPER_READERS]
    assert "poppler-utils zbar-tools" in environment.PAPER_READERS.sentence


def test_the_newest_postgresql_is_taken(monkeypatch, tmp_path):
    monkeypatch.setattr(shutil, "which", lambda name: None)
    monkeypatch.setattr(environment, "POSTGRESQL_ROOT", tmp_path)
    assert environment.postgresql_programs() is None
    for version in ("9", "15"):
        (tmp_path / version / "bin").mkdir(parents=True)
        (tmp_path / version / "bin" / "initdb").touch()
    assert environment.postgresql_programs() == tmp_path / "15" / "bin"
