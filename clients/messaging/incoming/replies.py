"""The few text messages that answer a word at once. Nothing in them promotes anything.

One that confirms STOP is the last message to that number: 47 CFR 64.1200(a)(12) allows it if it
only confirms, and presumes consent to it for five minutes.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from clients.messaging.incoming.keywords import Keyword
from clients.messaging.models import InboundEvent, Message
from clients.messaging.outbox import queueing
from clients.messaging.texts import ComposedText, standard_phrases
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Channel, Client

REPLY_VALIDITY = timedelta(minutes=5)
logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class TextAnswer:
    """A text message that came in, and the clients whose number it came from."""

    business: Business
    event: InboundEvent
    text: str
    number: str
    people: Sequence[Client]
    now: datetime

    @property
    def evidence(self) -> str:
        return f"Text message {self.event.event_id[:100]}: “{self.text[:150]}”"


def queue_reply(keyword: Keyword, answer: TextAnswer) -> None:
    """Queue the answer, once an event; nobody is answered whom the book does not know."""
    if not answer.people:
        return
    business = answer.business
    language = answer.people[0].language or business.locale
    text = standard_phrases(language, "replies")[keyword.value]
    reach = ", ".join(filter(None, [business.phone, business.email]))
    text = text.replace("{business}", business.name).replace("{reach}", reach)
    outgoing = queueing.OutgoingMessage(
        client=answer.people[0],
        kind=Message.Kind.SERVICE,
        channel=Channel.TEXT,
        key=f"{keyword.value}/{answer.event.pk}",
        address=answer.number,
        basis=keyword.value,
        written=ComposedText("", text, language=language),
        expires_at=answer.now + REPLY_VALIDITY,
    )
    try:
        queueing.queue_message(outgoing=outgoing, now=answer.now)
    except Unsendable as problem:  # the word itself has taken effect all the same
        logger.warning("No answer to %s: %s", keyword.value, problem)
