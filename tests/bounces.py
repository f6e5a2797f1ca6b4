"""Delivery reports about messages of ours, in the form of RFC 3464 (section 4 and appendix E), for
tests."""

import base64
import quopri

from django.utils import timezone

from clients.messaging.models import Message
from tests.outbox import queued

REPORT = """\
From: Mail Delivery Subsystem <MAILER-DAEMON@example.net>
To: {to}
Subject: Delivery report
Auto-Submitted: auto-replied
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; \
boundary="RAA14128.773615765/example.net"

--RAA14128.773615765/example.net

The original message was received from office.example.com.

--RAA14128.773615765/example.net
content-type: message/delivery-status

Reporting-MTA: dns; example.net

Original-Recipient: rfc822;client1@example.org
Final-Recipient: rfc822;client1@example.org
Action: {action}
Status: {status}
Diagnostic-Code: smtp; 550 {words}

--RAA14128.773615765/example.net
content-type: text/rfc822-headers

From: Driftline Deck Care <office@example.com>
Message-ID: {message_id}

--RAA14128.773615765/example.net--
"""


def key_of(message: Message) -> str:
    return message.message_id.strip("<>").partition("@")[0]


def report(
    message: Message, action: str, status: str, words: str = "No such user", to: str = ""
) -> bytes:
    """By default found by the Message-ID that is quoted;
    `to` is the address it was sent back to."""
    message_id = "<of-nobody@example.com>" if to else message.message_id
    filled = REPORT.format(
        to=to or "office@example.com",
        action=action,
        status=status,
        words=words,
        message_id=message_id,
    )
    return filled.encode()


def global_report(message: Message, encoding: str) -> bytes:
    """As RFC 6533 has it for an address beyond ASCII, and Postfix 3.7 writes it."""
    status = (
        "Reporting-MTA: dns; mail.example.com\n\n"
        "Final-Recipient: utf-8; zoë@example.org\nAction: failed\nStatus: 5.1.1\n"
        'Diagnostic-Code: X-Postfix; unknown user: "zoë"\n\n'
    ).encode()
    encoded = {"8bit": bytes, "base64": base64.encodebytes, "quoted-printable": quopri.encodestring}
    if encoding == "base64":
        status = status.replace(b"\n", b"\r\n")  # RFC 2045, 6.8
    before, _, rest = report(message, "", "").partition(b"content-type: message/delivery-status")
    _, boundary, after = rest.partition(b"--RAA14128")
    kind = "content-type: message/global-delivery-status\n"
    head = f"{kind}content-transfer-encoding: {encoding}\n\n".encode()
    return before + head + encoded[encoding](status) + boundary + after


def sent(state: str = "accepted", number: int = 1) -> Message:
    message = queued(number)
    Message.objects.filter(pk=message.pk).update(
        state=state, accepted_at=timezone.now() if state in {"accepted", "delivered"} else None
    )
    message.refresh_from_db()
    return message


def state_of(message: Message) -> str:
    return Message.objects.values_list("state", flat=True).get(pk=message.pk)
