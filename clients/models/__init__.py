"""The rows of the book: the business, its people, clients, properties and decks."""

from clients.models.business import Business, Heartbeat, User
from clients.models.channel import Channel
from clients.models.client import Client, ContactPoint
from clients.models.deck import Deck
from clients.models.property import LocalNormals, Place, Property

import clients.messaging.models  # isort: skip  # noqa: F401 - rows that point at those above

__all__ = [
    "Business",
    "Channel",
    "Client",
    "ContactPoint",
    "Deck",
    "Heartbeat",
    "LocalNormals",
    "Place",
    "Property",
    "User",
]
