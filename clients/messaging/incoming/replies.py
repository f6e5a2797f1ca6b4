"""The few text messages that answer a word at once. Nothing in them promotes anything.

One that confirms STOP is the last message to that number: 47 CFR 64.1200(a)(12) allows it if it
only confirms, and presumes consent to it for five minutes.
"""

import logging
from collections.abc import Sequence
from datetime import datetime, timedelta

from clients.messaging.incoming.keywords import Keyword
from clients.messaging.models import InboundEvent, Message
from clients.messaging.outbox import queueing
from clients.messaging.texts import ComposedText, standard_phrases
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Channel, Client

REPLY_VALIDITY = timedelta(minutes=5)
logger = logging.getLogger(__name__)


def queue_reply(
    keyword: Keyword,
    business: Business,
    event: InboundEvent,
    number: str,
    people: Sequence[Client],
    now: datetime,
) -> None:
    """Queue the answer, once an event; nobody is answered whom the book does not know."""
    if not people:
        return
    language = people[0].language or business.locale
    text = standard_phrases(language, "replies")[keyword.value]
    reach = ", ".join(filter(None, [business.phone, business.email]))
    text = text.replace("{business}", business.name).replace("{reach}", reach)
    outgoing = queueing.OutgoingMessage(
        client=people[0],
        kind=Message.Kind.SERVICE,
        channel=Channel.TEXT,
        key=f"{keyword.value}/{event.pk}",
        address=number,
        basis=keyword.value,
        written=ComposedText("", text, language=language),
        expires_at=now + REPLY_VALIDITY,
    )
    try:
        queueing.queue_message(outgoing=outgoing, now=now)
    except Unsendable as problem:  # the word itself has taken effect all the same
        logger.warning("No answer to %s: %s", keyword.value, problem)
