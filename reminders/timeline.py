"""Everything that ever happened on a deck, or with a client, newest first, in a fixed number of
queries however long the history."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from django.db.models import Prefetch, Q, QuerySet
from django.utils import timezone

from clients.messaging.models import Message
from clients.models import Client, Deck
from jobs.models import Booking, CoatApplied, Job, Offer, Photo, Visit

# On one day: what was found, then the work, then photographs of it, then what was said and agreed.
ORDER_WITHIN_DAY = {"visit": 0, "job": 1, "photo": 2, "message": 3, "offer": 4, "booking": 5}
# What the history of a client is filtered by; each of them a part of it.
TIMELINE_PARTS = {
    "jobs": ("job", "photo"),
    "checks": ("visit",),
    "messages": ("message",),
    "offers": ("offer",),
    "bookings": ("booking",),
}


@dataclass(frozen=True)
class TimelineEntry:
    """One thing that happened; `kind` is a key of ORDER_WITHIN_DAY and `row` the row of it."""

    on: date
    kind: str
    row: Any


@dataclass(frozen=True)
class TimelineYear:
    """The entries of one year, newest first."""

    year: int
    entries: list[TimelineEntry]


def deck_timeline(deck: Deck, *, has_loose_photos: bool = True) -> list[TimelineYear]:
    """The whole history of a deck by year; it comes `with_history`. Photographs that belong to no
    job are asked for unless it is known that there are none."""
    about = Q(reminders__deck=deck) | Q(reminders=None)
    entries = [
        *job_entries(deck.jobs.all()),
        *visit_entries(deck.visits.all()),
        *(photo_entries([deck.pk]) if has_loose_photos else ()),
        *message_entries(Message.objects.filter(about, client=deck.site.client_id).distinct()),
    ]
    return entries_by_year(entries)


def client_timeline(
    client: Client, *, part: str = "", with_messages: bool = True, limit: int
) -> tuple[list[TimelineYear], int]:
    """The history of all decks of a client with messages, offers and visits, or one part of it:
    the newest entries, and how many there are."""
    decks = list(Deck.objects.filter(site__client=client).values_list("pk", flat=True))
    kinds = TIMELINE_PARTS.get(part) or tuple(ORDER_WITHIN_DAY)
    entries: list[TimelineEntry] = []
    if "job" in kinds:
        told = told_jobs().filter(deck__in=decks).select_related("deck__site")
        entries += job_entries(told)
    if "photo" in kinds:
        entries += photo_entries(decks)
    if "visit" in kinds:
        entries += visit_entries(Visit.objects.filter(deck__in=decks).select_related("deck"))
    if "message" in kinds and with_messages:
        entries += message_entries(Message.objects.filter(client=client))
    if "offer" in kinds and with_messages:
        entries += offer_entries(client)
    if "booking" in kinds:
        entries += booking_entries(client)
    entries.sort(key=entry_order, reverse=True)
    return entries_by_year(entries[:limit]), len(entries)


def entry_order(entry: TimelineEntry) -> tuple[date, int, int]:
    return entry.on, ORDER_WITHIN_DAY[entry.kind], entry.row.pk


def entries_by_year(entries: Sequence[TimelineEntry]) -> list[TimelineYear]:
    ordered = sorted(entries, key=entry_order, reverse=True)
    return [
        TimelineYear(year, list(members))
        for year, members in groupby(ordered, key=lambda entry: entry.on.year)
    ]


def with_history(decks: QuerySet[Deck]) -> QuerySet[Deck]:
    """With the jobs and visits that `deck_timeline` tells, and their like, each read once."""
    return decks.prefetch_related(Prefetch("jobs", told_jobs()), "visits")


def told_jobs() -> QuerySet[Job]:
    """Jobs with what went on and the photographs taken on them."""
    coats = CoatApplied.objects.select_related("product", "batch").order_by("position")
    return Job.objects.prefetch_related(Prefetch("coats_applied", coats), "photos")


def job_entries(jobs: Iterable[Job]) -> Iterator[TimelineEntry]:
    return (TimelineEntry(job.finished_on, "job", job) for job in jobs)


def visit_entries(visits: Iterable[Visit]) -> Iterator[TimelineEntry]:
    return (TimelineEntry(visit.visited_on, "visit", visit) for visit in visits)


def photo_entries(deck_ids: Collection[int]) -> Iterator[TimelineEntry]:
    """Photographs that belong to no job; the others stand with theirs."""
    photos = Photo.objects.filter(deck__in=deck_ids, job=None).select_related("deck")
    return (TimelineEntry(photo.taken_on, "photo", photo) for photo in photos)


def message_entries(messages: Any) -> Iterator[TimelineEntry]:
    """What was said; the texts stay in the database."""
    shown = messages.only(
        "channel", "kind", "state", "subject", "queued_at", "accepted_at", "address"
    )
    return (
        TimelineEntry(timezone.localdate(message.queued_at), "message", message)
        for message in shown
    )


def offer_entries(client: Client) -> Iterator[TimelineEntry]:
    """Offers on the day of their last answer, else on the day they were sent or drafted."""
    rows = Offer.objects.filter(client=client).exclude(state=Offer.State.REPLACED)
    return (
        TimelineEntry(offer_day(offer), "offer", offer)
        for offer in rows.defer("introduction", "waiting")
    )


def offer_day(offer: Offer) -> date:
    at = offer.answered_at or offer.sent_at
    return timezone.localdate(at) if at else offer.drafted_on


def booking_entries(client: Client) -> Iterator[TimelineEntry]:
    """Visits that are booked, held or were called off; those that were done stand with their
    jobs."""
    rows = Booking.objects.filter(client=client).exclude(state=Booking.State.DONE)
    return (
        TimelineEntry(booking.first_on, "booking", booking)
        for booking in rows.select_related("site", "crew")
    )
