"""Deeds about properties and decks: adding and changing them, and taking in client, property and deck in one go."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction

from clients.actions import people
from clients.after import decks_changed
from clients.models import Client, Deck, Property, User

SECOND_CLICK = timedelta(minutes=10)


@dataclass(frozen=True)
class NewBook:
    """The three parts of the one-page door, as their forms hold them."""

    client: dict[str, Any]
    reaches: Iterable[people.Reach]
    property: dict[str, Any]
    deck: dict[str, Any]


@transaction.atomic
def open_account(*, new: NewBook, by: User, now: datetime) -> Deck:
    """A new client with a property and a deck, all or nothing; a second click finds what the first one made."""
    same = {"street": new.property["street"], "town": new.property["town"], "client__name": new.client["name"]}
    one_at_a_time(f"open {same}")
    made = Deck.objects.filter(
        label=new.deck["label"], created_at__gt=now - SECOND_CLICK, **{f"property__{name}": same[name] for name in same}
    )
    return made.first() or make_account(new=new, by=by, now=now)


def make_account(*, new: NewBook, by: User, now: datetime) -> Deck:
    client = people.add_client(values=new.client, reaches=new.reaches, by=by, now=now)
    home = add_property(client=client, values=new.property, now=now)
    return add_deck(property=home, values=new.deck, now=now)


def one_at_a_time(what: str) -> None:
    """Hold everyone else who does the same until this transaction ends, so that a second click waits and then sees."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [what])


@transaction.atomic
def add_property(*, client: Client, values: dict[str, Any], now: datetime) -> Property:
    return Property.objects.create(client=client, created_at=now, **values)


@transaction.atomic
def change_property(*, property: Property, values: dict[str, Any]) -> Property:
    """Another place means another sun and rain: the forecasts of its decks follow."""
    has_moved = any(getattr(property, name) != values.get(name) for name in ("latitude", "longitude", "time_zone"))
    write(property, values)
    if has_moved:
        decks_changed(list(property.decks.values_list("pk", flat=True)))
    return property


@transaction.atomic
def add_deck(*, property: Property, values: dict[str, Any], now: datetime) -> Deck:
    deck = Deck.objects.create(property=property, created_at=now, **values)
    decks_changed([deck.pk])
    return deck


@transaction.atomic
def change_deck(*, deck: Deck, values: dict[str, Any]) -> Deck:
    if write(deck, values):
        decks_changed([deck.pk])
    return deck


@transaction.atomic
def archive_deck(*, deck: Deck, now: datetime) -> None:
    """A deck that is gone: its history stays. Doing it twice changes nothing."""
    if deck.archived_at is None:
        write(deck, {"archived_at": now})
        decks_changed([deck.pk])


@transaction.atomic
def bring_back_deck(*, deck: Deck) -> None:
    if deck.archived_at is not None:
        write(deck, {"archived_at": None})
        decks_changed([deck.pk])


def write(row: Property | Deck, values: dict[str, Any]) -> bool:
    """Set and save the values that are new; whether there were any."""
    changed = [name for name, value in values.items() if getattr(row, name) != value]
    for name in changed:
        setattr(row, name, values[name])
    if changed:
        row.save(update_fields=changed)
    return bool(changed)
