"""Makes a fresh machine ready, step by step, saying each step in a plain sentence on standard error.

Standard library only: this runs before anything is installed. In order:

1. `.venv`, the Python environment, from the locks `requirements.txt` and (for the tools) `requirements-dev.txt`;
2. the system packages a command needs: as root on a Debian system they are installed, elsewhere the one
   command to run is printed and the work goes on without them;
3. the environment variables that the settings read, where the caller has set none.
"""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import hashlib
import importlib.util
import json
import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, NoReturn

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
VENV_PYTHON = VENV / "bin" / "python"
STAMP = VENV / "installed.json"
RUNTIME_LOCK = ROOT / "requirements.txt"
DEVELOPMENT_LOCK = ROOT / "requirements-dev.txt"
DATA = Path(os.environ.get("OFFICE_DATA", ROOT / ".data"))
SETUP_LOG = DATA / "setup.log"

DEVELOPMENT_COMMANDS = frozenset({"test", "check_all", "bench"})
PDF_COMMANDS = frozenset({"demo", "serve", "test"})


class SystemNeed(NamedTuple):
    """Debian packages that one part of the work needs; `part` begins a sentence."""

    part: str
    packages: tuple[str, ...]

    @property
    def sentence(self) -> str:
        return f"{self.part} needs system packages; install them with: {apt_command(self.packages)}"


def apt_command(packages: Sequence[str]) -> str:
    return "sudo apt-get install --no-install-recommends " + " ".join(packages)


PDF_LIBRARIES = SystemNeed(
    "Making a PDF", ("libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0", "fonts-dejavu-core")
)
PDF_LIBRARIES_SENTENCE = PDF_LIBRARIES.sentence
PDF_LIBRARY_FILES = ("libpango-1.0.so.0", "libpangoft2-1.0.so.0", "libharfbuzz-subset.so.0")
PDF_FONT_FILE = Path("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf")
CHROMIUM = SystemNeed("Running the browser tests", ("chromium", "libatomic1"))  # the second for Playwright's driver
CHROMIUM_DRIVER_FILES = ("libatomic.so.1",)
POSTGRESQL_ROOT = Path("/usr/lib/postgresql")
POSTGRESQL = SystemNeed("Running the tests on PostgreSQL", ("postgresql",))
PAPER_READERS = SystemNeed("Reading papers back in the tests", ("poppler-utils", "zbar-tools"))
PAPER_READER_PROGRAMS = ("pdfsig", "pdftoppm", "zbarimg")
VENV_MODULE = SystemNeed("Making the Python environment", ("python3-venv",))


def prepare(command: str) -> None:
    """See to all that `command` needs. Returns inside `.venv`; from outside it starts the command again in there."""
    prepare_python(development=command in DEVELOPMENT_COMMANDS)
    if not running_in_venv():
        os.execv(VENV_PYTHON, [str(VENV_PYTHON), *sys.argv])  # noqa: S606  (the same command, by the other Python)
    if command in PDF_COMMANDS:
        prepare_pdf_libraries()
    prepare_settings(command)


def say(sentence: str) -> None:
    print(sentence, file=sys.stderr, flush=True)  # noqa: T201


def give_up(sentence: str) -> NoReturn:
    sys.exit(sentence)


# --- The Python environment -------------------------------------------------------------------------------------


def running_in_venv() -> bool:
    return Path(sys.prefix).resolve() == VENV.resolve()


def prepare_python(*, development: bool) -> None:
    """Make `.venv` and bring it to the locks; quick when there is nothing to do."""
    locks = [RUNTIME_LOCK, DEVELOPMENT_LOCK] if development else [RUNTIME_LOCK]
    wanted = {lock.name: hashlib.sha256(lock.read_bytes()).hexdigest() for lock in locks}
    if _is_current(wanted):
        return
    with _one_at_a_time():
        if _is_current(wanted):  # another command has done it meanwhile
            return
        if not running_in_venv() and not _venv_answers():
            _make_venv()
        _install(locks)
        STAMP.write_text(json.dumps({**_stamp(), **wanted, "python": _venv_version()}, indent=1), encoding="utf-8")


def _is_current(wanted: dict[str, str]) -> bool:
    stamp = _stamp()
    return all(stamp.get(name) == digest for name, digest in wanted.items()) and (running_in_venv() or _venv_answers())


def _stamp() -> dict[str, str]:
    try:
        return dict(json.loads(STAMP.read_text(encoding="utf-8")))
    except (OSError, ValueError):
        return {}


def _venv_version() -> str:
    """The version of `.venv`'s Python, empty if it does not start or was left without pip."""
    code = "import sys, importlib.util as u; print('%d.%d' % sys.version_info[:2] if u.find_spec('pip') else '')"
    try:
        done = subprocess.run([VENV_PYTHON, "-c", code], capture_output=True, text=True, check=False)
    except OSError:
        return ""
    return done.stdout.strip()


def _venv_answers() -> bool:
    """False where `.venv` is missing, has been moved, or stands on a Python that is gone or was upgraded since."""
    version = _venv_version()
    return bool(version) and _stamp().get("python", version) == version


def _make_venv() -> None:
    if importlib.util.find_spec("ensurepip") is None and not install_system_packages(VENV_MODULE):
        give_up("The Python environment cannot be made without that package.")
    say(f"Making the Python environment in {VENV.name} …")
    done = _run_logged([sys.executable, "-m", "venv", "--clear", str(VENV)])
    if done.returncode:
        give_up(f"The Python environment could not be made in {VENV}; {SETUP_LOG} says what was tried.")


def _install(locks: list[Path]) -> None:
    say("Installing the libraries named in " + " and ".join(lock.name for lock in locks) + " (a minute or two) …")
    command = [str(VENV_PYTHON), "-m", "pip", "install", "--no-input", "--disable-pip-version-check"]
    command += ["--retries", "2", "--require-hashes"]
    for lock in locks:
        command += ["-r", str(lock)]
    done = _run_logged(command)
    if done.returncode:
        give_up(f"The libraries could not be installed: {_reason(done.stdout)} {SETUP_LOG} holds pip's own words.")


def _reason(output: str) -> str:
    if "DO NOT MATCH THE HASHES" in output:
        return "a downloaded file is not the one that the lock names."
    if "No space left" in output:
        return "the disk is full."
    if any(words in output for words in ("Retrying", "Could not find a version", "No matching distribution")):
        return "the package index did not answer or does not hold them. Connect to the network and start again."
    return "pip failed."


# --- System packages --------------------------------------------------------------------------------------------


def install_system_packages(need: SystemNeed) -> bool:
    """Install Debian packages as root, saying so; elsewhere print the one command. True when installed."""
    if os.geteuid() != 0 or shutil.which("apt-get") is None:
        say(need.sentence)
        return False
    say(f"{need.part} needs system packages: installing {' '.join(need.packages)} with apt-get, as root …")
    install = ["apt-get", "install", "-y", "--no-install-recommends", "-o", "DPkg::Lock::Timeout=300", *need.packages]
    if _run_logged(install).returncode:
        _run_logged(["apt-get", "update"])
        if _run_logged(install).returncode:
            say(f"apt-get could not install them ({SETUP_LOG} says why). {need.sentence}")
            return False
    return True


def _can_be_loaded(libraries: Sequence[str]) -> bool:
    try:
        for name in libraries:
            ctypes.CDLL(name)
    except OSError:
        return False
    return True


def has_pdf_libraries() -> bool:
    has_font = PDF_FONT_FILE.exists() or not Path("/etc/debian_version").exists()
    return has_font and _can_be_loaded(PDF_LIBRARY_FILES)


def prepare_pdf_libraries() -> bool:
    return has_pdf_libraries() or install_system_packages(PDF_LIBRARIES)


def chromium() -> str | None:
    """The path of Debian's Chromium; None where it, or what drives it, is missing."""
    return shutil.which("chromium") if _can_be_loaded(CHROMIUM_DRIVER_FILES) else None


def prepare_chromium() -> str | None:
    if chromium() is None:
        install_system_packages(CHROMIUM)
    return chromium()


def has_paper_readers() -> bool:
    """What reads papers back as others do: signatures, pages as pictures, codes."""
    return all(shutil.which(program) for program in PAPER_READER_PROGRAMS)


def prepare_paper_readers() -> bool:
    return has_paper_readers() or install_system_packages(PAPER_READERS)


def postgresql_programs() -> Path | None:
    """The directory of PostgreSQL's server programs, the newest version there is."""
    found = [path.parent for path in POSTGRESQL_ROOT.glob("*/bin/initdb")]
    if found:
        return max(found, key=lambda directory: int(directory.parent.name))
    on_path = shutil.which("initdb")
    return Path(on_path).parent if on_path else None


def prepare_postgresql() -> Path | None:
    if postgresql_programs() is None:
        install_system_packages(POSTGRESQL)
    return postgresql_programs()


# --- What the settings read -------------------------------------------------------------------------------------


# What these write is the office's: its database, photographs and archives are for the user it runs as, nobody else.
PRIVATE = frozenset({"demo", "serve", "worker", "migrate", "backup", "restore", "move_database"})


def prepare_settings(command: str) -> None:
    """Give the settings a place for data and a secret key that outlives the process; the demo its own database."""
    if command in PRIVATE:
        os.umask(0o077)
    with contextlib.suppress(OSError):  # a read-only checkout still derives and compares
        DATA.mkdir(parents=True, exist_ok=True, mode=0o700)
        os.environ.setdefault("OFFICE_SECRET_KEY", _kept_secret(DATA / "secret_key"))
    if command == "demo":
        os.environ.setdefault("DATABASE_URL", f"sqlite:///{DATA / 'demo.sqlite3'}")


def _kept_secret(path: Path) -> str:
    if not path.exists():
        with tempfile.NamedTemporaryFile("w", dir=path.parent, delete=False) as fresh:  # readable by the owner only
            fresh.write(secrets.token_urlsafe(64))
        Path(fresh.name).replace(path)
    return path.read_text(encoding="utf-8")


# --- A port, and a PostgreSQL of our own ------------------------------------------------------------------------


def port_is_free(host: str, port: int) -> bool:
    """Whether nobody listens there. The web server itself would share the port without a word."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def _postgresql_at_home(programs: Path, prefix: str) -> Iterator[tuple[Path, Callable[..., None]]]:
    """A temporary directory for one server, and what runs its programs there: as `postgres` where we are root."""
    as_root = os.geteuid() == 0
    directory = Path(tempfile.mkdtemp(prefix=prefix, dir="/tmp" if as_root else None))  # noqa: S108
    as_user = []
    if as_root:  # in /tmp, which another user can reach for certain
        shutil.chown(directory, "postgres", "postgres")
        as_user = ["runuser", "-u", "postgres", "--"]

    def run(program: str, *arguments: str) -> None:
        done = _run_logged([*as_user, str(programs / program), *arguments], directory=directory)
        if done.returncode:
            raise RuntimeError(f"{program} failed; {SETUP_LOG} says why.")

    try:
        yield directory, run
    finally:
        shutil.rmtree(directory, ignore_errors=True)


@contextlib.contextmanager
def private_postgresql(programs: Path, database: str = "") -> Iterator[str]:
    """A PostgreSQL server in a temporary directory, on 127.0.0.1 and a free port; yields its DATABASE_URL.

    `database` names one to be made in it, the role's own; without it the address is that of the server's first one.

    It runs as the user postgres when we are root (it refuses root). Nothing in it is meant to last, so it does not
    wait for the disk. The tests sign in as an ordinary role that may create databases and nothing more.
    """
    port = free_port()
    with _postgresql_at_home(programs, "office-postgresql-") as (directory, run):
        data, log = directory / "data", directory / "log"
        control = ("-D", str(data), "-l", str(log), "-w")
        options = f"-p {port} -k {directory} -c listen_addresses=127.0.0.1 -c fsync=off -c full_page_writes=off"
        run("initdb", "-D", str(data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8")
        run("pg_ctl", *control, "-o", options, "start")
        try:
            create = "create role office login createdb"
            psql = ("psql", "-h", str(directory), "-p", str(port), "-U", "postgres", "-d", "postgres", "-c")
            run(*psql, create)
            if database:
                run(*psql, f"create database {database} owner office")
            yield f"postgres://office@127.0.0.1:{port}/{database or 'postgres'}"
        finally:
            run("pg_ctl", *control, "-m", "immediate", "stop")


@contextlib.contextmanager
def private_standby(programs: Path, primary_port: int) -> Iterator[str]:
    """A streaming replica of the `private_postgresql` on that port, in a directory of its own; yields its address."""
    port = free_port()
    with _postgresql_at_home(programs, "office-standby-") as (directory, run):
        data = directory / "data"
        control = ("-D", str(data), "-l", str(directory / "log"), "-w")
        options = f"-p {port} -k {directory} -c listen_addresses=127.0.0.1 -c fsync=off"
        source = f"host=127.0.0.1 port={primary_port} user=postgres"
        run("pg_basebackup", "-d", source, "-D", str(data), "-R", "-X", "stream", "-c", "fast", "--no-sync")
        run("pg_ctl", *control, "-o", options, "start")
        try:
            yield f"postgres://office@127.0.0.1:{port}/postgres"
        finally:
            run("pg_ctl", *control, "-m", "immediate", "stop")


# --- Running programs -------------------------------------------------------------------------------------------


def _run_logged(command: list[str], *, directory: Path = ROOT) -> subprocess.CompletedProcess[str]:
    """Run a program with its words kept in the setup log. It gets no input: nothing may wait for an answer."""
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    done = subprocess.run(
        command,
        cwd=directory,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        check=False,
    )
    DATA.mkdir(parents=True, exist_ok=True)
    with SETUP_LOG.open("a", encoding="utf-8") as log:
        log.write(f"$ {' '.join(command)}\n{done.stdout}\n")
    return done


@contextlib.contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Two commands started together must not install into one `.venv` at once."""
    DATA.mkdir(parents=True, exist_ok=True)
    with (DATA / "setup.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def stop_like_ctrl_c() -> None:
    """A polite kill ends the command as Ctrl-C does, so that what was started is stopped as well."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
