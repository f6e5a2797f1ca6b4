"""Offers that something else has overtaken:
they are taken back, and the client reads why in their own language."""

from collections.abc import Collection
from datetime import datetime

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils.translation import gettext_lazy as _

from clients.languages import StrOrPromise
from clients.models import User
from jobs.actions.offers import withdraw_offer
from jobs.models import Job, Offer, OfferScope
from jobs.models.offer import OfferQuerySet


@transaction.atomic
def withdraw_offers_about_decks(
    *, deck_ids: Collection[int], history_note: str, now: datetime, by: User | None = None
) -> int:
    """Take back all drafts and unanswered offers about these booked decks; how many there were."""
    offers = Offer.objects.filter(scopes__deck__in=deck_ids)
    return withdraw_each_offer(
        offers, why=_("The work was booked."), history_note=history_note, now=now, by=by
    )


@transaction.atomic
def withdraw_offers_of_clients(
    *, client_ids: Collection[int], history_note: str, now: datetime, by: User | None = None
) -> int:
    """Take back all drafts and unanswered offers to these clients; how many there were."""
    why = _("You asked to hear no more from us, or your entry was closed.")
    return withdraw_each_offer(
        Offer.objects.filter(client__in=client_ids),
        why=why,
        history_note=history_note,
        now=now,
        by=by,
    )


@transaction.atomic
def withdraw_offers_of_coated_decks(
    *, deck_ids: Collection[int], now: datetime, by: User | None = None
) -> int:
    """Take back what is about decks that were coated since the offer was drafted;
    how many offers there were."""
    newer = Job.objects.coating().filter(
        deck=OuterRef("deck"), finished_on__gte=OuterRef("offer__drafted_on")
    )
    scopes = OfferScope.objects.filter(deck__in=deck_ids).filter(Exists(newer))
    offers = Offer.objects.filter(pk__in=scopes.values("offer"))
    return withdraw_each_offer(
        offers, why=_("The work on the deck has been done."), history_note="", now=now, by=by
    )


def withdraw_each_offer(
    offers: OfferQuerySet, *, why: StrOrPromise, history_note: str, now: datetime, by: User | None
) -> int:
    found = list(Offer.objects.filter(pk__in=offers.values("pk")).unanswered().order_by("pk"))
    for offer in found:
        withdraw_offer(offer=offer, why=why, history_note=history_note, by=by, now=now)
    return len(found)
