"""Reports of what became of a message:
they move its state towards what is known better, and never back."""

import re
from datetime import datetime

from clients.messaging.channels import gateway_protocol
from clients.messaging.incoming.gateway_reports import GatewayReport
from clients.messaging.incoming.matching import message_by_key, message_by_provider_id
from clients.messaging.incoming.results import EventResult
from clients.messaging.incoming.returned_mail import MESSAGE_KEY_PATTERN
from clients.messaging.models import InboundEvent, Message
from clients.messaging.outbox import delivery_reports, opt_out

OPTED_OUT_BY_REPORT = "The gateway reports that this number asked to hear no more."


def process_status_report(event: InboundEvent, report: GatewayReport, now: datetime) -> EventResult:
    message, is_current = message_of_status_report(report)
    if message is None:
        return EventResult("No message of ours has this reference.")
    if report.gateway.refusals.get(report.error) == gateway_protocol.OPTED_OUT:
        return apply_reported_opt_out(message, event, is_current, now)
    state = str(report.gateway.statuses.get(report.status, ""))
    if not state:
        return EventResult(
            f"The state “{report.status[:60]}” means nothing to us.", message, message.client
        )
    moved = delivery_reports.apply_delivery_report(
        message=message, report=state, note=report.error[:200], is_current=is_current
    )
    said = delivery_reports.REPORT_NOTES.get(state, "")
    return EventResult(said if moved else f"{said} That changed nothing.", message, message.client)


def message_of_status_report(report: GatewayReport) -> tuple[Message | None, bool]:
    """The message, and whether the report is about its latest sending."""
    if re.fullmatch(MESSAGE_KEY_PATTERN, report.reference):
        return message_by_key("through_gateway", report.reference)
    return message_by_provider_id("through_gateway", report.provider_id), True


def apply_reported_opt_out(
    message: Message, event: InboundEvent, is_current: bool, now: datetime
) -> EventResult:
    asked = opt_out.OptOut.of_recipient(
        message, OPTED_OUT_BY_REPORT, evidence=f"Report {event.event_id}"
    )
    opt_out.opt_out_address(asked=asked, now=now)
    delivery_reports.apply_delivery_report(
        message=message,
        report=delivery_reports.REPORT_FAILED,
        note=OPTED_OUT_BY_REPORT,
        is_current=is_current,
    )
    return EventResult(OPTED_OUT_BY_REPORT, message, message.client)
