"""Reports of what became of a message: they move its state towards what is known better, and never back."""

import re
from datetime import datetime

from django.db.models import Q

from clients.messaging import message_keys
from clients.messaging.channels import gateway as words
from clients.messaging.incoming.hooks.made import Made
from clients.messaging.incoming.hooks.reading import Report
from clients.messaging.models import InboundEvent, Message, TextGateway
from clients.messaging.outbox import delivery_reports, unsubscribing
from clients.models import Business
from clients.models.channel import Channel

REFERENCE = re.compile(r"([0-9a-f]{32})(\.[0-9]{1,6})?")
OPTED_OUT = "The gateway reports that this number asked to hear no more."


def process(gateway: TextGateway, event: InboundEvent, report: Report, now: datetime) -> Made:
    message, is_current = message_of(report)
    if message is None:
        return Made("No message of ours has this reference.")
    if gateway.refusals.get(report.error) == words.OPTED_OUT:
        return opted_out(message, event, is_current, now)
    state = str(gateway.statuses.get(report.status, ""))
    if not state:
        return Made(f"The state “{report.status[:60]}” means nothing to us.", message, message.client)
    moved = delivery_reports.take(message=message, report=state, note=report.error[:200], is_current=is_current)
    said = delivery_reports.SAID.get(state, "")
    return Made(said if moved else f"{said} That changed nothing.", message, message.client)


def message_of(report: Report) -> tuple[Message | None, bool]:
    """The message, and whether the report is about its latest sending."""
    rows = Message.objects.filter(channel=Channel.TEXT).select_related("client")
    if found := REFERENCE.fullmatch(report.reference):
        usual = f"<{report.reference}@{message_keys.sending_domain(Business.objects.get())}>"
        any_sending = Q(message_id__startswith=f"<{found[1]}@") | Q(message_id__startswith=f"<{found[1]}.")
        message = rows.filter(message_id=usual).first() or rows.filter(any_sending).first()
        return message, message is not None and words.reference(message) == report.reference
    if report.provider_id:
        return rows.filter(provider_id=report.provider_id[:200]).order_by("-pk").first(), True
    return None, False


def opted_out(message: Message, event: InboundEvent, is_current: bool, now: datetime) -> Made:
    unsubscribing.stop(
        channel=message.channel, address=message.address, people=[message.client], why=OPTED_OUT,
        evidence=f"Report {event.event_id}", now=now,
    )  # fmt: skip
    delivery_reports.take(message=message, report=delivery_reports.FAILED, note=OPTED_OUT, is_current=is_current)
    return Made(OPTED_OUT, message, message.client)
