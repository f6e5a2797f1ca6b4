"""Offers that something else has overtaken:
they are taken back, and the client reads why in their own language."""

from collections.abc import Collection
from datetime import datetime

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.db.models.functions import Coalesce
from django.dispatch import receiver
from django.utils.translation import gettext_lazy as _

from clients.events import clients_left
from clients.notation import StrOrPromise
from jobs.actions.offers import withdraw_offer
from jobs.models import Coat, Offer, OfferQuerySet, OfferScope

WORK_BOOKED = _("The work was booked.")


@transaction.atomic
def withdraw_offers_about_decks(
    *,
    deck_ids: Collection[int],
    history_note: str,
    now: datetime,
    why: StrOrPromise = WORK_BOOKED,
) -> int:
    """Take back all drafts and unanswered offers about these decks; how many there were."""
    offers = Offer.objects.filter(scopes__deck__in=deck_ids)
    return withdraw_each_offer(offers, why=why, history_note=history_note, now=now)


@receiver(clients_left)
@transaction.atomic
def withdraw_offers_of_clients(
    *, client_ids: Collection[int], words: str, now: datetime, **_signal: object
) -> int:
    """Take back all drafts and unanswered offers to these clients; how many there were."""
    why = _("You asked to hear no more from us, or your entry was closed.")
    offers = Offer.objects.filter(client__in=client_ids)
    return withdraw_each_offer(offers, why=why, history_note=words, now=now)


@transaction.atomic
def withdraw_offers_of_coated_decks(*, deck_ids: Collection[int], now: datetime) -> int:
    """Take back what is about decks that were coated since the offer was drafted;
    how many offers there were."""
    surely_laid_on = Coalesce("laid_from", "laid_on")
    newer = (
        Coat.objects.newest()
        .annotate(surely_laid_on=surely_laid_on)
        .filter(deck=OuterRef("deck"), surely_laid_on__gte=OuterRef("offer__drafted_on"))
    )
    scopes = OfferScope.objects.filter(deck__in=deck_ids).filter(Exists(newer))
    offers = Offer.objects.filter(pk__in=scopes.values("offer"))
    return withdraw_each_offer(
        offers, why=_("The work on the deck has been done."), history_note="", now=now
    )


def withdraw_each_offer(
    offers: OfferQuerySet, *, why: StrOrPromise, history_note: str, now: datetime
) -> int:
    found = list(Offer.objects.filter(pk__in=offers.values("pk")).unanswered().order_by("pk"))
    for offer in found:
        withdraw_offer(offer=offer, why=why, history_note=history_note, by=None, now=now)
    return len(found)
