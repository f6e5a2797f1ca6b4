"""The signs of life of background loops:
that a process exists does not prove that it works (docs/operations.md)."""

from datetime import datetime, timedelta

from django.db.models.functions import Now

from clients.models import Heartbeat

STALE_AFTER = timedelta(minutes=5)


def record_heartbeat(name: str) -> None:
    """This loop has just done its round, by the database's clock."""
    Heartbeat.objects.update_or_create(name=name, defaults={"beat_at": Now()})


def remove_heartbeat(name: str) -> None:
    """This loop ends on purpose; nobody need miss it."""
    Heartbeat.objects.filter(name=name).delete()


def heartbeat_ages(*, now: datetime) -> dict[str, float]:
    """Seconds since each loop last beat."""
    return {
        row.name: max((now - row.beat_at).total_seconds(), 0.0)
        for row in Heartbeat.objects.order_by("name")
    }
