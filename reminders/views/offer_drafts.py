"""Drafting offers for chosen decks, or for a whole due list, in one step; nothing is sent."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clients.models import primary_keys
from clients.pages import business_of, current_user, office_required, posted_back
from jobs.actions.offers import OfferError
from jobs.models import Offer
from jobs.offers import PricingError
from reminders import offer_drafting
from reminders.due import due_list
from reminders.models import ForecastQuerySet
from reminders.months import month_key
from reminders.views.remind import posted_month

MAX_DECKS_AT_ONCE = 500
MAX_REPORTED = 5


@office_required
@require_POST
def create_offer_drafts(request: HttpRequest) -> HttpResponse:
    """The action `reminders:draft_offers`: `deck` for each chosen one, or `whole` for the list of
    `month`."""
    ids = (
        deck_ids_of_list(request)
        if "whole" in request.POST
        else primary_keys(request.POST.getlist("deck"))
    )
    back = posted_back(request) or (
        request.POST.get("month")
        and reverse("reminders:due_month", args=[month_key(posted_month(request))])
    )
    if not ids or len(ids) > MAX_DECKS_AT_ONCE:
        messages.error(
            request, f"Choose at least one deck and at most {MAX_DECKS_AT_ONCE}, then draft."
        )
        return redirect(back or "reminders:due")
    now = timezone.now()
    try:
        drafted = offer_drafting.draft_offers(
            deck_ids=ids, today=business_of(request).today(now), now=now, by=current_user(request)
        )
    except PricingError as problem:
        messages.error(request, f"No offer was drafted. {problem}")
        return redirect(back or "prices:list")
    report_drafting(request, drafted)
    return redirect(url_after_drafting(drafted, back))


@office_required
@require_POST
def recalculate_offer_draft(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `reminders:redraft_offer`: a draft again from history and prices as they are
    now."""
    offer = get_object_or_404(Offer, pk=pk)
    now = timezone.now()
    try:
        offer_drafting.recalculate_from_forecast(
            offer=offer,
            today=business_of(request).today(now),
            now=now,
            by=current_user(request),
            wishes=offer_drafting.RedraftWishes(
                "without_sanding" in request.POST, "every_surface" in request.POST
            ),
        )
        messages.success(request, "Recalculated.")
    except (OfferError, PricingError) as problem:
        messages.error(request, f"Nothing was changed. {problem}")
    return redirect("offers:detail", pk)


def deck_ids_of_list(request: HttpRequest) -> list[int]:
    """All decks of the list that was on the screen: of the month, or still open from before."""
    month = posted_month(request)
    rows: ForecastQuerySet = (
        due_list.carried_over(month)
        if request.POST["whole"] == "earlier"
        else due_list.due_in_month(month)
    )
    return list(rows.order_by("due_on", "deck_id").values_list("deck_id", flat=True))


def url_after_drafting(drafted: offer_drafting.DraftingResult, back: str | None) -> str:
    """The one draft, the list of drafts with these ticked, or where one came from."""
    if len(drafted.offers) == 1:
        return reverse("offers:detail", args=[drafted.offers[0].pk])
    if not drafted.offers:
        return back or reverse("offers:list")
    chosen = ".".join(str(offer.pk) for offer in drafted.offers)
    return f"{reverse('offers:list')}?state=draft&chosen={chosen}"


def report_drafting(request: HttpRequest, drafted: offer_drafting.DraftingResult) -> None:
    """How many were drafted, and who was left out and why."""
    count = len(drafted.offers)
    left_out = len(drafted.left_out)
    if count:
        messages.success(
            request, f"{count} offer{'s' if count > 1 else ''} drafted. Nothing is sent yet."
        )
    for deck, why in drafted.left_out[:MAX_REPORTED]:
        messages.warning(
            request, f"{deck.site.client.name}, {deck.label}: no offer was drafted. {why}"
        )
    if left_out > MAX_REPORTED:
        messages.warning(
            request, f"{left_out - MAX_REPORTED} more decks were left out for reasons of this kind."
        )
