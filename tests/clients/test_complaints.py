"""Complaints that mailbox providers pass on, in the form of RFC 5965 (its example B.1 with our
names and addresses)."""

import pytest
from django.utils import timezone

from clients.messaging import incoming
from clients.messaging.models import Consent, InboundEvent, Suppression, ToDo
from tests.bounces import sent, state_of
from tests.outbox import queued

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("business")]
COMPLAINT = """\
From: <abusedesk@example.net>
Date: Thu, 8 Mar 2005 17:40:36 EDT
Subject: FW: Your deck is due this spring
To: <office@example.com>
MIME-Version: 1.0
Content-Type: multipart/report; report-type=feedback-report;
     boundary="part1_13d.2e68ed54_boundary"

--part1_13d.2e68ed54_boundary
Content-Type: text/plain; charset="US-ASCII"
Content-Transfer-Encoding: 7bit

This is an email abuse report for an email message received from IP
192.0.2.1 on Thu, 8 Mar 2005 14:00:00 EDT.

--part1_13d.2e68ed54_boundary
Content-Type: message/feedback-report

Feedback-Type: {kind}
User-Agent: SomeGenerator/1.0
Version: 1

--part1_13d.2e68ed54_boundary
Content-Type: message/rfc822
Content-Disposition: inline

Received: from mailserver.example.com by example.net; Thu, 8 Mar 2005 14:00:00 -0400
From: <office@example.com>
To: <client1@example.org>
Subject: Your deck is due this spring
MIME-Version: 1.0
Content-type: text/plain
Message-ID: {message_id}
Date: Thu, 02 Sep 2004 12:31:03 -0500

The finish on your deck is due.
--part1_13d.2e68ed54_boundary--
"""


def receive(message_id: str, kind: str) -> dict[str, str]:
    return incoming.receive_returned_mail(
        content=COMPLAINT.format(kind=kind, message_id=message_id).encode(), now=timezone.now()
    )


def test_a_complaint_is_an_opt_out_once() -> None:
    message = sent("unconfirmed")
    waiting = queued(2, client=message.client, address=message.address)

    first = receive(message.message_id, "abuse")
    again = receive(message.message_id, "abuse")

    assert (first["report"], again["words"]) == ("complained", "Known already: nothing was done.")
    assert (state_of(message), state_of(waiting)) == ("delivered", "cancelled")
    assert (Suppression.objects.count(), Consent.objects.filter(is_given=False).count()) == (1, 1)
    assert not ToDo.objects.exists()


@pytest.mark.parametrize("kind", ["auth-failure", "not-spam", "fraud", "virus"])
def test_what_is_no_word_of_the_recipient_stops_nothing(kind: str) -> None:
    message = sent()
    receive(message.message_id, kind)
    assert (state_of(message), Suppression.objects.count(), ToDo.objects.count()) == (
        "accepted",
        0,
        0,
    )


def test_a_complaint_about_a_message_that_nobody_here_sent_stops_nobody() -> None:
    """Whoever wants to stop our mail to somebody would have to know the 128 bits of one of our
    messages."""
    sent()
    receive("<" + "0" * 32 + "@example.com>", "abuse")
    assert not Suppression.objects.exists()
    assert InboundEvent.objects.get().message is None
