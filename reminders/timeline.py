"""Everything that ever happened on a deck, newest first, in a fixed number of queries however long
the history."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any

from django.db.models import Prefetch, Q
from django.utils import timezone

from clients.messaging.models import Message
from clients.models import Deck
from jobs.models import CoatApplied, Job, Photo, Visit

# On one day: what was found, then the work, then photographs of it, then what was said.
ORDER_WITHIN_DAY = {"visit": 0, "job": 1, "photo": 2, "message": 3}


@dataclass(frozen=True)
class TimelineEntry:
    """One thing that happened; `kind` is visit, job, photo or message and `row` the row of it."""

    on: date
    kind: str
    row: Any


@dataclass(frozen=True)
class TimelineYear:
    """The entries of one year, newest first."""

    year: int
    entries: list[TimelineEntry]


def deck_timeline(deck: Deck) -> list[TimelineYear]:
    """The whole history by year."""
    entries = [
        *job_entries(deck),
        *visit_entries(deck),
        *photo_entries(deck),
        *message_entries(deck),
    ]
    entries.sort(
        key=lambda entry: (entry.on, ORDER_WITHIN_DAY[entry.kind], entry.row.pk), reverse=True
    )
    return [
        TimelineYear(year, list(members))
        for year, members in groupby(entries, key=lambda entry: entry.on.year)
    ]


def job_entries(deck: Deck) -> Iterator[TimelineEntry]:
    """Jobs with what went on and the photographs taken on them."""
    coats = CoatApplied.objects.select_related("product", "batch").order_by("position")
    jobs = Job.objects.filter(deck=deck).prefetch_related(
        Prefetch("coats_applied", coats), "photos"
    )
    for job in jobs:
        job.deck = deck  # its property tells the season of a day that is not known
        yield TimelineEntry(job.finished_on, "job", job)


def visit_entries(deck: Deck) -> Iterator[TimelineEntry]:
    return (
        TimelineEntry(visit.visited_on, "visit", visit) for visit in Visit.objects.filter(deck=deck)
    )


def photo_entries(deck: Deck) -> Iterator[TimelineEntry]:
    """Photographs that belong to no job; the others stand with theirs."""
    return (
        TimelineEntry(photo.taken_on, "photo", photo)
        for photo in Photo.objects.filter(deck=deck, job=None)
    )


def message_entries(deck: Deck) -> Iterator[TimelineEntry]:
    """What was said to the client about this deck, or about no deck in particular."""
    about = Q(reminders__deck=deck) | Q(reminders=None)
    said = Message.objects.filter(about, client=deck.site.client_id).distinct()
    shown = said.only("channel", "kind", "state", "subject", "queued_at", "accepted_at", "address")
    return (
        TimelineEntry(timezone.localdate(message.queued_at), "message", message)
        for message in shown
    )
