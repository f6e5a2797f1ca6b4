"""What happened in the book, noted for each address that wants to hear of it, in the transaction in
which it happened. Numbers only: who may read more asks the API."""

import json
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from django.dispatch import receiver

from clients.events import job_logged, offer_answered
from clients.models import Business
from jobs.models import Job, Offer
from reminders.models import Forecast
from restorer.models import Webhook, WebhookPost

Kind = Webhook.Kind
DUE_SINCE = timedelta(days=7)  # a worker that stood still for longer leaves older ones out
TRIAL = "test"


def announce(kind: str, key: str, data: Mapping[str, Any], *, now: datetime) -> int:
    """For how many addresses; the same key again changes nothing."""
    rows = [new_post(hook, kind, key, data, now=now) for hook in Webhook.objects.told_of(kind)]
    return len(WebhookPost.objects.bulk_create(rows, ignore_conflicts=True))


def new_post(
    hook: Webhook, kind: str, key: str, data: Mapping[str, Any], *, now: datetime
) -> WebhookPost:
    body = {"type": kind, "timestamp": now.isoformat(), "data": data}
    return WebhookPost(
        hook=hook, kind=kind, key=key, body=json.dumps(body), made_at=now, not_before=now
    )


@receiver(job_logged)
def announce_job(*, job_id: int, now: datetime, **_signal: object) -> None:
    job = Job.objects.select_related("deck__site").get(pk=job_id)
    data = {"job_id": job.pk, "deck_id": job.deck_id, "client_id": job.deck.site.client_id}
    announce(Kind.JOB_LOGGED, f"job/{job.pk}", data, now=now)


@receiver(offer_answered)
def announce_answer(*, offer_id: int, now: datetime, **_signal: object) -> None:
    offer = Offer.objects.get(pk=offer_id)
    data = {"offer_id": offer.pk, "client_id": offer.client_id, "state": offer.state}
    announce(Kind.OFFER_ANSWERED, f"offer/{offer.pk}/{offer.state}", data, now=now)


def announce_due_decks(*, now: datetime) -> int:
    """Each coat of a deck once, on the day on which it is due; how many posts there are of decks
    that became due of late, those of the nights before too."""
    business = Business.current()
    hooks = list(Webhook.objects.told_of(Kind.DECK_DUE))
    if business is None or not hooks:
        return 0
    today = business.today(now)
    due = Forecast.objects.filter(
        due_on__lte=today,
        due_on__gt=today - DUE_SINCE,
        deck__archived_at=None,
        deck__site__client__archived_at=None,
    )
    columns = ("deck_id", "job_id", "due_on", "deck__site__client_id")
    rows = [
        new_post(
            hook,
            Kind.DECK_DUE,
            f"due/{deck}/{job}",
            {"deck_id": deck, "client_id": client, "due_on": due_on.isoformat()},
            now=now,
        )
        for deck, job, due_on, client in due.values_list(*columns).iterator()
        for hook in hooks
    ]
    WebhookPost.objects.bulk_create(rows, ignore_conflicts=True, batch_size=500)
    return len(rows)


def send_trial_post(*, hook: Webhook, now: datetime) -> WebhookPost:
    """A post that says nothing, so that somebody sees whether it arrives."""
    post = new_post(hook, TRIAL, f"{TRIAL}/{now.timestamp()}", {}, now=now)
    post.save()
    return post
