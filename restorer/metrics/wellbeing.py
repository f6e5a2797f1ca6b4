"""What there is to know of the loops, the outbox, the forecasts and the backups at one moment, and
which of it is a trouble: said once, for the figures, the owner's page and the system checks."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import Count, Min

from clients.messaging.models import Message
from clients.models import Heartbeat
from jobs.models import ExpectedWeather
from reminders.models import Forecast
from restorer.models import BackupRun, say_missing_files

STALE_LOOP = timedelta(minutes=5)
LATE_MESSAGE = timedelta(minutes=15)  # could have gone out by then
OLD_FORECASTS = timedelta(days=2)  # written again each night
COUNTED_FOR = timedelta(days=1)


@dataclass(frozen=True)
class Wellbeing:
    """Ages in seconds; None where there is nothing yet. Messages of the last day by their state."""

    loops: Mapping[str, float]
    oldest_waiting: float | None
    overdue: int
    needing_a_person: int
    messages: Mapping[str, int]
    forecast_age: float | None
    made_backup_age: float | None
    proven_backup_age: float | None
    is_backup_old: bool
    files_missing: str = ""  # that the store lacks what the book names
    weather_refused: str = ""  # why the source of weather told nothing of late


@dataclass(frozen=True)
class Trouble:
    """What is wrong in plain words, and what to do."""

    words: str
    advice: str


def read_wellbeing(*, now: datetime) -> Wellbeing:
    """In a fixed number of queries. Raises `django.db.Error` while the database is away."""
    runs = BackupRun.objects
    (made, proven) = (runs.newest_made(), runs.newest_proven())
    could_have_gone = Message.objects.waiting_since(now)
    waiting = could_have_gone.aggregate(since=Min("not_before"))["since"]
    counted = Message.objects.filter(queued_at__gte=now - COUNTED_FOR).order_by()
    forecasts = Forecast.objects.aggregate(oldest=Min("computed_at"))["oldest"]
    return Wellbeing(
        loops=Heartbeat.objects.ages(now=now),
        oldest_waiting=seconds_since(waiting, now),
        overdue=count_overdue_messages(now=now),
        needing_a_person=Message.objects.needing_a_person().count(),
        messages=dict(counted.values_list("state").annotate(found=Count("pk"))),
        forecast_age=seconds_since(forecasts, now),
        made_backup_age=seconds_since(made.started_at if made else None, now),
        proven_backup_age=seconds_since(proven.proven_at if proven else None, now),
        is_backup_old=proven is None or proven.is_proof_old(now=now),
        files_missing=say_missing_files(made.missing_count, made.missing_example) if made else "",
        weather_refused=ExpectedWeather.objects.newest_refusal(),
    )


def count_overdue_messages(*, now: datetime) -> int:
    return Message.objects.waiting_since(now - LATE_MESSAGE).count()


def silent_loops(ages: Mapping[str, float]) -> dict[str, float]:
    """Of these loops those that have not shown themselves for five minutes."""
    limit = STALE_LOOP.total_seconds()
    return {name: age for name, age in ages.items() if age > limit}


def seconds_since(moment: datetime | None, now: datetime) -> float | None:
    return None if moment is None else max((now - moment).total_seconds(), 0.0)


def find_troubles(seen: Wellbeing) -> Iterator[Trouble]:
    """The worst first."""
    if not seen.loops:
        yield Trouble(
            "The part that works in the background never ran.", "Start it: docs/server.md."
        )
    for name, age in silent_loops(seen.loops).items():
        yield Trouble(
            f"The background loop “{name}” has been silent for {duration_words(age)}.",
            "Start the program again.",
        )
    if seen.overdue:
        yield Trouble(
            f"{message_words(seen.overdue)} should have gone out a quarter of an hour ago.",
            "Look in the outbox: it says what holds them up.",
        )
    if seen.needing_a_person:
        yield Trouble(
            f"Of {message_words(seen.needing_a_person)} nobody knows whether they arrived.",
            "Decide on each in the outbox.",
        )
    if seen.forecast_age and seen.forecast_age > OLD_FORECASTS.total_seconds():
        yield Trouble(
            f"Forecasts are {duration_words(seen.forecast_age)} old.",
            "They are written each night; the log says why not.",
        )
    if seen.weather_refused:
        yield Trouble(
            f"The weather service told us nothing. {seen.weather_refused}",
            "Look at its address under Settings, The business, Advanced. It is asked again each"
            " hour.",
        )
    yield from backup_troubles(seen)


def backup_troubles(seen: Wellbeing) -> Iterator[Trouble]:
    if seen.files_missing:
        yield Trouble(
            seen.files_missing,
            "Look whether the program still has the right folder or bucket of photographs.",
        )
    if seen.is_backup_old and settings.MODE != "demo":
        yield Trouble(
            "No backup of the last eight days is proven.", "Back up now, and look here again."
        )


def message_words(count: int) -> str:
    return "1 message" if count == 1 else f"{count:,} messages"


def duration_words(seconds: float) -> str:
    """“7 minutes”, “3 hours”, “2 days”: whole ones, of the largest that has two or more."""
    for length, words in ((86_400, "days"), (3_600, "hours")):
        if seconds >= 2 * length:
            return f"{seconds // length:.0f} {words}"
    return f"{seconds // 60:.0f} minutes"
