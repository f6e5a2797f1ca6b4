"""Makes what a command needs on a bare machine:
environment, packages, system libraries, PostgreSQL, Chromium.

Standard library only, and nothing of Django: it runs before there is anything else.
"""

import ctypes.util
import fcntl
import hashlib
import importlib.util
import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(os.environ.get("RESTORER_VAR", BASE_DIR / "var"))
VENV = BASE_DIR / ".venv"
LOCK_DIR = BASE_DIR / "restorer" / "requirements"
LOG = VAR_DIR / "bootstrap.log"
MIN_PYTHON = (3, 11)
DEV_COMMANDS = {"test", "lock"}
SETTING_UP = {"serve", "demo", "test"}  # they may ask apt for what is missing; nothing else does
HELP_OPTIONS = {"--help", "-h", "--version"}
HELP_COMMANDS = {*HELP_OPTIONS, "help", "version"}
WITHOUT_DATABASE = {*HELP_COMMANDS, "lock", "makemessages", "compilemessages", "build_places"}
LIBRARIES = {
    "pango-1.0": "libpango-1.0-0",
    "pangoft2-1.0": "libpangoft2-1.0-0",
    "harfbuzz-subset": "libharfbuzz-subset0",
}
FONT_DIRS = [
    Path("/usr/share/fonts"),
    Path("/usr/local/share/fonts"),
    Path("/System/Library/Fonts"),
]
BROWSERS = ["chromium", "chromium-browser", "google-chrome"]


class BootstrapError(Exception):
    """Something is missing that we cannot make; the message says what to do."""


def prepare_environment(arguments: list[str]) -> None:
    """Leave with everything the command needs, running under the environment's Python."""
    command = arguments[1] if len(arguments) > 1 else "help"
    try:
        check_python()
        set_mode(command)
        allow_apt(command)
        ensure_environment(arguments, needs_dev=command in DEV_COMMANDS)
        ensure_libraries()
        if command == "test":
            os.environ["CHROMIUM"] = ensure_chromium()
        if needs_database(command, arguments[2:]) and not os.environ.get("DATABASE_URL"):
            start_database()
    except BootstrapError as error:
        sys.exit(f"\n{error}")


def needs_database(command: str, options: list[str]) -> bool:
    """Whoever only asks how a command is used starts no server. What follows `test` is pytest's."""
    return command not in WITHOUT_DATABASE and not HELP_OPTIONS.intersection(options)


def check_python() -> None:
    if sys.version_info < MIN_PYTHON:
        running = ".".join(map(str, sys.version_info[:3]))
        raise BootstrapError(
            f"Python 3.11 or later is needed; this is {running}. Run: python3.11 manage.py …"
        )


def set_mode(command: str) -> None:
    """The demo has a database of its own, and the tests a whole server, beside that of the book;
    it must be known before the settings load."""
    if command == "demo":
        os.environ["RESTORER_MODE"] = "demo"
    if command == "test":
        os.environ.setdefault("RESTORER_VAR", str(BASE_DIR / "var" / "tests"))
        os.environ["RESTORER_THROWAWAY"] = "1"


def allow_apt(command: str) -> None:
    """Only the commands that set a machine up, only as root, never where somebody else sees to the
    environment; `RESTORER_APT=0` forbids it, `1` allows it to any command."""
    is_asked = command in SETTING_UP and not is_externally_managed()
    os.environ.setdefault("RESTORER_APT", "1" if is_asked else "0")


def print_progress(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def is_externally_managed() -> bool:
    """An environment that somebody else made (a container, a packager) and that already has
    Django."""
    return os.environ.get("RESTORER_NO_VENV") == "1"


def ensure_environment(arguments: list[str], *, needs_dev: bool) -> None:
    """Make .venv from the hashed lock when it is missing or the lock has changed, then go on under
    its Python."""
    if is_externally_managed():
        return
    lock = LOCK_DIR / ("dev.lock" if needs_dev or has_dev_packages() else "run.lock")
    with bootstrap_lock():
        if not python_of_venv().exists():
            make_venv()
        if installed_stamp() != lock_file_fingerprint(lock):
            install_packages(lock)
    if Path(sys.prefix).resolve() != VENV.resolve():
        sys.stdout.flush()
        python = str(python_of_venv())
        os.execv(python, [python, *arguments])  # noqa: S606 - no shell is meant


def python_of_venv() -> Path:
    return VENV / "bin" / "python"


@contextmanager
def bootstrap_lock() -> Iterator[None]:
    """Two that start at once take turns."""
    VAR_DIR.mkdir(parents=True, exist_ok=True)
    with (VAR_DIR / "bootstrap.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def lock_file_fingerprint(lock: Path) -> str:
    return f"{lock.name} {hashlib.sha256(lock.read_bytes()).hexdigest()}"


def installed_stamp() -> str:
    path = VENV / "restorer.stamp"
    return path.read_text() if path.exists() else ""


def has_dev_packages() -> bool:
    return installed_stamp().startswith("dev.lock")


def make_venv() -> None:
    print_progress("Making the virtual environment .venv")
    if run_logged([sys.executable, "-m", "venv", str(VENV)]):
        return
    package = f"python{sys.version_info[0]}.{sys.version_info[1]}-venv"
    if apt_install([package]) and run_logged([sys.executable, "-m", "venv", "--clear", str(VENV)]):
        return
    shutil.rmtree(VENV, ignore_errors=True)  # half of one would be taken for a whole one next time
    raise BootstrapError(
        f"This Python cannot make a virtual environment (details: {LOG}).\n"
        f"On Debian or Ubuntu run as root: apt-get install {package}"
    )


def install_packages(lock: Path) -> None:
    """All packages of a lock; every file is checked against its hash."""
    count = lock.read_text().count("==")
    began = time.monotonic()
    print_progress(f"Installing {count} packages (a minute or two the first time)")
    if not run_logged([*installer(), "--require-hashes", "-r", str(lock)], beats=True):
        raise BootstrapError(
            f"The packages could not be installed. What pip said is in {LOG}.\n"
            "Check the network (or your package mirror's settings) and run the same command again."
        )
    (VENV / "restorer.stamp").write_text(lock_file_fingerprint(lock))
    print_progress(f"  done in {time.monotonic() - began:.0f} s")


def installer() -> list[str]:
    """uv where the machine has it (2.8 s instead of 23.5 for run.lock), else pip, which need not
    compile beforehand what Python compiles when it is first read."""
    python = str(python_of_venv())
    if uv := shutil.which("uv"):
        return [uv, "pip", "install", "--no-config", "--python", python]
    return [python, "-m", "pip", "install", "--no-compile", "--progress-bar", "off"]


def run_logged(command: list[str], *, beats: bool = False) -> bool:
    """Run a command into the log; True if it went well.
    With `beats` a line every ten seconds shows that it moves."""
    VAR_DIR.mkdir(parents=True, exist_ok=True)
    with LOG.open("ab") as log:
        log.write(f"\n$ {' '.join(command)}\n".encode())
        log.flush()
        process = subprocess.Popen(command, stdout=log, stderr=log, stdin=subprocess.DEVNULL)
        began = time.monotonic()
        while True:
            try:
                return process.wait(timeout=10) == 0
            except subprocess.TimeoutExpired:
                if beats:
                    print_progress(f"  … {time.monotonic() - began:.0f} s")


def apt_install(packages: list[str]) -> bool:
    """Install Debian's packages, if this is Debian and we may;
    a stale package list is renewed once."""
    is_allowed = os.environ.get("RESTORER_APT") == "1"
    if not is_allowed or os.geteuid() != 0 or not shutil.which("apt-get"):
        return False
    os.environ["DEBIAN_FRONTEND"] = "noninteractive"
    print_progress(f"Installing {' '.join(packages)} with apt-get")
    command = ["apt-get", "install", "-y", "--no-install-recommends", *packages]
    return run_logged(command, beats=True) or (
        run_logged(["apt-get", "update"], beats=True) and run_logged(command, beats=True)
    )


def has_library(name: str) -> bool:
    return ctypes.util.find_library(name) is not None


def has_fonts() -> bool:
    return any(
        next(directory.rglob("*.[to]tf"), None) for directory in FONT_DIRS if directory.is_dir()
    )


def ensure_libraries() -> None:
    """Pango and a font for PDF; without them everything but PDF works, and we say so."""
    missing = [package for name, package in LIBRARIES.items() if not has_library(name)]
    if not has_fonts():
        missing.append("fonts-dejavu-core")
    if not missing or apt_install(missing):
        return
    print_progress(
        f"PDF pages need {', '.join(missing)}, which are not on this machine. On Debian or Ubuntu"
        f" run as root:\n  apt-get install {' '.join(missing)}\nEverything else works without them."
    )


def find_chromium() -> str:
    found = [os.environ.get("CHROMIUM"), *map(shutil.which, BROWSERS)]
    return next((path for path in found if path and Path(path).exists()), "")


def ensure_chromium() -> str:
    """The browser for the browser tests; empty if anything is missing that we may not install."""
    missing = missing_for_browser()
    if missing and apt_install(list(missing.values())):
        missing = missing_for_browser()
    if not missing:
        return find_chromium()
    what = f"The browser tests need {' and '.join(missing)}, which this machine lacks. "
    what += f"On Debian or Ubuntu run as root: apt-get install {' '.join(missing.values())}"
    if os.environ.get("CI"):
        raise BootstrapError(what)
    print_progress(
        f"BROWSER TESTS LEFT OUT. {what}\nA browser elsewhere: set CHROMIUM to its path."
    )
    return ""


def missing_for_browser() -> dict[str, str]:
    """What the browser tests lack here, and the package of Debian that brings it."""
    chromium = find_chromium()
    missing = {} if chromium else {"Chromium": "chromium"}
    for program in [*programs_of_driver(), *programs_of_browser(chromium)]:
        missing |= {library: package_of(library) for library in missing_libraries(program)}
    return missing


def programs_of_driver() -> list[Path]:
    """The node that comes with playwright's package."""
    found = importlib.util.find_spec("playwright")
    node = Path(found.origin).parent / "driver" / "node" if found and found.origin else None
    return [node] if node and node.exists() else []


def programs_of_browser(chromium: str) -> list[Path]:
    """The program itself: what lies on the PATH is often a script that starts it."""
    if not chromium:
        return []
    path = Path(chromium).resolve()
    places = [path, path.with_name("chrome"), Path("/usr/lib/chromium/chromium")]
    return [place for place in places if place.exists()]


def missing_libraries(program: Path) -> list[str]:
    """Shared libraries that its loader would not find; none known where there is no ldd."""
    if not shutil.which("ldd"):
        return []
    answer = subprocess.run(["ldd", str(program)], capture_output=True, text=True, check=False)
    return re.findall(r"^\s*(\S+) => not found", answer.stdout, re.MULTILINE)


def package_of(library: str) -> str:
    """“libatomic1” for “libatomic.so.1”: Debian names a library's package so (Policy, 8.1)."""
    name, _, version = library.lower().replace("_", "-").partition(".so")
    version = version.lstrip(".")
    return f"{name}-{version}" if version and name[-1].isdigit() else f"{name}{version}"


def start_database() -> None:
    from restorer.local import postgres
    from restorer.local.postgres_programs import PostgresError

    os.environ.pop("RESTORER_OWNS_POSTGRES", None)  # of whoever started us
    try:
        if postgres.start_server():
            os.environ["RESTORER_OWNS_POSTGRES"] = "1"
    except PostgresError as error:
        raise BootstrapError(str(error)) from error
