"""Drafting offers for chosen decks, or for a whole due list, in one step; nothing is sent."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clients.access import business_of, sends, signed_in
from jobs.actions.offers import OfferProblem
from jobs.models import Offer
from jobs.offers.pricing import PricingProblem
from reminders import offering
from reminders.due import due_list
from reminders.models import ForecastQuerySet
from reminders.months import written
from reminders.views.remind import decks_asked, month_asked

MOST = 500
MOST_TOLD = 5


@sends
@require_POST
def draft_offers(request: HttpRequest) -> HttpResponse:
    """The door `reminders:draft_offers`: `deck` for each chosen one, or `whole` for the list of `month`."""
    ids = whole_list(request) if "whole" in request.POST else decks_asked(request)
    back = request.POST.get("month") and reverse("reminders:due_month", args=[written(month_asked(request))])
    if not ids or len(ids) > MOST:
        messages.error(request, f"Choose at least one deck and at most {MOST}, then draft.")
        return redirect(back or "reminders:due")
    now = timezone.now()
    try:
        drafted = offering.draft_offers(
            deck_ids=ids, today=business_of(request).today(now), now=now, by=signed_in(request)
        )
    except PricingProblem as problem:
        messages.error(request, f"No offer was drafted. {problem}")
        return redirect(back or "prices:list")
    tell(request, drafted)
    return redirect(place(drafted, back))


@sends
@require_POST
def redraft_offer(request: HttpRequest, pk: int) -> HttpResponse:
    """The door `reminders:redraft_offer`: a draft reckoned anew from history and prices as they are now."""
    offer, now = get_object_or_404(Offer, pk=pk), timezone.now()
    try:
        offering.redraft_offer(offer=offer, today=business_of(request).today(now), now=now, by=signed_in(request))
        messages.success(request, "Reckoned anew.")
    except (OfferProblem, PricingProblem) as problem:
        messages.error(request, f"Nothing was changed. {problem}")
    return redirect("offers:detail", pk)


def whole_list(request: HttpRequest) -> list[int]:
    """All decks of the list that was on the screen: of the month, or still open from before."""
    month = month_asked(request)
    rows: ForecastQuerySet = (
        due_list.carried_over(month) if request.POST["whole"] == "earlier" else due_list.month_list(month)
    )
    return list(rows.order_by("due_on", "deck_id").values_list("deck_id", flat=True))


def place(drafted: offering.Drafted, back: str | None) -> str:
    """The one draft, the list of drafts, or where one came from."""
    if len(drafted.offers) == 1:
        return reverse("offers:detail", args=[drafted.offers[0].pk])
    return f"{reverse('offers:list')}?state=draft" if drafted.offers else back or reverse("offers:list")


def tell(request: HttpRequest, drafted: offering.Drafted) -> None:
    """How many were drafted, and who was left out and why."""
    count, left_out = len(drafted.offers), len(drafted.left_out)
    if count:
        messages.success(request, f"{count} offer{'s' if count > 1 else ''} drafted. Nothing is sent yet.")
    for deck, why in drafted.left_out[:MOST_TOLD]:
        messages.warning(request, f"{deck.property.client.name}, {deck.label}: no offer was drafted. {why}")
    if left_out > MOST_TOLD:
        messages.warning(request, f"{left_out - MOST_TOLD} more decks were left out for reasons of this kind.")
