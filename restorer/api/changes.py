"""Which rows changed since a moment: what is newer, and what the trail of changes names."""

from datetime import datetime
from typing import Any

from auditlog.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db.models import BigIntegerField, Model, Q, QuerySet
from django.db.models.fields.json import KT
from django.db.models.functions import Cast

from clients.models import Client, ClientMerge, ContactPoint, Deck, DeckMerge, Erasure, Property
from jobs.models import CoatApplied, Job, Product, Visit, WorkedHours


def trail_since(model: type[Model], since: datetime) -> "QuerySet[LogEntry]":
    """Entries of the trail about rows of that kind."""
    kind = ContentType.objects.get_for_model(model)
    rows: QuerySet[LogEntry] = LogEntry.objects.filter(content_type=kind, timestamp__gte=since)
    return rows.order_by()


def touched_since(model: type[Model], since: datetime, *, path: str = "pk") -> Q:
    """Rows from which `path` leads to a row of that kind that was added or changed."""
    return Q(**{f"{path}__in": trail_since(model, since).values("object_id")})


def owners_of_removed(model: type[Model], pointer: str, since: datetime) -> Any:
    """The numbers of what rows that are gone pointed at by that field."""
    gone = trail_since(model, since).filter(action=LogEntry.Action.DELETE)
    named = gone.annotate(was=KT(f"changes__{pointer}__0")).filter(was__regex=r"^[0-9]{1,18}$")
    return named.values_list(Cast("was", BigIntegerField()), flat=True)


def changed_clients(since: datetime) -> Q:
    """Added, changed, merged or erased; ways to reach them too."""
    merged = ClientMerge.objects.filter(Q(at__gte=since) | Q(undone_at__gte=since))
    return (
        Q(created_at__gte=since)
        | touched_since(Client, since)
        | touched_since(ContactPoint, since, path="contact_points")
        | Q(pk__in=owners_of_removed(ContactPoint, "client", since))
        | Q(pk__in=Erasure.objects.filter(at__gte=since).values("client_number"))
        | Q(pk__in=merged.values("kept"))
        | Q(pk__in=merged.values("away"))
    )


def changed_sites(since: datetime) -> Q:
    return Q(created_at__gte=since) | touched_since(Property, since)


def changed_decks(since: datetime) -> Q:
    merged = DeckMerge.objects.filter(Q(at__gte=since) | Q(undone_at__gte=since))
    return (
        Q(created_at__gte=since)
        | touched_since(Deck, since)
        | Q(pk__in=merged.values("kept"))
        | Q(pk__in=merged.values("away"))
    )


def changed_jobs(since: datetime) -> Q:
    """What was found and what went on belong to a job."""
    return (
        Q(created_at__gte=since)
        | touched_since(Job, since)
        | touched_since(Visit, since, path="visit")
        | touched_since(CoatApplied, since, path="coats_applied")
        | touched_since(WorkedHours, since, path="hours_worked")
        | Q(pk__in=owners_of_removed(CoatApplied, "job", since))
        | Q(pk__in=owners_of_removed(WorkedHours, "job", since))
    )


def changed_checks(since: datetime) -> Q:
    return Q(created_at__gte=since) | touched_since(Visit, since)


def changed_products(since: datetime) -> Q:
    return touched_since(Product, since)


def changed_offers(since: datetime) -> Q:
    """Drafted, sent, answered, or anything else that their history holds."""
    return Q(created_at__gte=since) | Q(events__at__gte=since)
