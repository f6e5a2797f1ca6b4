"""Deeds about properties and decks: adding and changing them, and taking in client, property and
deck in one go."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import connection, transaction

from clients.actions import clients
from clients.after import publish_deck_changes
from clients.models import Client, Deck, Property, User

SECOND_CLICK_WINDOW = timedelta(minutes=10)


@dataclass(frozen=True)
class NewAccount:
    """The three parts of the one-page door, as their forms hold them."""

    client: dict[str, Any]
    reaches: Iterable[clients.ContactInput]
    property: dict[str, Any]
    deck: dict[str, Any]


@transaction.atomic
def open_account(*, new: NewAccount, by: User, now: datetime) -> Deck:
    """A new client with a property and a deck, all or nothing;
    a second click finds what the first one made."""
    same = {
        "street": new.property["street"],
        "town": new.property["town"],
        "client__name": new.client["name"],
    }
    acquire_named_lock(f"open {same}")
    made = Deck.objects.filter(
        label=new.deck["label"],
        created_at__gt=now - SECOND_CLICK_WINDOW,
        **{f"property__{name}": same[name] for name in same},
    )
    return made.first() or create_account(new=new, by=by, now=now)


def create_account(*, new: NewAccount, by: User, now: datetime) -> Deck:
    client = clients.add_client(values=new.client, contacts=new.reaches, by=by, now=now)
    home = add_property(client=client, values=new.property, now=now)
    return add_deck(property=home, values=new.deck, now=now)


def acquire_named_lock(what: str) -> None:
    """Hold everyone else who does the same until this transaction ends, so that a second click
    waits and then sees."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [what])


@transaction.atomic
def add_property(*, client: Client, values: dict[str, Any], now: datetime) -> Property:
    return Property.objects.create(client=client, created_at=now, **values)


@transaction.atomic
def change_property(*, property: Property, values: dict[str, Any]) -> Property:
    """Another place means another sun and rain: the forecasts of its decks follow."""
    has_moved = any(
        getattr(property, name) != values.get(name)
        for name in ("latitude", "longitude", "time_zone")
    )
    update_changed_fields(property, values)
    if has_moved:
        publish_deck_changes(list(property.decks.values_list("pk", flat=True)))
    return property


@transaction.atomic
def add_deck(*, property: Property, values: dict[str, Any], now: datetime) -> Deck:
    deck = Deck.objects.create(property=property, created_at=now, **values)
    publish_deck_changes([deck.pk])
    return deck


@transaction.atomic
def change_deck(*, deck: Deck, values: dict[str, Any]) -> Deck:
    if update_changed_fields(deck, values):
        publish_deck_changes([deck.pk])
    return deck


@transaction.atomic
def archive_deck(*, deck: Deck, now: datetime) -> None:
    """A deck that is gone: its history stays. Doing it twice changes nothing."""
    if deck.archived_at is None:
        update_changed_fields(deck, {"archived_at": now})
        publish_deck_changes([deck.pk])


@transaction.atomic
def unarchive_deck(*, deck: Deck) -> None:
    if deck.archived_at is not None:
        update_changed_fields(deck, {"archived_at": None})
        publish_deck_changes([deck.pk])


def update_changed_fields(row: Property | Deck, values: dict[str, Any]) -> bool:
    """Set and save the values that are new; whether there were any."""
    changed = [name for name, value in values.items() if getattr(row, name) != value]
    for name in changed:
        setattr(row, name, values[name])
    if changed:
        row.save(update_fields=changed)
    return bool(changed)
