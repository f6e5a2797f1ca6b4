"""A house is sold, or a deck stands elsewhere: the deck and its history go, people do not."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from clients.actions import clients
from clients.actions.merging import free_label
from clients.actions.saving import lock_row, save_if_changed
from clients.events import decks_changed, decks_handed_over, house_sold
from clients.models import Client, Deck, FormerOwner, Property, User
from jobs.actions.offer_withdrawal import withdraw_offers_about_decks
from jobs.actions.placement import OPEN_BOOKING_STATES
from jobs.models import Booking


class HandOverError(ValueError):
    """A property or deck that cannot go over as it is; the message says what to do first."""


@dataclass(frozen=True)
class NewOwner:
    """Who has the property now: somebody of the book, or as typed. Without a name nobody knows
    yet."""

    client: Client | None = None
    name: str = ""
    phones: tuple[str, ...] = ()
    emails: tuple[str, ...] = ()


@transaction.atomic
def sell_property(
    *, site: Property, owner: NewOwner, sold_on: date, by: User, now: datetime
) -> Client:
    """The property with its decks goes to the new owner; consents, messages, offers and ways to
    reach people stay with the former one. Raises `HandOverError`."""
    site = lock_row(site)
    former = site.client
    if owner.client == former:
        raise HandOverError("This client has the property already. Choose somebody else.")
    decks = list(site.decks.values_list("pk", flat=True))
    refuse_booked(decks)
    buyer = owner.client or clients.register_client(
        name=owner.name.strip() or f"New owner of {site.street}"[:200],
        phones=owner.phones,
        emails=owner.emails,
        by=by,
        now=now,
        region=site.country,
    )
    save_if_changed(site, {"client": buyer})
    FormerOwner.objects.create(site=site, client=former, until=sold_on, by=by)
    house_sold.send(Property, site_id=site.pk, now=now)
    hand_over(decks, f"{former} has sold {site.street}.", now)
    return buyer


@transaction.atomic
def move_deck(*, deck: Deck, site: Property, now: datetime) -> Deck:
    """The deck stands at another property, of the same client or of another; its history comes
    along. Raises `HandOverError`."""
    deck = lock_row(deck)
    if deck.site_id == site.pk:
        return deck
    refuse_booked([deck.pk])
    is_handed_over = deck.site.client_id != site.client_id
    save_if_changed(deck, {"label": free_label(site, deck), "site": site})
    if is_handed_over:
        hand_over([deck.pk], f"The deck is at {site.street} now.", now)
    else:
        decks_changed.send(Deck, deck_ids=[deck.pk], now=now)
    return deck


def refuse_booked(decks: Collection[int]) -> None:
    """A visit that is agreed with somebody is settled with them first."""
    rows = Booking.objects.filter(decks__in=decks, state__in=OPEN_BOOKING_STATES)
    if booked := rows.order_by("first_on").first():
        raise HandOverError(
            f"A visit is booked for {booked.first_on:%Y-%m-%d}. Cancel it or log the job first."
        )


def hand_over(decks: Collection[int], words: str, now: datetime) -> None:
    withdraw_offers_about_decks(
        deck_ids=decks, history_note=words, now=now, why=_("The house is sold")
    )
    decks_handed_over.send(Deck, deck_ids=decks, words=words, now=now)
    decks_changed.send(Deck, deck_ids=decks, now=now)
