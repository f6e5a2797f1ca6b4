"""What came in word for word has an end;
what it was, when, about which message and what was made of it stays."""

from datetime import datetime, time

from clients.messaging.law import add_months
from clients.messaging.models import InboundEvent
from clients.models import Business

ROWS_PER_STATEMENT = 5_000  # rows a statement: nobody who posts to us waits for long


def empty_raw_events(*, now: datetime) -> int:
    """Empty what is older than the months that the owner set, as far as it was processed.
    How many rows."""
    business = Business.current()
    if business is None:
        return 0
    day = add_months(business.today(now), -business.raw_months)
    before = datetime.combine(day, time(), tzinfo=business.zone)
    old = (
        InboundEvent.objects.filter(received_at__lt=before, processed_at__isnull=False)
        .exclude(raw="")
        .order_by("pk")
    )
    done = 0
    while some := list(old.values_list("pk", flat=True)[:ROWS_PER_STATEMENT]):
        done += InboundEvent.objects.filter(pk__in=some).update(raw="")
    return done
