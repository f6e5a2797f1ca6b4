"""`manage.py schedule`: writes the alarm clock's schedules;
names are the key, so it may run any number of times."""

from datetime import datetime, time, timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone
from django_q.models import Schedule

from clients.management.opening import BookCommand
from clients.models import Business

NIGHT = time(3, 10)
# name, task, and every how many minutes
ALL_DAY = [
    ("tick", "reminders.tasks.tick", 1),
    ("tell programs", "restorer.tasks.tell_programs", 1),
    ("fetch weather", "restorer.tasks.fetch_weather", 10),
]
# name, task, and how many minutes after the night's first
NIGHTLY = [
    ("refresh forecasts", "reminders.tasks.refresh_forecasts_nightly", 0),
    ("learn", "reminders.tasks.refit_nightly", 0),
    ("announce due", "restorer.tasks.announce_due_nightly", 30),
    ("remind", "reminders.tasks.queue_reminders_nightly", 30),
    ("forget words", "reminders.tasks.tidy_nightly", 60),
    ("forget answers", "restorer.tasks.forget_answers_nightly", 60),
    ("back up", "restorer.tasks.back_up_nightly", 70),
]


class Command(BookCommand):
    help = "Write the schedules of the task worker (idempotent)."

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        night = next_night(now)
        for name, task, minutes in ALL_DAY:
            values = {"func": task, "schedule_type": Schedule.MINUTES, "minutes": minutes}
            save_schedule(name, now, values)
        for name, task, minutes in NIGHTLY:
            values = {"func": task, "schedule_type": Schedule.DAILY, "minutes": None}
            save_schedule(name, night + timedelta(minutes=minutes), values)
        self.stdout.write(
            f"{len(ALL_DAY) + len(NIGHTLY)} schedules: each minute the outbox and other programs;"
            " every ten minutes the weather, if a source is named; each night forecasts, what"
            " visits taught, reminders, words and answers too old, a backup."
        )


@transaction.atomic
def save_schedule(name: str, first: datetime, what: dict[str, Any]) -> None:
    """One schedule of that name; its next time stays if it was there, and doubles go (the name is
    not unique there)."""
    rows = Schedule.objects.select_for_update().filter(name=name).order_by("id")
    kept = rows.first()
    if kept is None:
        Schedule.objects.create(name=name, next_run=first, repeats=-1, **what)
        return
    rows.exclude(pk=kept.pk).delete()
    Schedule.objects.filter(pk=kept.pk).update(repeats=-1, **what)


def next_night(now: datetime) -> datetime:
    """The next time it is ten past three at the business."""
    business = Business.current()
    local = now.astimezone(business.zone if business else None)
    tonight = local.replace(hour=NIGHT.hour, minute=NIGHT.minute, second=0, microsecond=0)
    return tonight if tonight > local else tonight + timedelta(days=1)
