"""The rows of the book: the business, its people, clients, properties and decks."""

from clients.models.business import Business, Heartbeat, User
from clients.models.channel import (
    AddressKind,
    Channel,
    ChannelTraits,
    channels_with,
    traits_of,
)
from clients.models.client import Client, ContactPoint
from clients.models.deck import (
    SHADE_FIELDS,
    SPECIES_CLASS,
    Deck,
    Species,
    Surface,
    UsualSize,
    ordered_surfaces,
    say_surfaces,
    with_both_shades,
)
from clients.models.keys import is_primary_key, primary_keys
from clients.models.property import STREET_NOT_KNOWN, LocalNormals, Place, Property
from clients.models.putting_right import ClientMerge, DeckMerge, Erasure, FormerOwner, ToldApart
from clients.models.received_form import ReceivedForm
from clients.models.sign_in import Authenticator, Device, Passkey, RecoveryCode
from clients.models.upload_part import MAX_PART_BYTES, SHA256_PATTERN, UploadPart

import clients.messaging.models  # isort: skip  # noqa: F401 - rows that point at those above

__all__ = [
    "MAX_PART_BYTES",
    "SHA256_PATTERN",
    "SHADE_FIELDS",
    "SPECIES_CLASS",
    "STREET_NOT_KNOWN",
    "AddressKind",
    "Authenticator",
    "Business",
    "Channel",
    "ChannelTraits",
    "Client",
    "ClientMerge",
    "ContactPoint",
    "Deck",
    "DeckMerge",
    "Device",
    "Erasure",
    "FormerOwner",
    "Heartbeat",
    "LocalNormals",
    "Passkey",
    "Place",
    "Property",
    "ReceivedForm",
    "RecoveryCode",
    "Species",
    "Surface",
    "ToldApart",
    "UploadPart",
    "User",
    "UsualSize",
    "channels_with",
    "is_primary_key",
    "ordered_surfaces",
    "primary_keys",
    "say_surfaces",
    "traits_of",
    "with_both_shades",
]
