"""Serving: what the demo refuses, where its mail goes, and who may stop the database."""

from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from pytest_django import Settings

from clients.models import Heartbeat
from restorer.management.commands import demo, serve
from tests.factories import MessageFactory


@pytest.mark.django_db
def test_the_demo_refuses_a_database_that_is_not_its_own(settings: Settings) -> None:
    settings.MODE = "demo"
    with pytest.raises(CommandError, match="does not end in _demo"):
        call_command("demo", no_serve=True)


def test_no_setting_of_the_environment_sends_the_demos_mail_elsewhere(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in (
        "EMAIL_HOST",
        "EMAIL_PORT",
        "EMAIL_HOST_USER",
        "EMAIL_HOST_PASSWORD",
        "EMAIL_USE_TLS",
        "EMAIL_USE_SSL",
    ):
        setattr(settings, name, "mail.example.com")
        monkeypatch.setenv(name, "mail.example.com")
    demo.send_all_mail_to(2526)
    assert (settings.EMAIL_HOST, settings.EMAIL_PORT, settings.EMAIL_USE_TLS) == (
        "127.0.0.1",
        2526,
        False,
    )
    assert demo.os.environ["EMAIL_HOST"] == "127.0.0.1"  # what the worker and the deliverer inherit


@pytest.mark.django_db
def test_a_book_of_the_demo_leads_to_where_the_demo_is_open_now() -> None:
    old = "http://127.0.0.1:8000"
    message = MessageFactory(
        text=f"Choose a week: {old}/p/abc/\nOur site: https://driftline.example.com/",
        html=f'<a href="{old}/p/abc/">Choose a week</a>',
        state="queued",
    )

    demo.lead_messages_to("http://127.0.0.1:8172")

    message.refresh_from_db()
    assert message.text == (
        "Choose a week: http://127.0.0.1:8172/p/abc/\nOur site: https://driftline.example.com/"
    )
    assert message.html == '<a href="http://127.0.0.1:8172/p/abc/">Choose a week</a>'


@pytest.mark.parametrize(
    ("owns", "in_use", "stops"), [("1", False, 1), ("1", True, 0), ("", False, 0)]
)
def test_postgres_is_stopped_only_by_its_owner_and_only_when_nobody_uses_it(
    monkeypatch: pytest.MonkeyPatch, owns: str, in_use: bool, stops: int
) -> None:
    stopped = []
    monkeypatch.setenv("RESTORER_OWNS_POSTGRES", owns)
    monkeypatch.setattr(serve, "RELEASE_SECONDS", 0)
    monkeypatch.setattr(serve.postgres, "has_other_connections", lambda: in_use)
    monkeypatch.setattr(serve.postgres, "stop_server", lambda: stopped.append(1))
    serve.Command().release_database()
    assert len(stopped) == stops


@pytest.mark.django_db
def test_the_age_of_the_workers_heartbeat_is_read_from_its_row(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(
        serve.connections, "close_all", lambda: None
    )  # the test's transaction lives in it
    assert serve.worker_age() is None
    Heartbeat.objects.create(name="worker", beat_at=timezone.now() - timedelta(seconds=400))
    assert serve.worker_age() == pytest.approx(400, abs=5)
