"""What to tell the client when the work is done:
when to walk on the deck, and when the furniture may come back."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from jobs.models import Job, Product

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
    """From the slowest finish of the job (needs coats with products at hand);
    None if no finish went on."""
    finishes = [
        coat.product for coat in job.coats_applied.all() if coat.product.kind == Product.Kind.FINISH
    ]
    if not finishes:
        return None
    zone = job.deck.site.zone
    walk = max(
        product.walk_hours if product.walk_hours is not None else DEFAULT_WALK_HOURS
        for product in finishes
    )
    days = max(
        product.furniture_days if product.furniture_days is not None else DEFAULT_FURNITURE_DAYS
        for product in finishes
    )
    start, is_to_the_hour = finishing_time(job, zone)
    is_known = all(
        product.walk_hours is not None and product.furniture_days is not None
        for product in finishes
    )
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
