"""What to tell the client when the work is done:
when to walk on the deck, and when the furniture may come back."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from jobs.models import Job

# Common practice, no source: 24 hours before walking, 5 days before furniture. A data sheet
# overrides them.
DEFAULT_WALK_HOURS = Decimal(24)
DEFAULT_FURNITURE_DAYS = Decimal(5)


@dataclass(frozen=True)
class CareNote:
    """Both moments in the local time of the property.

    They are known to the hour only if the job was logged on the day; `is_from_data_sheet`: no
    default was used.
    """

    walk_at: datetime
    furniture_at: datetime
    is_to_the_hour: bool
    is_from_data_sheet: bool


def care_note(job: Job) -> CareNote | None:
    """From the slowest finish of the job (needs coats with products at hand); a finish that nobody
    knows by name takes the usual times. None if no finish went on, or nobody knows the day."""
    finishes = [coat.product for coat in job.coats_applied.all() if coat.is_finish]
    if not finishes or job.finished_from:
        return None
    zone = job.deck.site.zone
    sheet_hours = [product.walk_hours if product else None for product in finishes]
    sheet_days = [product.furniture_days if product else None for product in finishes]
    walk = max(DEFAULT_WALK_HOURS if hours is None else hours for hours in sheet_hours)
    days = max(DEFAULT_FURNITURE_DAYS if each is None else each for each in sheet_days)
    start, is_to_the_hour = finishing_time(job, zone)
    is_known = None not in [*sheet_hours, *sheet_days]
    return CareNote(
        add_elapsed_hours(start, hours=walk),
        add_elapsed_hours(start, hours=days * 24),
        is_to_the_hour,
        is_known,
    )


def finishing_time(job: Job, zone: ZoneInfo) -> tuple[datetime, bool]:
    """The moment of logging if that was the same day on site (True), else the end of that day:
    rather too late."""
    logged_at = job.created_at.astimezone(zone)
    if logged_at.date() == job.finished_on:
        return logged_at, True
    return datetime.combine(job.finished_on + timedelta(days=1), time(), tzinfo=zone), False


def add_elapsed_hours(start: datetime, *, hours: Decimal) -> datetime:
    """Hours that pass, not hours of the clock: a coat does not know about summer time."""
    zone = start.tzinfo
    return (start.astimezone(UTC) + timedelta(hours=float(hours))).astimezone(zone)
