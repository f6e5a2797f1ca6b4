"""What follows from what mail servers and mail services report about an e-mail.
States only move towards what is known better, and nothing is sent."""

from datetime import datetime

from clients.messaging.actions.to_dos import add_to_do
from clients.messaging.incoming.matching import message_by_key
from clients.messaging.incoming.results import EventResult
from clients.messaging.incoming.returned_mail import MailReport, ReturnedMail
from clients.messaging.models import InboundEvent, Message, ToDo
from clients.messaging.outbox import (
    Transition,
    decisions,
    delivery_reports,
    opt_out,
    write_message_events,
)
from clients.messaging.suppression import normalize_address
from clients.models import ContactPoint

BOUNCE_TRANSITIONS = {
    MailReport.DELIVERED: Transition.REPORT_ARRIVAL,
    MailReport.PASSED_ON: Transition.REPORT_RECEIPT,
    MailReport.DELAYED: Transition.REPORT_RECEIPT,
    MailReport.FAILED: Transition.REPORT_RETURN,
    MailReport.ANSWERED_BY_MACHINE: Transition.REPORT_ANSWER,
    MailReport.ANSWERED: Transition.REPORT_ANSWER,
    MailReport.NOT_SENT: Transition.REPORT_UNSENT,
    MailReport.COMPLAINED: Transition.REPORT_ARRIVAL,
    MailReport.UNSUBSCRIBED: Transition.REPORT_RECEIPT,
}
ARRIVAL_REPORTS = {MailReport.DELIVERED, MailReport.COMPLAINED}
SILENT_REPORTS = {
    MailReport.ANSWERED_BY_MACHINE,
    MailReport.ANSWERED,
    MailReport.PASSED_ON,
}  # no line in the history of their own
BOUNCE_NOT_OURS = "It is about no message of ours."
ABOUT_EARLIER_SENDING = "It is about an earlier sending of the message."


def process_returned_mail(
    event: InboundEvent, returned: ReturnedMail, now: datetime
) -> EventResult:
    message, is_current = message_by_key("is_by_mailbox", returned.key)
    if message is None:
        return EventResult(BOUNCE_NOT_OURS)
    words = apply_returned_mail(event, message, returned, is_current=is_current, now=now)
    return EventResult(words, message, message.client)


def apply_returned_mail(
    event: InboundEvent,
    message: Message,
    returned: ReturnedMail,
    *,
    is_current: bool,
    now: datetime,
) -> str:
    """What was made of it, in words. About an earlier sending only an arrival counts: that one
    cannot be undone; and that somebody wants to hear no more counts whichever sending told them."""
    if returned.opts_out:
        opt_out_recipient(event, message, returned, now)
    if not is_current and returned.report not in ARRIVAL_REPORTS:
        add_history_note(message, f"{ABOUT_EARLIER_SENDING} {returned.summary()}", now)
        return ABOUT_EARLIER_SENDING
    moved = apply_bounce_to_message(message, returned, now)
    if not moved and returned.report not in SILENT_REPORTS:
        add_history_note(message, returned.summary(), now)
    if returned.report is MailReport.ANSWERED:
        add_mail_answer_to_do(event, message, returned, now)
    if returned.is_address_at_fault:
        suspend_address(message, returned, now)
    elif returned.has_failed and not returned.opts_out:
        add_refusal_to_do(message, returned, now)
    return returned.summary()


def apply_bounce_to_message(message: Message, returned: ReturnedMail, now: datetime) -> bool:
    """Guarded by the state each move starts from, so that it may come twice and in any order."""
    if returned.report not in BOUNCE_TRANSITIONS:
        return False
    row = Message.objects.filter(pk=message.pk, message_id=message.message_id)
    transition = BOUNCE_TRANSITIONS[returned.report]
    return delivery_reports.apply_report(row, transition, returned.summary(), at=now)


def add_history_note(message: Message, words: str, now: datetime) -> None:
    """A line in the history that changes no state."""
    state = Message.objects.values_list("state", flat=True).get(pk=message.pk)
    write_message_events([message.pk], state, note=words, at=now)


def opt_out_recipient(
    event: InboundEvent, message: Message, returned: ReturnedMail, now: datetime
) -> None:
    """Suppression, withdrawal and what waits, in the transaction of the report."""
    asked = opt_out.OptOut.of_recipient(
        message, returned.report.value, evidence=f"Report {event.event_id}"
    )
    opt_out.opt_out_address(asked=asked, now=now)


def suspend_address(message: Message, returned: ReturnedMail, now: datetime) -> None:
    """Nobody writes to this address until somebody has put it right:
    whoever has it, and whatever waits for it."""
    spellings = {normalize_address(message.channel, message.address), message.address.lower()}
    points = ContactPoint.objects.filter(kind="email", normalized__in=spellings, suspended_at=None)
    why = f"Mail came back: {returned.why}"[:300]
    for point in points.select_for_update(of=("self",)).select_related("client").order_by("pk"):
        point.suspended_at = now
        point.suspended_why = why
        point.save(update_fields=["suspended_at", "suspended_why"])
        waiting = point.client.messages.filter(
            channel=message.channel, address__iexact=message.address
        )
        decisions.cancel_unsent(messages=waiting, why=why, now=now, by=None)
        matter = ToDo(
            kind=ToDo.Kind.ADDRESS,
            key=f"bounce/{message.pk}/{point.pk}",
            client=point.client,
            message=message,
            words=(
                f"Find out the address of {point.client.name}: mail to {point.value} comes back."
                f" {returned.why}"
            ),
            url=f"/clients/{point.client_id}/edit/",
        )
        add_to_do(matter=matter, now=now)


def add_refusal_to_do(message: Message, returned: ReturnedMail, now: datetime) -> None:
    """It failed, but not because of the address: one matter a day for each domain and reason."""
    domain = message.address.rpartition("@")[2].lower()
    what = (
        "comes back" if returned.report is MailReport.FAILED else "is not sent by the mail service"
    )
    matter = ToDo(
        kind=ToDo.Kind.ADDRESS,
        key=f"refused/{domain[:60]}/{returned.status}/{now:%Y-%m-%d}",
        message=message,
        words=f"Mail to {domain} {what}, and not for a wrong address: {returned.why}",
        url=f"/outbox/{message.pk}/",
    )
    add_to_do(matter=matter, now=now)


def add_mail_answer_to_do(
    event: InboundEvent, message: Message, returned: ReturnedMail, now: datetime
) -> None:
    matter = ToDo(
        kind=ToDo.Kind.ANSWER,
        key=f"mail/{event.pk}",
        client=message.client,
        message=message,
        words=(
            f"{message.client.name} answered at the address for bounces; read it there:"
            f" “{returned.words}”"
        ),
        url=f"/outbox/{message.pk}/",
    )
    add_to_do(matter=matter, now=now)
