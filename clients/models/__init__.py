"""The rows of the clients app: the business, its people, clients, properties, decks and the outbox."""

from clients.models.business import Business, Heartbeat, User
from clients.models.channel import Channel
from clients.models.consent import Consent, Suppression
from clients.models.deck import Deck
from clients.models.handing import (
    Attachment,
    BatchedLetter,
    CallNote,
    InboundEvent,
    LetterBatch,
    TextGateway,
    ToDo,
)
from clients.models.message import Message, MessageEvent
from clients.models.people import Client, ContactPoint
from clients.models.property import LocalNormals, Place, Property
from clients.models.speech import LawRule, MessageText, SendingRules

__all__ = [
    "Attachment",
    "BatchedLetter",
    "Business",
    "CallNote",
    "Channel",
    "Client",
    "Consent",
    "ContactPoint",
    "Deck",
    "Heartbeat",
    "InboundEvent",
    "LawRule",
    "LetterBatch",
    "LocalNormals",
    "Message",
    "MessageEvent",
    "MessageText",
    "Place",
    "Property",
    "SendingRules",
    "Suppression",
    "TextGateway",
    "ToDo",
    "User",
]
