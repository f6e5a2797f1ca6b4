"""What machines that watch are told, and the owner in words."""

import os
import re
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client, override_settings
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from clients.messaging.models import Message
from clients.models import Heartbeat
from restorer.models import BackupRun
from tests.outbox import queued

pytestmark = pytest.mark.usefixtures("business")
ROOT = Path(__file__).parents[2]
ALERTS = ROOT / "docs" / "running" / "alerts.yaml"
TOKEN = "a-token-of-a-machine-that-watches-0001"


def read_samples(client: Client, **extra: str) -> dict[tuple[str, ...], float]:
    """By name and values of labels, read by the reader of the format's own library."""
    answer = client.get("/metrics", **extra)
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("text/plain; version=")
    return {
        (sample.name, *(value for _, value in sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(answer.content.decode())
        for sample in family.samples
    }


def proven_backup(**age: float) -> BackupRun:
    at = timezone.now() - timedelta(**age)
    return BackupRun.objects.create(started_at=at, file="book.age", proven_at=at)


def test_the_figures_are_those_of_the_book(client: Client) -> None:
    Heartbeat.objects.record("worker")
    waiting = queued()
    Message.objects.filter(pk=waiting.pk).update(not_before=timezone.now() - timedelta(minutes=20))
    proven_backup(hours=3)

    seen = read_samples(client)

    assert seen["restorer_loop_age_seconds", "worker"] < 60
    assert 1200 <= seen[("restorer_outbox_wait_seconds",)] < 1260
    assert seen[("restorer_outbox_overdue_messages",)] == 1
    assert seen["restorer_messages_last_day", "queued"] == 1
    assert seen["restorer_messages_last_day", "unconfirmed"] == 0
    assert 10800 <= seen[("restorer_proven_backup_age_seconds",)] < 10860
    assert ("restorer_forecast_age_seconds",) not in seen  # there is no forecast: no age


def test_requests_are_counted_by_route_and_no_secret_of_an_address_is_told(client: Client) -> None:
    counted = ("restorer_request_seconds_count", "GET", "o/<str:token>/", "4xx")
    before = read_samples(client).get(counted, 0)

    client.get("/o/a-secret-of-a-client/")

    assert read_samples(client)[counted] == before + 1
    assert b"a-secret" not in client.get("/metrics").content


@pytest.mark.parametrize(
    ("extra", "status"),
    [
        ({"REMOTE_ADDR": "198.51.100.7"}, 404),
        ({"REMOTE_ADDR": "198.51.100.7", "HTTP_AUTHORIZATION": f"Bearer {TOKEN}x"}, 404),
        ({"REMOTE_ADDR": "198.51.100.7", "HTTP_AUTHORIZATION": f"Bearer {TOKEN}"}, 200),
        ({"REMOTE_ADDR": "127.0.0.1", "HTTP_X_FORWARDED_FOR": "198.51.100.7"}, 404),
        ({"REMOTE_ADDR": "::1"}, 200),
    ],
)
def test_only_this_machine_or_the_token_reads_them(
    client: Client, extra: dict[str, str], status: int
) -> None:
    with override_settings(METRICS_TOKEN=TOKEN):
        assert client.get("/metrics", **extra).status_code == status
    # without a token in force none opens it
    if "HTTP_AUTHORIZATION" in extra:
        assert client.get("/metrics", **extra).status_code == 404


def test_the_owner_reads_what_is_wrong_and_what_to_do(as_owner: Client) -> None:
    Heartbeat.objects.record("worker")
    proven_backup(hours=1)
    assert "Is everything running? <span" in (
        page := as_owner.get("/settings/backup/").content.decode()
    )
    assert ">Yes<" in page

    Heartbeat.objects.update(beat_at=timezone.now() - timedelta(hours=3))
    BackupRun.objects.all().delete()
    page = as_owner.get("/settings/backup/").content.decode()

    assert "2 to look at" in page
    assert "The background loop “worker” has been silent for 3 hours." in page
    assert "No backup of the last eight days is proven." in page


def test_check_deploy_says_the_same(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("DJANGO_ALLOW_ASYNC_UNSAFE", raising=False)  # of a browser in this process
    call_command("check", deploy=True, databases=["default"])

    assert "The part that works in the background never ran." in capsys.readouterr().err


@pytest.mark.slow
def test_a_token_that_is_easy_to_guess_is_named_when_the_program_starts() -> None:
    """In a process of its own: there only what the app itself imports is registered."""
    run = subprocess.run(
        [sys.executable, "manage.py", "check"],
        cwd=ROOT,
        env=os.environ | {"METRICS_TOKEN": "short", "DJANGO_SETTINGS_MODULE": "restorer.settings"},
        capture_output=True,
        text=True,
        check=False,
    )

    assert "METRICS_TOKEN is easy to guess." in run.stderr


def test_alert_rules_ask_only_for_figures_that_there_are(client: Client) -> None:
    yaml = pytest.importorskip("yaml")
    Heartbeat.objects.record("worker")
    proven_backup(hours=1)
    rules = [
        rule for group in yaml.safe_load(ALERTS.read_text())["groups"] for rule in group["rules"]
    ]
    told = {name for name, *_ in read_samples(client)} | {"restorer_forecast_age_seconds"}
    read_samples(client)  # so that the request before was counted

    asked = {name for rule in rules for name in re.findall(r"restorer_\w+", rule["expr"])}

    assert asked <= told | {name for name, *_ in read_samples(client)}
    assert len({rule["alert"] for rule in rules}) == len(rules) == 10
    for rule in rules:
        assert set(rule) == {"alert", "expr", "for", "labels", "annotations"}
