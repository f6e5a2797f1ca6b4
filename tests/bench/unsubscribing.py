"""How long a click on the link in a message waits, with one request after the other through the
whole program."""

from datetime import datetime
from functools import partial

from django.test import Client as Browser
from django.urls import reverse

from clients.messaging import message_keys
from clients.messaging.models import Message, Suppression
from clients.models import Business
from tests.bench import sending
from tests.bench.timing import elapsed_seconds, percentile

CLICKS = 200
FEW = 500
WARM = 20
ONE_CLICK = {"List-Unsubscribe": "One-Click"}  # the body of RFC 8058, 3.2


def measure_unsubscribe(messages: int, now: datetime) -> dict[str, float]:
    """Beside so many messages in the outbox, and before that beside a few:
    the answer must not wait for the others."""
    sending.queue_bench_messages(FEW, now)
    time_clicks(WARM)
    few = time_clicks(CLICKS)
    sending.queue_bench_messages(max(CLICKS, messages - FEW), now)
    many = time_clicks(CLICKS)
    return {
        "clicks": float(len(many)),
        "p50_ms": percentile(many, 0.5) * 1000,
        "p95_ms": percentile(many, 0.95) * 1000,
        "times_few_waiting": percentile(many, 0.5) / percentile(few, 0.5),
    }


def time_clicks(count: int) -> list[float]:
    """Seconds of each; each suppresses, withdraws and cancels in one transaction."""
    business = Business.objects.get()
    some = Message.objects.filter(idempotency_key__startswith="bench/", state="queued").order_by(
        "-pk"
    )[:count]
    tokens = [message_keys.unsubscribe_token(business, message.idempotency_key) for message in some]
    before = Suppression.objects.count()
    took = [elapsed_seconds(partial(click_unsubscribe, token)) for token in tokens]
    if Suppression.objects.count() != before + len(tokens):
        raise RuntimeError("Not each click has suppressed an address.")
    return took


def click_unsubscribe(token: str) -> None:
    address = reverse("unsubscribe", args=[token])
    answer = Browser(enforce_csrf_checks=True, headers={"host": "127.0.0.1"}).post(
        address, ONE_CLICK, secure=True
    )
    if answer.status_code != 200:
        raise RuntimeError(f"The answer was {answer.status_code}.")
