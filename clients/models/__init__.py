"""The rows of the clients app: the business, its people, clients, properties, decks and the outbox."""

from clients.models.business import Business, Heartbeat, User
from clients.models.consent import Consent, Suppression
from clients.models.deck import Deck
from clients.models.message import Message, MessageEvent
from clients.models.people import Client, ContactPoint
from clients.models.property import LocalNormals, Place, Property

__all__ = [
    "Business",
    "Client",
    "Consent",
    "ContactPoint",
    "Deck",
    "Heartbeat",
    "LocalNormals",
    "Message",
    "MessageEvent",
    "Place",
    "Property",
    "Suppression",
    "User",
]
