"""A client with a property and a deck, made on the spot so that the first job can be logged."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from clients.actions import clients
from clients.models import Deck, Property, User


@dataclass(frozen=True)
class NewDeck:
    """A client and deck that are not in the book yet.
    `place` holds region, country, latitude, longitude, time_zone."""

    name: str
    street: str
    town: str
    place: Mapping[str, Any]
    label: str
    species: str
    area_m2: Decimal | None
    emails: tuple[str, ...] = ()
    phones: tuple[str, ...] = ()


@transaction.atomic
def add_client_and_deck(*, new: NewDeck, by: User | None, now: datetime) -> Deck:
    client = clients.register_client(
        name=new.name,
        emails=new.emails,
        phones=new.phones,
        by=by,
        now=now,
        region=new.place["country"],
    )
    home = Property.objects.create(
        client=client, street=new.street, town=new.town, created_at=now, **dict(new.place)
    )
    return Deck.objects.create(
        site=home, label=new.label, species=new.species, area_m2=new.area_m2, created_at=now
    )
