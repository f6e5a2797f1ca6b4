"""The rows of messaging: the outbox, consent, letters, calls, what came in, the texts and the
law."""

from clients.messaging.models.attachment import Attachment
from clients.messaging.models.calls import CallNote
from clients.messaging.models.consent import Consent, Suppression
from clients.messaging.models.gateway import TextGateway
from clients.messaging.models.inbound import InboundEvent
from clients.messaging.models.letters import BatchedLetter, LetterBatch
from clients.messaging.models.mail_server import SMTP_BACKEND, MailServer
from clients.messaging.models.message import Message, MessageEvent
from clients.messaging.models.sending import Sending
from clients.messaging.models.staff_notices import StaffNotice
from clients.messaging.models.texts import LawRule, MessageText, SendingRules
from clients.messaging.models.to_dos import ToDo

__all__ = [
    "SMTP_BACKEND",
    "Attachment",
    "BatchedLetter",
    "CallNote",
    "Consent",
    "InboundEvent",
    "LawRule",
    "LetterBatch",
    "MailServer",
    "Message",
    "MessageEvent",
    "MessageText",
    "Sending",
    "SendingRules",
    "StaffNotice",
    "Suppression",
    "TextGateway",
    "ToDo",
]
