"""One database of time zones: for this process and its children, and not the server's own."""

import ast
import os
import re
import subprocess
import sys
import zoneinfo
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from io import StringIO
from pathlib import Path

import freezegun
import pytest
from babel.dates import format_time
from django.core.management import call_command
from django.db import connection
from django.db.models.functions import ExtractHour, TruncDay
from django.test import Client
from django.utils import timezone

from clients.messaging.models import Message
from clients.templatetags.formatting import clock
from restorer import time_zones
from restorer.settings import BASE_DIR
from tests.servers_zones import ASKED, ServersZoneError

OURS = ["clients", "jobs", "reminders", "restorer"]
VANCOUVER = "America/Vancouver"
MIDWINTER = datetime(2027, 1, 15, 20, tzinfo=UTC)
LONG_AFTER = time_zones.zones_release_date() + timedelta(days=366)


def test_british_columbia_keeps_one_clock_in_summer_and_winter() -> None:
    """tzdata.zi of 2026f, Z America/Vancouver: “-8 C PDT 2026 N 1 2”, then “-7 - MST” for good."""
    for month in (1, 7):
        local = datetime(2027, month, 15, 12, tzinfo=zoneinfo.ZoneInfo(VANCOUVER))
        assert local.utcoffset() == timedelta(hours=-7), (
            f"so in 2026f; this is {time_zones.ZONES_VERSION}"
        )


def test_the_machines_own_database_is_asked_nowhere() -> None:
    assert zoneinfo.TZPATH == ()
    code = "import zoneinfo; print(zoneinfo.TZPATH)"
    child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert child.stdout.strip() == "()"


@pytest.mark.parametrize("module", ["restorer.wsgi", "restorer.settings"])
def test_a_process_that_begins_without_manage_py_uses_it_too(module: str) -> None:
    """As the web processes are started (restorer/local/web_server.py)."""
    code = f"import {module}, zoneinfo; print(zoneinfo.TZPATH)"
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONTZPATH"}
    environment["DJANGO_SETTINGS_MODULE"] = "restorer.settings"
    command = [sys.executable, "-W", "ignore", "-c", code]
    child = subprocess.run(command, cwd=BASE_DIR, env=environment, capture_output=True, text=True)
    assert (child.stdout.strip(), child.stderr) == ("()", "")


def test_a_moment_is_written_by_its_own_zone_whatever_database_the_library_has() -> None:
    """Babel goes by the package pytz where that is installed, as it is with the tools for tests."""
    local = MIDWINTER.astimezone(zoneinfo.ZoneInfo(VANCOUVER))
    assert format_time(local, "HH:mm", locale="en") == f"{local:%H:%M}"


def statements() -> Iterator[tuple[Path, str]]:
    """Every text in our programs and every file of SQL, with where it stands."""
    for path in (path for app in OURS for path in (BASE_DIR / app).rglob("*")):
        if path.suffix == ".sql":
            yield path, path.read_text()
        if path.suffix == ".py":
            for node in ast.walk(ast.parse(path.read_text())):
                if isinstance(node, ast.Constant) and isinstance(node.value, str):
                    yield path, node.value


def test_no_statement_of_ours_asks_the_servers_time_zones() -> None:
    """Also those that go to the server past Django (clients/messaging/outbox/ledger.py)."""
    assert [(path.name, text) for path, text in statements() if ASKED.search(text)] == []


def test_no_test_takes_the_day_of_utc_for_the_day_at_the_business() -> None:
    """Else the suite fails for the hours of each day in which the two differ."""
    utc = re.compile(r"timezone\.(localdate\(\)|now\(\)\.date\(\))")
    tests = (BASE_DIR / "tests").rglob("*.py")
    assert [path.name for path in tests if utc.search(path.read_text())] == []


@pytest.mark.django_db
def test_asking_them_by_a_field_is_refused_in_every_test() -> None:
    with timezone.override(zoneinfo.ZoneInfo(VANCOUVER)):
        for rows in (
            Message.objects.filter(queued_at__date=date(2027, 1, 15)),
            Message.objects.annotate(day=TruncDay("queued_at")),
            Message.objects.annotate(hour=ExtractHour("queued_at")),
        ):
            with pytest.raises(ServersZoneError):
                rows.exists() if not rows.query.annotations else list(rows)


@pytest.mark.django_db
def test_a_day_that_the_database_makes_of_a_moment_is_that_of_greenwich() -> None:
    """Sums over sent reminders cast moments to days: by UTC, which is in no database of zones."""
    with connection.cursor() as cursor:
        cursor.execute("SHOW timezone")
        assert cursor.fetchone() == ("UTC",)


def test_check_says_the_version() -> None:
    out = StringIO()
    call_command("check", stdout=out)
    first_line = f"Time zones: {time_zones.ZONES_VERSION} of the IANA database\n"
    assert out.getvalue().startswith(first_line)


def test_an_old_one_is_warned_of(capsys: pytest.CaptureFixture[str]) -> None:
    with freezegun.freeze_time(LONG_AFTER):
        call_command("check", stdout=StringIO())
    told = capsys.readouterr().err
    assert "restorer.W012" in told
    assert f"{time_zones.ZONES_VERSION}, more than a year old" in told


@pytest.mark.django_db
def test_the_health_page_says_the_version_and_whether_it_is_old(client: Client) -> None:
    for moment, old in ((time_zones.zones_release_date(), False), (LONG_AFTER, True)):
        with freezegun.freeze_time(moment):
            told = client.get("/health/?format=json").json()
        assert (told["time_zones"], told["time_zones_old"]) == (time_zones.ZONES_VERSION, old)


def test_a_release_is_dated_by_its_leap_seconds() -> None:
    """The file “leapseconds” of 2026f: “#updated 1783323897 (2026-07-06 07:44:57 UTC)”."""
    assert time_zones.zones_release_date() >= date(2026, 7, 6)
    assert time_zones.zones_release_date().year >= int(time_zones.ZONES_VERSION[:4])


@pytest.mark.usefixtures("business")
def test_a_moment_from_the_database_is_read_on_the_clock_of_the_business() -> None:
    at = datetime(2026, 11, 29, 19, 38, tzinfo=UTC)
    there = at.astimezone(zoneinfo.ZoneInfo("Europe/Paris"))

    with timezone.override(zoneinfo.ZoneInfo(VANCOUVER)):
        assert clock(at).startswith("12:38")
        assert clock(there).startswith("8:38")  # a moment that carries a place stays there
