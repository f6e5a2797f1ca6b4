"""A client with a property and a deck, made on the spot so that the first job can be logged."""

from datetime import datetime

from django.db import transaction

from clients.actions import clients
from clients.models import Deck, Property, User
from jobs.actions.job_inputs import NewDeck


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
