"""Actions on properties and decks: adding and changing them, and taking in client, property and
deck in one go."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from clients.actions import clients
from clients.actions.saving import (
    SECOND_CLICK_WINDOW,
    lock_row,
    lock_until_commit,
    save_if_changed,
)
from clients.events import decks_changed
from clients.models import Client, Deck, Property, User


@dataclass(frozen=True)
class NewAccount:
    """The three parts of the one-page form, as their forms hold them."""

    client: dict[str, Any]
    reaches: Iterable[clients.ContactInput]
    site: dict[str, Any]
    deck: dict[str, Any]


@transaction.atomic
def open_account(*, new: NewAccount, by: User, now: datetime) -> Deck:
    """A new client with a property and a deck, all or nothing;
    a second click finds what the first one made."""
    lock_until_commit(f"open {same_account(new)}")
    made = opened_before(new=new, now=now)
    return made or create_account(new=new, by=by, now=now)


def same_account(new: NewAccount) -> dict[str, Any]:
    return {
        "site__street": new.site["street"],
        "site__town": new.site["town"],
        "site__client__name": new.client["name"],
    }


def opened_before(*, new: NewAccount, now: datetime) -> Deck | None:
    """What a first click on the same form has made."""
    return Deck.objects.filter(
        label=new.deck["label"], created_at__gt=now - SECOND_CLICK_WINDOW, **same_account(new)
    ).first()


def create_account(*, new: NewAccount, by: User, now: datetime) -> Deck:
    client = clients.add_client(values=new.client, contacts=new.reaches, by=by, now=now)
    home = add_property(client=client, values=new.site, now=now)
    return add_deck(site=home, values=new.deck, now=now)


@transaction.atomic
def add_property(*, client: Client, values: dict[str, Any], now: datetime) -> Property:
    """A second click finds what the first one made."""
    lock_row(client)
    same = {name: values[name] for name in ("street", "town", "region", "postcode")}
    made = client.properties.filter(created_at__gt=now - SECOND_CLICK_WINDOW, **same).first()
    return made or Property.objects.create(client=client, created_at=now, **values)


@transaction.atomic
def change_property(*, site: Property, values: dict[str, Any], now: datetime) -> Property:
    """Another place means another sun and rain: the forecasts of its decks follow."""
    site = lock_row(site)
    has_moved = any(
        getattr(site, name) != values.get(name) for name in ("latitude", "longitude", "time_zone")
    )
    save_if_changed(site, values)
    if has_moved:
        deck_ids = list(site.decks.values_list("pk", flat=True))
        decks_changed.send(Deck, deck_ids=deck_ids, now=now)
    return site


@transaction.atomic
def add_deck(*, site: Property, values: dict[str, Any], now: datetime) -> Deck:
    deck = Deck.objects.create(site=site, created_at=now, **values)
    decks_changed.send(Deck, deck_ids=[deck.pk], now=now)
    return deck


@transaction.atomic
def change_deck(*, deck: Deck, values: dict[str, Any], now: datetime) -> Deck:
    deck = lock_row(deck)
    if save_if_changed(deck, values):
        decks_changed.send(Deck, deck_ids=[deck.pk], now=now)
    return deck


@transaction.atomic
def archive_deck(*, deck: Deck, now: datetime) -> None:
    """A deck that is gone: its history stays. Doing it twice changes nothing."""
    deck = lock_row(deck)
    if deck.archived_at is None:
        save_if_changed(deck, {"archived_at": now})
        decks_changed.send(Deck, deck_ids=[deck.pk], now=now)


@transaction.atomic
def unarchive_deck(*, deck: Deck, now: datetime) -> None:
    deck = lock_row(deck)
    if deck.archived_at is not None:
        save_if_changed(deck, {"archived_at": None})
        decks_changed.send(Deck, deck_ids=[deck.pk], now=now)
