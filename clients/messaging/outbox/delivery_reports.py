"""What the gateway reports about a message afterwards, by itself or when it is asked.

States only ever move towards what is known better: delivered never goes back, and nothing here
sends anything.
"""

from datetime import datetime, timedelta
from typing import Any

from django.core.cache import cache
from django.db.models.functions import Coalesce, Now

from clients.messaging.channels import text
from clients.messaging.models import Message, TextGateway
from clients.messaging.models.message import MessageQuerySet, State
from clients.messaging.outbox.transitions import Transition, apply_transition

REPORT_DELIVERED = "delivered"
REPORT_FAILED = "failed"
REPORT_ACCEPTED = "accepted"
REPORT_UNKNOWN = "none"
REPORT_NOTES = {
    REPORT_DELIVERED: "The gateway reports that it arrived.",
    REPORT_FAILED: "The gateway reports that it could not be delivered.",
    REPORT_ACCEPTED: "The gateway reports that it has it.",
    REPORT_UNKNOWN: "The gateway does not know it: it did not go out.",
}
REPORT_TRANSITIONS = {
    REPORT_DELIVERED: Transition.REPORT_ARRIVAL,
    REPORT_ACCEPTED: Transition.REPORT_RECEIPT,
    REPORT_FAILED: Transition.REPORT_FAILURE,
    REPORT_UNKNOWN: Transition.REPORT_ABSENCE,
}
TAKEN_STATES = {State.ACCEPTED, State.DELIVERED}
SETTLING_TIME = timedelta(
    minutes=15
)  # a gateway may still be busy with a request whose answer was lost
QUERY_PERIOD = timedelta(days=3)
QUERY_PAUSE_SECONDS = {State.UNCONFIRMED: 300, State.ACCEPTED: 3600}


def apply_delivery_report(
    *, message: Message, report: str, note: str = "", is_current: bool = True
) -> bool:
    """Move the message as far as the report proves something. `is_current` is False for one about
    an earlier sending, which can prove that it arrived, but not that the later one failed. False if
    it changed nothing.
    """
    if report not in REPORT_TRANSITIONS or (
        report in {REPORT_FAILED, REPORT_UNKNOWN} and not is_current
    ):
        return False
    words = " ".join(filter(None, [REPORT_NOTES[report], note]))[:500]
    row = Message.objects.filter(pk=message.pk)
    return apply_report(row, REPORT_TRANSITIONS[report], words)


def apply_report(
    row: MessageQuerySet, transition: Transition, words: str, at: datetime | None = None
) -> bool:
    """What somebody else knows of a message. Whoever has it has had it since the first that we
    heard of that."""
    changes: dict[str, Any] = (
        {"accepted_at": Coalesce("accepted_at", Now())} if transition.end in TAKEN_STATES else {}
    )
    return bool(apply_transition(row, transition, note=words, at=at, reply=words, **changes))


def query_gateway(*, message: Message, now: datetime) -> str:
    """Ask the gateway what became of a text message, and say what it answered."""
    gateway = TextGateway.current()
    if gateway is None or not gateway.look_up_url:
        return "The gateway cannot be asked."
    report = text.look_up_state(gateway, message)
    if report == REPORT_UNKNOWN and not has_settled(message, now):
        return "The gateway does not know it yet. Ask again in a quarter of an hour."
    apply_delivery_report(message=message, report=report)
    return REPORT_NOTES.get(
        report, "The gateway gave no answer that says anything. Ask again later."
    )


def has_settled(message: Message, now: datetime) -> bool:
    last = message.events.order_by("-id").first()
    return last is not None and last.at <= now - SETTLING_TIME


def query_gateway_again(*, message: Message, now: datetime) -> None:
    """The same about a message that nobody looks at: at most once in five minutes on all hosts,
    once an hour about one that it took."""
    pause = QUERY_PAUSE_SECONDS[State(message.state)]
    if cache.add(f"asked/{message.pk}/{message.state}", True, pause):
        query_gateway(message=message, now=now)
