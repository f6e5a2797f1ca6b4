"""The doubles of a large book, kept from when it was looked through last: that takes longer than
somebody waits for a page, so the worker does it. What a person decides since shows at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.core.cache import cache
from django.utils import timezone
from django_q.tasks import async_task

from clients.doubles.finding import LikelyPair, likely_pairs, told_apart
from clients.models import Client

LARGE_BOOK_CLIENTS = 5_000
KEPT_KEY = "doubles/pairs"
ASKED_KEY = "doubles/asked"
KEPT_SECONDS = 90 * 86_400
ASK_AGAIN_SECONDS = 600  # unless the worker has answered by then
FRESH = timedelta(hours=1)
LOOK_THROUGH = "clients.doubles.look_through_book"


@dataclass(frozen=True)
class KeptPairs:
    """What was found, and when; `at` is None while nobody has looked yet."""

    pairs: Sequence[LikelyPair]
    at: datetime | None


def is_large_client_list() -> bool:
    return Client.objects.count() > LARGE_BOOK_CLIENTS


def look_through_book() -> str:
    """The worker: find them, and keep what was found."""
    pairs = likely_pairs()
    # plain values: what is kept outlives a release, and its classes may not
    cache.set(KEPT_KEY, (pairs, timezone.now()), KEPT_SECONDS)
    cache.delete(ASKED_KEY)
    return f"{len(pairs)} likely doubles"


def kept_pairs(*, now: datetime) -> KeptPairs:
    """What still is to be decided of what was found last. The worker is asked to look again if that
    was a while ago."""
    pairs, at = cache.get(KEPT_KEY) or ([], None)
    if (at is None or now - at > FRESH) and cache.add(ASKED_KEY, now, ASK_AGAIN_SECONDS):
        async_task(LOOK_THROUGH)
    apart = told_apart()
    archived = set(Client.objects.exclude(archived_at=None).order_by().values_list("pk", flat=True))
    left = [
        (score, one, other)
        for score, one, other in pairs
        if one not in archived and other not in archived and (one, other) not in apart
    ]
    return KeptPairs(left, at)
