"""Posting what waits: leased, tried ever more rarely, set aside with a reason, as the outbox does.

Unlike a message to a client a lost answer is tried again: each post carries its own number
(`webhook-id`), by which the other side knows it again.
"""

import logging
import ssl
import time
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from urllib.parse import urlsplit

import httpcore
from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.db.models.functions import Now

from clients.messaging import outbox
from clients.models import Business
from clients.outward import OutwardBackend
from clients.sealing import SealError
from restorer.models import Webhook, WebhookAttempt, WebhookPost
from restorer.webhooks.signing import signed_headers

State = WebhookPost.State
LEASE = timedelta(minutes=2)
CONNECT_SECONDS, ANSWER_SECONDS = 5.0, 15.0
BATCH = 20
GONE = 410  # the specification: the address is to be left alone
MAX_REPLY = 300
logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class PostOutcome:
    """What one try came to; without a status nobody answered."""

    status: int | None
    reply: str

    @property
    def is_taken(self) -> bool:
        return self.status is not None and 200 <= self.status < 300


def post_webhooks(*, deadline_seconds: float = 40.0) -> int:
    """Everything that is due, for so long; how many were taken. An address that fails once waits
    with all that it is to hear, so that it keeps no other from its turn."""
    business = Business.current()
    if business is None or business.sends_nothing:
        return 0
    ends = time.monotonic() + deadline_seconds
    taken, failing = 0, set[int]()
    while time.monotonic() < ends:
        batch = claim_posts(failing)
        if not batch:
            break
        left = []
        for post in batch:
            if time.monotonic() >= ends or post.hook_id in failing:
                left.append(post)
                continue
            outcome = try_post(post)
            record_try(post, outcome)
            taken += outcome.is_taken
            if not outcome.is_taken:
                failing.add(post.hook_id)
        give_back(left)
    return taken


@transaction.atomic
def claim_posts(left_out: set[int]) -> list[WebhookPost]:
    """Those whose time has come, and those whose sender died; nobody else gets them while the
    lease lasts."""
    due = Q(state=State.WAITING, not_before__lte=Now()) | Q(
        state=State.POSTING, lease_until__lt=Now()
    )
    rows = WebhookPost.objects.filter(due, hook__is_on=True).exclude(hook__in=left_out)
    rows = rows.order_by("not_before", "id")
    locked = list(rows.select_for_update(of=("self",), skip_locked=True)[:BATCH])
    token = uuid.uuid4()
    WebhookPost.objects.filter(pk__in=[each.pk for each in locked]).update(
        state=State.POSTING, lease_token=token, lease_until=Now() + LEASE
    )
    for each in locked:
        each.lease_token = token
    return locked


def leased(posts: Sequence[WebhookPost]) -> Q:
    return Q(pk__in=[each.pk for each in posts], lease_token__in=[p.lease_token for p in posts])


def give_back(posts: Sequence[WebhookPost]) -> None:
    WebhookPost.objects.filter(leased(posts)).update(
        state=State.WAITING, lease_token=None, lease_until=None
    )


def try_post(post: WebhookPost) -> PostOutcome:
    """One request to the address as it is now; no redirect is followed."""
    hook = Webhook.objects.get(pk=post.hook_id)
    body = post.body.encode()
    try:
        headers = signed_headers(
            secret=hook.secret,
            message_id=f"msg_{post.event_id.hex}",
            timestamp=int(time.time()),
            body=body,
        )
        return send_request(hook.url, headers, body)
    except SealError as error:
        return PostOutcome(None, str(error))


def send_request(url: str, headers: dict[str, str], body: bytes) -> PostOutcome:
    networks = settings.WEBHOOK_NETWORKS
    if urlsplit(url).scheme != "https" and not networks:
        return PostOutcome(None, "The address does not begin with https://.")
    wait = {"connect": CONNECT_SECONDS, "read": ANSWER_SECONDS, "write": ANSWER_SECONDS}
    said = headers | {"Content-Type": "application/json", "User-Agent": "deck-care"}
    try:
        with (
            httpcore.ConnectionPool(
                ssl_context=ssl.create_default_context(),
                network_backend=OutwardBackend(networks),
            ) as pool,
            pool.stream(
                "POST", url, headers=list(said.items()), content=body, extensions={"timeout": wait}
            ) as answer,
        ):
            return PostOutcome(answer.status, status_words(answer.status))
    except (httpcore.NetworkError, httpcore.TimeoutException, httpcore.ProtocolError) as error:
        return PostOutcome(None, (str(error) or type(error).__name__)[:MAX_REPLY])
    except (OSError, ValueError, httpcore.UnsupportedProtocol) as error:
        return PostOutcome(None, str(error)[:MAX_REPLY])


def status_words(status: int) -> str:
    if 300 <= status < 400:
        return f"{status}: it leads elsewhere, and we do not follow. Enter the address itself."
    return f"{status}: it is gone." if status == GONE else str(status)


@transaction.atomic
def record_try(post: WebhookPost, outcome: PostOutcome) -> None:
    """The try and what follows from it, unless the lease has run out meanwhile."""
    WebhookAttempt.objects.create(post=post, status=outcome.status, reply=outcome.reply)
    attempts = post.attempts + 1
    values = {
        "attempts": attempts,
        "reply": outcome.reply,
        "lease_token": None,
        "lease_until": None,
    }
    rows = WebhookPost.objects.filter(leased([post]))
    if outcome.is_taken:
        rows.update(state=State.TAKEN, done_at=Now(), **values)
    elif outcome.status == GONE:
        rows.update(state=State.SET_ASIDE, done_at=Now(), **values)
        why = "It answered 410: this address is to be left alone."
        Webhook.objects.filter(pk=post.hook_id).update(is_on=False, why_off=why)
    elif attempts >= outbox.MAX_ATTEMPTS:
        values["reply"] = f"Given up after {attempts} tries. {outcome.reply}"[:MAX_REPLY]
        rows.update(state=State.SET_ASIDE, done_at=Now(), **values)
    else:
        pause = outbox.retry_pause(attempts)
        rows.update(state=State.WAITING, not_before=Now() + pause, **values)
    if not outcome.is_taken:
        logger.info("Webhook %s: %s", post.hook_id, outcome.reply)


@transaction.atomic
def post_again(*, post: WebhookPost, now: datetime) -> bool:
    """What was set aside gets all its tries once more; whether it was."""
    rows = WebhookPost.objects.filter(pk=post.pk, state=State.SET_ASIDE)
    values = {"state": State.WAITING, "attempts": 0, "not_before": now, "done_at": None}
    return bool(rows.update(**values))


def forget_old_posts(*, now: datetime) -> int:
    """What was taken, or set aside, more than a month ago."""
    return WebhookPost.objects.filter(done_at__lt=now - timedelta(days=30)).delete()[0]
