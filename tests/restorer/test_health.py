"""The health page and the alarm clock's schedules and tasks."""

from datetime import timedelta

import pytest
from django.core.management import call_command
from django.test import Client
from django.utils import timezone
from django_q.models import Schedule

from clients.messaging.models import Message
from clients.models import Heartbeat
from clients.models.business import HeartbeatQuerySet
from reminders import tasks
from tests.outbox import queued

pytestmark = pytest.mark.usefixtures("business")


def test_it_is_well_while_the_loops_show_themselves(client: Client) -> None:
    Heartbeat.objects.record("worker")
    answer = client.get("/health/", headers={"Accept": "application/json"})
    assert answer.status_code == 200
    told = answer.json()
    del told["time_zones"], told["time_zones_old"]  # tests/restorer/test_time_zones.py
    assert told == {
        "ok": True,
        "database": True,
        "loops": {"worker": 0},
        "outbox_overdue": 0,
        "outbox_needs_a_person": 0,
    }


def test_a_stranger_hears_only_whether_it_is_well(client: Client, as_owner: Client) -> None:
    Heartbeat.objects.record("worker")
    for format_query in ("", "?format=json"):
        told = client.get(f"/health/{format_query}", REMOTE_ADDR="198.51.100.7")
        assert "loops" not in told.content.decode()
        assert told.status_code == 200
        # from elsewhere too: a proxy on this machine handed it on
        handed_on = client.get(f"/health/{format_query}", HTTP_X_FORWARDED_FOR="198.51.100.7")
        assert "loops" not in handed_on.content.decode()

    assert "loops" in as_owner.get("/health/", REMOTE_ADDR="198.51.100.7").content.decode()


def test_it_is_ill_when_a_loop_is_silent_for_five_minutes(client: Client) -> None:
    Heartbeat.objects.record("deliver")
    Heartbeat.objects.record("worker")
    Heartbeat.objects.filter(name="worker").update(
        beat_at=timezone.now() - timedelta(minutes=5, seconds=1)
    )
    answer = client.get("/health/")
    assert answer.status_code == 503
    assert answer["Content-Type"].startswith("text/plain")
    assert "ok: false" in answer.content.decode()


def test_it_is_ill_before_any_loop_ran_and_after_the_database_left(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    from django.db import OperationalError

    assert client.get("/health/").status_code == 503

    def away(*rows: object, **options: object) -> None:
        raise OperationalError("no")

    monkeypatch.setattr(HeartbeatQuerySet, "ages", away)
    answer = client.get("/health/?format=json")
    assert (answer.status_code, answer.json()) == (503, {"ok": False, "database": False})


def test_it_says_nothing_private(client: Client) -> None:
    message = queued(1)
    Message.objects.update(not_before=timezone.now() - timedelta(hours=1))
    body = client.get("/health/").content.decode()
    assert "outbox_overdue: 1" in body
    assert message.address not in body


def test_schedules_are_written_once_however_often(capsys: pytest.CaptureFixture[str]) -> None:
    for _ in range(2):
        call_command("schedule")
    Schedule.objects.create(
        name="tick", func="reminders.tasks.tick", schedule_type=Schedule.MINUTES, minutes=1
    )
    call_command("schedule")
    assert sorted(Schedule.objects.values_list("name", "func")) == [
        ("announce due", "restorer.tasks.announce_due_nightly"),
        ("back up", "restorer.tasks.back_up_nightly"),
        ("fetch weather", "restorer.tasks.fetch_weather"),
        ("forget answers", "restorer.tasks.forget_answers_nightly"),
        ("forget words", "reminders.tasks.tidy_nightly"),
        ("learn", "reminders.tasks.refit_nightly"),
        ("refresh forecasts", "reminders.tasks.refresh_forecasts_nightly"),
        ("remind", "reminders.tasks.queue_reminders_nightly"),
        ("tell programs", "restorer.tasks.tell_programs"),
        ("tick", "reminders.tasks.tick"),
    ]
    night = Schedule.objects.get(name="refresh forecasts").next_run
    assert (night.hour, night.minute) in {
        (6, 10),
        (7, 10),
    }  # ten past three in Halifax, UTC−3 or −4


def test_the_tick_shows_a_sign_of_life() -> None:
    tasks.tick()
    assert Heartbeat.objects.ages(now=timezone.now())["worker"] < 5


def test_the_nightly_tasks_refresh_the_forecasts_and_learn() -> None:
    assert tasks.refresh_forecasts_nightly() == 0
    assert "published figures" in tasks.refit_nightly()
