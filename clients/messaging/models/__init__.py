"""The rows of messaging: the outbox, consent, letters, calls, what came in, the texts and the
law."""

from clients.messaging.models.consent import Consent, Suppression
from clients.messaging.models.handing import (
    Attachment,
    BatchedLetter,
    CallNote,
    InboundEvent,
    LetterBatch,
    TextGateway,
    ToDo,
)
from clients.messaging.models.message import Message, MessageEvent
from clients.messaging.models.texts import LawRule, MessageText, SendingRules

__all__ = [
    "Attachment",
    "BatchedLetter",
    "CallNote",
    "Consent",
    "InboundEvent",
    "LawRule",
    "LetterBatch",
    "Message",
    "MessageEvent",
    "MessageText",
    "SendingRules",
    "Suppression",
    "TextGateway",
    "ToDo",
]
