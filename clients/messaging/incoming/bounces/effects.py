"""What follows from a mail that came back. States only move towards what is known better, and nothing is sent."""

from datetime import datetime
from typing import Any

from django.db.models import Q
from django.db.models.functions import Coalesce, Now

from clients.messaging import message_keys
from clients.messaging.incoming.bounces.reading import Report, Returned
from clients.messaging.models import InboundEvent, Message, ToDo
from clients.messaging.models.message import State
from clients.messaging.outbox import decisions, transitions, unsubscribing
from clients.messaging.suppression import normalize
from clients.models import Business, ContactPoint
from clients.models.channel import Channel

NOT_YET_TAKEN = [State.UNCONFIRMED, State.QUEUED, State.CLAIMED]  # somebody has it after all: not to be sent once more
MOVES: dict[Report, tuple[State, list[State]]] = {
    Report.DELIVERED: (State.DELIVERED, [state for state in State if state != State.DELIVERED]),
    Report.PASSED_ON: (State.ACCEPTED, NOT_YET_TAKEN),
    Report.DELAYED: (State.ACCEPTED, NOT_YET_TAKEN),
    Report.FAILED: (State.BOUNCED, [*NOT_YET_TAKEN, State.TRANSMITTING, State.ACCEPTED]),
    Report.ANSWERED_BY_MACHINE: (State.ACCEPTED, [State.UNCONFIRMED]),
    Report.ANSWERED: (State.ACCEPTED, [State.UNCONFIRMED]),
    Report.NOT_SENT: (State.FAILED, [State.UNCONFIRMED, State.TRANSMITTING, State.ACCEPTED]),
    Report.COMPLAINED: (State.DELIVERED, [state for state in State if state != State.DELIVERED]),
    Report.UNSUBSCRIBED: (State.ACCEPTED, NOT_YET_TAKEN),
}
NOT_REACHED = {State.BOUNCED, State.FAILED}
ARRIVED = {Report.DELIVERED, Report.COMPLAINED}
UNREMARKED = {Report.ANSWERED_BY_MACHINE, Report.ANSWERED, Report.PASSED_ON}  # no line in the history of their own
EARLIER = "It is about an earlier sending of the message."


def message_of(key: str) -> tuple[Message | None, bool]:
    """The e-mail with this key, and whether it is about its latest sending."""
    if not key:
        return None, False
    rows = Message.objects.select_related("client").filter(channel=Channel.EMAIL)
    usual = f"<{key}@{message_keys.sending_domain(Business.objects.get())}>"  # has an index; the others are rare
    stem = key.partition(".")[0]
    any_sending = Q(message_id__startswith=f"<{stem}@") | Q(message_id__startswith=f"<{stem}.")
    message = rows.filter(message_id=usual).first() or rows.filter(any_sending).first()
    return message, message is not None and message.message_id.startswith(f"<{key}@")


def is_first_sending(message: Message) -> bool:
    return message_keys.sending_number(message.message_id) == 1


def follow(event: InboundEvent, message: Message, returned: Returned, *, is_current: bool, now: datetime) -> str:
    """What was made of it, in words. About an earlier sending only an arrival counts: that one cannot be undone; and
    that somebody wants to hear no more counts whichever sending told them."""
    if returned.opts_out:
        stop_writing(event, message, returned, now)
    if not is_current and returned.report not in ARRIVED:
        note(message, f"{EARLIER} {returned.said()}", now)
        return EARLIER
    moved = move(message, returned, now)
    if not moved and returned.report not in UNREMARKED:
        note(message, returned.said(), now)
    if returned.report is Report.ANSWERED:
        ask_to_read(event, message, returned)
    if returned.is_address_at_fault:
        suspend(message, returned, now)
    elif returned.has_failed and not returned.opts_out:
        point_out(message, returned, now)
    return returned.said()


def move(message: Message, returned: Returned, now: datetime) -> bool:
    """Guarded by the state each move starts from, so that it may come twice and in any order."""
    if returned.report not in MOVES:
        return False
    to, froms = MOVES[returned.report]
    changes: dict[str, Any] = {} if to in NOT_REACHED else {"accepted_at": Coalesce("accepted_at", Now())}
    rows = Message.objects.filter(pk=message.pk, message_id=message.message_id, state__in=froms)
    return bool(transitions.move(rows, to, note=returned.said(), at=now, reply=returned.said(), **changes))


def note(message: Message, words: str, now: datetime) -> None:
    """A line in the history that changes no state."""
    state = Message.objects.values_list("state", flat=True).get(pk=message.pk)
    transitions.write_down([message.pk], state, note=words, at=now)


def stop_writing(event: InboundEvent, message: Message, returned: Returned, now: datetime) -> None:
    """Suppression, withdrawal and what waits, in the transaction of the report."""
    unsubscribing.stop(
        channel=message.channel, address=message.address, people=[message.client], why=returned.report.value,
        evidence=f"Report {event.event_id}", now=now,
    )  # fmt: skip


def suspend(message: Message, returned: Returned, now: datetime) -> None:
    """Nobody writes to this address until somebody has put it right: whoever has it, and whatever waits for it."""
    spellings = {normalize(Channel.EMAIL, message.address), message.address.lower()}
    points = ContactPoint.objects.filter(kind="email", normalized__in=spellings, suspended_at=None)
    why = f"Mail came back: {returned.why}"[:300]
    for point in points.select_for_update(of=("self",)).select_related("client").order_by("pk"):
        point.suspended_at, point.suspended_why = now, why
        point.save(update_fields=["suspended_at", "suspended_why"])
        waiting = point.client.messages.filter(channel=Channel.EMAIL, address__iexact=message.address)
        decisions.cancel(messages=waiting, why=why, now=now, by=None)
        put_before_the_owner(
            key=f"bounce/{message.pk}/{point.pk}", client_id=point.client_id, message=message,
            words=f"Find out the address of {point.client.name}: mail to {point.value} comes back. {returned.why}",
            url=f"/clients/{point.client_id}/edit/",
        )  # fmt: skip


def point_out(message: Message, returned: Returned, now: datetime) -> None:
    """It failed, but not because of the address: one matter a day for each domain and reason."""
    domain = message.address.rpartition("@")[2].lower()
    what = "comes back" if returned.report is Report.FAILED else "is not sent by the mail service"
    put_before_the_owner(
        key=f"refused/{domain[:60]}/{returned.status}/{now:%Y-%m-%d}", client_id=None, message=message,
        words=f"Mail to {domain} {what}, and not for a wrong address: {returned.why}",
        url=f"/outbox/{message.pk}/",
    )  # fmt: skip


def ask_to_read(event: InboundEvent, message: Message, returned: Returned) -> None:
    put_before_the_owner(
        key=f"mail/{event.pk}", client_id=message.client_id, message=message, kind=ToDo.Kind.ANSWER,
        words=f"{message.client.name} answered at the address for bounces; read it there: “{returned.words}”",
        url=f"/outbox/{message.pk}/",
    )  # fmt: skip


def put_before_the_owner(*, words: str, kind: str = ToDo.Kind.ADDRESS, **values: Any) -> None:
    ToDo.objects.bulk_create([ToDo(kind=kind, words=words.strip()[:500], **values)], ignore_conflicts=True)
