"""Telling the clients of a trace, each once."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from django.db import transaction

from clients import display
from clients.messaging import outbox, texts
from clients.messaging.models import Message, MessageText
from clients.messaging.reach import Route
from clients.messaging.unsendable import Unsendable
from clients.models import Business, User
from jobs.tracing import ProductTrace, RecallCandidate, plan_recall, recall_fields, recall_key


@dataclass(frozen=True)
class RecallRequest:
    """Whom to tell what: client → the chosen way, and the words in each language."""

    trace: ProductTrace
    channels: Mapping[int, str]
    notices: Mapping[str, str]


@dataclass
class RecallResult:
    """What was queued, to whom the same was said before, and who was left out and why."""

    queued: list[Message] = field(default_factory=list)
    told_before: list[Message] = field(default_factory=list)
    left_out: list[tuple[str, str]] = field(default_factory=list)


@transaction.atomic
def send_recall(*, asked: RecallRequest, by: User | None, now: datetime) -> RecallResult:
    """Queue a service message to each chosen client of the trace; whoever is not of it is never
    told."""
    business = Business.objects.get()
    result = RecallResult()
    for candidate in plan_recall(asked.trace, on=business.today(now)).candidates:
        channel = asked.channels.get(candidate.client.pk)
        if not channel:
            continue
        route = next((each for each in candidate.routes if each.channel == channel), None)
        if route is None:
            why = candidate.why_not or "This way is not possible any more."
            result.left_out.append((candidate.client.name, why))
            continue
        try:
            with transaction.atomic():
                message, is_new = queue_recall(asked, candidate, route, by, now)
        except Unsendable as problem:
            result.left_out.append((candidate.client.name, str(problem)))
        else:
            (result.queued if is_new else result.told_before).append(message)
    return result


def queue_recall(
    asked: RecallRequest, candidate: RecallCandidate, route: Route, by: User | None, now: datetime
) -> tuple[Message, bool]:
    client = candidate.client
    notice = asked.notices[candidate.language]
    with display.in_client_language(client.language):
        fields = recall_fields(candidate, notice)
    outgoing = outbox.OutgoingMessage(
        client=client,
        kind=Message.Kind.SERVICE,
        channel=route.channel,
        address=route.address,
        basis=route.permission.basis,
        key=recall_key(asked.trace, candidate, notice),
        written=texts.compose_text(
            purpose=MessageText.Purpose.RECALL,
            channel=route.channel,
            language=client.language,
            fields=fields,
        ),
    )
    return outbox.queue_message(outgoing=outgoing, now=now, by=by)
