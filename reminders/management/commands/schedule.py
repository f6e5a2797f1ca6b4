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
AFTER_FORECASTS = timedelta(minutes=30)
AFTER_REMINDERS = timedelta(minutes=60)
AFTER_FORGETTING = timedelta(minutes=70)


class Command(BookCommand):
    help = "Write the schedules of the task worker (idempotent)."

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        every_minute = {
            "func": "reminders.tasks.tick",
            "schedule_type": Schedule.MINUTES,
            "minutes": 1,
        }
        every_night = {
            "func": "reminders.tasks.refresh_forecasts_nightly",
            "schedule_type": Schedule.DAILY,
            "minutes": None,
        }
        learning = {
            "func": "reminders.tasks.refit_nightly",
            "schedule_type": Schedule.DAILY,
            "minutes": None,
        }
        reminding = {
            "func": "reminders.tasks.queue_reminders_nightly",
            "schedule_type": Schedule.DAILY,
            "minutes": None,
        }
        tidying = {
            "func": "reminders.tasks.tidy_nightly",
            "schedule_type": Schedule.DAILY,
            "minutes": None,
        }
        saving = {
            "func": "restorer.tasks.back_up_nightly",
            "schedule_type": Schedule.DAILY,
            "minutes": None,
        }
        forgetting = {
            "func": "restorer.tasks.forget_answers_nightly",
            "schedule_type": Schedule.DAILY,
            "minutes": None,
        }
        telling = {
            "func": "restorer.tasks.tell_programs",
            "schedule_type": Schedule.MINUTES,
            "minutes": 1,
        }
        announcing = {
            "func": "restorer.tasks.announce_due_nightly",
            "schedule_type": Schedule.DAILY,
            "minutes": None,
        }
        save_schedule("tick", now, every_minute)
        save_schedule("tell programs", now, telling)
        save_schedule("announce due", next_night(now) + AFTER_FORECASTS, announcing)
        save_schedule("refresh forecasts", next_night(now), every_night)
        save_schedule("learn", next_night(now), learning)
        save_schedule("remind", next_night(now) + AFTER_FORECASTS, reminding)
        save_schedule("forget words", next_night(now) + AFTER_REMINDERS, tidying)
        save_schedule("forget answers", next_night(now) + AFTER_REMINDERS, forgetting)
        save_schedule("back up", next_night(now) + AFTER_FORGETTING, saving)
        self.stdout.write(
            "9 schedules: each minute the outbox and other programs; each night forecasts, what"
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
