"""The bootstrap on machines that lack something:
what it installs, what it says, and when it stays quiet."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from restorer import bootstrap


class Machine:
    """Stands in for the commands of a machine: notes what is run, and fails what it is told to."""

    def __init__(self) -> None:
        self.ran: list[str] = []
        self.failing: set[str] = set()

    def attempt(self, command: list[str], *, beats: bool = False) -> bool:
        line = " ".join(command)
        self.ran.append(line)
        return not any(word in line for word in self.failing)


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Machine:
    """A checkout with one lock and a .venv that is the running Python."""
    made = Machine()
    (tmp_path / ".venv").mkdir()
    (tmp_path / "run.lock").write_text(
        "alpha==1 \\\n    --hash=sha256:aa\nbeta==2 \\\n    --hash=sha256:bb\n"
    )
    (tmp_path / "dev.lock").write_text(
        (tmp_path / "run.lock").read_text() + "gamma==3 \\\n    --hash=sha256:cc\n"
    )
    monkeypatch.setattr(bootstrap, "run_logged", made.attempt)
    monkeypatch.setattr(bootstrap, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(bootstrap, "LOCK_DIR", tmp_path)
    monkeypatch.setattr(bootstrap, "VAR_DIR", tmp_path / "var")
    monkeypatch.setattr(bootstrap, "python_of_venv", lambda: Path(sys.executable))
    monkeypatch.setattr(sys, "prefix", str(tmp_path / ".venv"))
    monkeypatch.setattr(bootstrap.os, "geteuid", lambda: 1000)
    monkeypatch.delenv("RESTORER_NO_VENV", raising=False)
    monkeypatch.setenv("RESTORER_APT", "1")
    real = shutil.which
    monkeypatch.setattr(bootstrap.shutil, "which", lambda n: None if n == "uv" else real(n))
    monkeypatch.delenv("CI", raising=False)
    monkeypatch.delenv("CHROMIUM", raising=False)
    return made


def as_root_on_debian(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap.os, "geteuid", lambda: 0)
    monkeypatch.setattr(
        bootstrap.shutil, "which", lambda name: "/usr/bin/apt-get" if name == "apt-get" else None
    )


def test_bootstrap_needs_nothing_but_the_standard_library() -> None:
    code = (
        "import sys; import restorer.bootstrap; print([name for name in sys.modules if"
        " name.startswith('django')])"
    )
    command = [sys.executable, "-S", "-c", code]  # -S: no site-packages at all
    answer = subprocess.run(
        command, cwd=bootstrap.BASE_DIR, capture_output=True, text=True, check=True
    )
    assert answer.stdout.strip() == "[]"


def test_a_first_run_installs_by_hash_and_a_second_does_nothing(machine: Machine) -> None:
    bootstrap.ensure_environment(["manage.py", "check"], needs_dev=False)
    assert len(machine.ran) == 1
    assert "--require-hashes" in machine.ran[0]
    assert machine.ran[0].endswith("run.lock")
    bootstrap.ensure_environment(["manage.py", "check"], needs_dev=False)
    assert len(machine.ran) == 1


def test_a_changed_lock_is_installed_again(machine: Machine, tmp_path: Path) -> None:
    bootstrap.ensure_environment(["manage.py", "check"], needs_dev=False)
    (tmp_path / "run.lock").write_text("alpha==2 \\\n    --hash=sha256:dd\n")
    bootstrap.ensure_environment(["manage.py", "check"], needs_dev=False)
    assert len(machine.ran) == 2


def test_an_environment_with_the_tools_for_tests_keeps_them(machine: Machine) -> None:
    bootstrap.ensure_environment(["manage.py", "test"], needs_dev=True)
    bootstrap.ensure_environment(["manage.py", "check"], needs_dev=False)
    assert [line.rsplit("/", 1)[1] for line in machine.ran] == ["dev.lock"]


def test_a_failed_install_names_the_log_and_is_tried_again_next_time(machine: Machine) -> None:
    machine.failing = {"pip"}
    with pytest.raises(bootstrap.BootstrapError, match=r"bootstrap\.log.*\n.*network"):
        bootstrap.ensure_environment(["manage.py", "check"], needs_dev=False)
    machine.failing = set()
    bootstrap.ensure_environment(["manage.py", "check"], needs_dev=False)
    assert len(machine.ran) == 2


def test_an_old_python_is_refused_in_plain_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap.sys, "version_info", (3, 9, 18))
    with pytest.raises(BaseException, match=r"Python 3\.11 or later is needed; this is 3\.9\.18"):
        bootstrap.prepare_environment(["manage.py", "check"])


def test_a_python_without_venv_says_which_package_brings_it(machine: Machine) -> None:
    machine.failing = {"-m venv"}
    with pytest.raises(bootstrap.BootstrapError, match=r"apt-get install python3\.\d+-venv"):
        bootstrap.make_venv()
    assert not [line for line in machine.ran if "apt-get" in line]
    assert not bootstrap.VENV.exists()  # so that the next run, with the package, makes it whole


def test_root_on_debian_gets_missing_libraries_and_renews_a_stale_list_once(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    as_root_on_debian(monkeypatch)
    monkeypatch.setattr(bootstrap, "has_library", lambda name: name != "pango-1.0")
    monkeypatch.setattr(bootstrap, "has_fonts", lambda: False)
    machine.failing = {"install"}
    bootstrap.ensure_libraries()
    install = "apt-get install -y --no-install-recommends libpango-1.0-0 fonts-dejavu-core"
    assert machine.ran == [install, "apt-get update", install]


def test_without_rights_the_missing_libraries_are_named_and_the_work_goes_on(
    machine: Machine, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(bootstrap, "has_library", lambda name: name != "harfbuzz-subset")
    monkeypatch.setattr(bootstrap, "has_fonts", lambda: True)
    bootstrap.ensure_libraries()
    assert machine.ran == []
    assert "apt-get install libharfbuzz-subset0" in capsys.readouterr().err


def test_a_missing_browser_is_loud_and_in_ci_an_error(
    machine: Machine, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(bootstrap.shutil, "which", lambda name: None)
    assert bootstrap.ensure_chromium() == ""
    told = capsys.readouterr().err
    assert "BROWSER TESTS LEFT OUT" in told
    assert "run as root: apt-get install chromium\n" in told
    monkeypatch.setenv("CI", "true")
    with pytest.raises(bootstrap.BootstrapError, match="Chromium"):
        bootstrap.ensure_chromium()


def lacking(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, *libraries: str) -> Path:
    """With a browser; ldd does not find these for the driver's node while the file is there."""
    told = tmp_path / "told"
    told.write_text("".join(f"\t{each} => not found\n" for each in libraries))
    ldd = tmp_path / "ldd"
    ldd.write_text(f'#!/bin/sh\ncase "$1" in */node) cat {told} 2>/dev/null;; esac\n')
    ldd.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:{os.environ['PATH']}")
    monkeypatch.setattr(bootstrap, "find_chromium", lambda: "/usr/bin/true")
    return told


def test_without_rights_a_library_that_the_drivers_node_lacks_is_named_with_its_package(
    machine: Machine,
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    lacking(monkeypatch, tmp_path, "libatomic.so.1")
    assert bootstrap.ensure_chromium() == ""
    assert machine.ran == []
    told = capsys.readouterr().err
    assert "need libatomic.so.1, which this machine lacks" in told
    assert "apt-get install libatomic1" in told


def test_root_on_debian_gets_the_library_that_the_drivers_node_lacks(
    machine: Machine, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    told = lacking(monkeypatch, tmp_path, "libatomic.so.1")

    def install(packages: list[str]) -> bool:
        told.unlink()
        return packages == ["libatomic1"]

    monkeypatch.setattr(bootstrap, "apt_install", install)
    assert bootstrap.ensure_chromium() == "/usr/bin/true"


@pytest.mark.parametrize(
    ("library", "package"),  # as `dpkg -S` of Debian 12 says
    [
        ("libatomic.so.1", "libatomic1"),
        ("libstdc++.so.6", "libstdc++6"),
        ("libgcc_s.so.1", "libgcc-s1"),
        ("libX11.so.6", "libx11-6"),
        ("libnss3.so", "libnss3"),
        ("libpango-1.0.so.0", "libpango-1.0-0"),
    ],
)
def test_debian_names_a_package_after_its_library(library: str, package: str) -> None:
    assert bootstrap.package_of(library) == package


@pytest.mark.parametrize(
    ("command", "managed", "allowed"),
    [
        ("serve", "", "1"),
        ("demo", "", "1"),
        ("test", "", "1"),
        ("check", "", "0"),
        ("due", "", "0"),
        ("serve", "1", "0"),
    ],
)
def test_only_a_command_that_sets_a_machine_up_may_ask_apt(
    machine: Machine, monkeypatch: pytest.MonkeyPatch, command: str, managed: str, allowed: str
) -> None:
    as_root_on_debian(monkeypatch)
    monkeypatch.delenv("RESTORER_APT")
    monkeypatch.setenv("RESTORER_NO_VENV", managed)
    bootstrap.allow_apt(command)
    assert os.environ["RESTORER_APT"] == allowed
    assert bootstrap.apt_install(["libpango-1.0-0"]) is (allowed == "1")


def test_uv_installs_where_the_machine_has_it(
    machine: Machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert bootstrap.installer()[1:4] == ["-m", "pip", "install"]
    monkeypatch.setattr(bootstrap.shutil, "which", lambda name: f"/usr/bin/{name}")
    bootstrap.install_packages(bootstrap.LOCK_DIR / "run.lock")
    (line,) = machine.ran
    assert line.startswith("/usr/bin/uv pip install")
    assert "--require-hashes" in line


def test_tests_have_a_server_of_their_own_that_waits_for_no_disk(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name in ("RESTORER_VAR", "RESTORER_THROWAWAY"):
        monkeypatch.setenv(name, "")
        monkeypatch.delenv(name)
    bootstrap.set_mode("serve")
    assert not {"RESTORER_VAR", "RESTORER_THROWAWAY"} & os.environ.keys()

    bootstrap.set_mode("test")

    assert Path(os.environ["RESTORER_VAR"]) != bootstrap.BASE_DIR / "var"
    assert os.environ["RESTORER_THROWAWAY"] == "1"
