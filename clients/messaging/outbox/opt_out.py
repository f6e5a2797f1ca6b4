"""Hearing no more: by the link in a message (RFC 8058), by a word sent back, by word of mouth.
At once, for good."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import F, Q

from clients.events import clients_left
from clients.messaging import suppression
from clients.messaging.message_keys import token_hash
from clients.messaging.models import Consent, Message
from clients.messaging.models.message import MessageQuerySet
from clients.messaging.outbox import decisions
from clients.messaging.outbox.transitions import Transition
from clients.models import Business, Client, ContactPoint, User, traits_of

UNSUBSCRIBED_BY_LINK = "Unsubscribed by the link in a message."


@transaction.atomic
def unsubscribe_by_token(*, token: str, now: datetime) -> bool:
    """Suppress the address, withdraw consent and cancel what is queued for it, all or nothing.

    False if no message has this token; whoever asks gets the same answer either way.
    """
    message = (
        Message.objects.select_related("client").filter(unsubscribe_hash=token_hash(token)).first()
    )
    if message is None:
        return False
    evidence = f"Message {message.message_id}"
    opt_out_address(
        asked=OptOut.of_recipient(message, UNSUBSCRIBED_BY_LINK, evidence=evidence), now=now
    )
    return True


@dataclass(frozen=True)
class OptOut:
    """An address that wants to hear no more by its channel, the clients who have it, why (in words
    for the history), and what shows it."""

    channel: str
    address: str
    people: Sequence[Client]
    why: str
    evidence: str

    @classmethod
    def of_recipient(cls, message: Message, why: str, *, evidence: str) -> "OptOut":
        """Asked for by whoever got this message."""
        return cls(message.channel, message.address, [message.client], why, evidence)


@transaction.atomic
def opt_out_address(*, asked: OptOut, now: datetime, by: User | None = None) -> int:
    """Suppress, withdraw and cancel in one transaction, by one channel.
    How many messages were cancelled."""
    suppression.suppress_address(
        business=Business.objects.get(),
        channel=asked.channel,
        address=asked.address,
        reason=asked.why,
    )
    for client in asked.people:
        withdraw_consent(client, asked, now=now, by=by)
    client_ids = [client.pk for client in asked.people]
    clients_left.send(Client, client_ids=client_ids, words=asked.why, now=now)
    waiting = unsent_messages_for(asked.channel, asked.address, asked.people)
    return decisions.cancel_unsent(messages=waiting, why=asked.why, now=now, by=by)


def withdraw_consent(client: Client, asked: OptOut, *, now: datetime, by: User | None) -> None:
    """An entry of the consent log, unless the newest one is a withdrawal already."""
    newest = Consent.objects.filter(client=client, channel=asked.channel).first()
    if newest is None or newest.is_given:
        Consent.objects.create(
            client=client,
            channel=asked.channel,
            is_given=False,
            wording=asked.why,
            evidence=asked.evidence[:300],
            recorded_at=now,
            recorded_by=by,
        )


def unsent_messages_for(channel: str, address: str, people: Iterable[Client]) -> MessageQuerySet:
    """What has not gone out to this address or these clients by the same channel.

    Found by whose address it is, for the answer must not wait for a long queue: what waits for an
    address that is nobody's any more was cancelled with it, and a suppressed address is looked for
    once more before anything leaves. The state is no condition of the query: with old statistics
    the planner would walk through all that waits.
    """
    same = suppression.normalize_address(channel, address)
    own = {client.pk for client in people}
    rows = Message.objects.filter(client__in=own | client_ids_at(channel, address))
    waiting = [
        row
        for row in rows.only("client_id", "channel", "address", "state")
        if row.state in Transition.CANCEL.starts
    ]
    chosen = [
        row.pk
        for row in waiting
        if row.channel == channel
        and (row.client_id in own or suppression.normalize_address(channel, row.address) == same)
    ]
    return Message.objects.filter(pk__in=chosen)


def client_ids_at(channel: str, address: str) -> set[int]:
    """The clients who have this address or number;
    with letters, to whom something waits that bears it."""
    if traits_of(channel).is_by_post:
        waiting = Message.objects.filter(
            channel=channel, state__in=Transition.CANCEL.starts, address__iexact=address.strip()
        )
        return set(waiting.values_list("client_id", flat=True))
    points = ContactPoint.objects.filter(
        normalized__in=suppression.address_spellings(channel, address)
    )
    return set(points.values_list("client_id", flat=True))


def clients_at_number(number: str) -> list[Client]:
    """The clients with this telephone number (E.164), and whoever was last written to there;
    those put away last."""
    points = ContactPoint.objects.filter(normalized=number, kind__in=["mobile", "phone"])
    last = (
        Message.objects.through_gateway()
        .filter(address=number)
        .order_by("-id")
        .values("client_id")[:1]
    )
    rows = Client.objects.filter(Q(pk__in=points.values("client_id")) | Q(pk__in=last))
    return list(rows.order_by(F("archived_at").asc(nulls_first=True), "pk"))
