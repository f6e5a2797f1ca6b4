"""What is to be done on a deck: the work and why, the materials, the steps, and the weather rules
of the day."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from clients.models import Deck
from clients.pages import business_of, business_today
from jobs.forms.scope import DEFAULT_WEEKS_AHEAD, OverrideForm, ReadingForm, WeeksForm
from jobs.models import Product
from jobs.scope import (
    NO_READING,
    Override,
    cost_of_needs,
    propose_scope,
    purchase,
    weather_checklist,
    weather_of_booked_coat,
)


@require_GET
def show_to_buy(request: HttpRequest) -> HttpResponse:
    """The page `jobs:to_buy`: what all booked work of the coming weeks takes, as one purchase."""
    today = business_today(request)
    form = WeeksForm(request.GET or None)
    weeks = (form.is_valid() and form.cleaned_data["weeks"]) or DEFAULT_WEEKS_AHEAD
    bookings = purchase.bookings_within_weeks(today=today, weeks=weeks)
    scopes = purchase.booked_scopes(bookings, today=today)
    needs = purchase.purchase_needs(scopes.values(), today=today)
    context = {
        "form": form,
        "bookings": bookings,
        "scopes": scopes,
        "needs": needs,
        "cost": cost_of_needs(needs),
        "unsized": [scope.deck for scope in scopes.values() if scope.deck.area_m2 is None],
    }
    return render(request, "jobs/to_buy.html", context)


@require_GET
def show_scope(request: HttpRequest, deck_id: int) -> HttpResponse:
    """The page `jobs:scope`; the address holds what was asked for and measured, so nothing is
    kept."""
    deck = get_object_or_404(Deck.objects.with_owner(), pk=deck_id)
    business = business_of(request)
    finishes = Product.objects.finishes().in_use()
    wish_form = OverrideForm(request.GET or None, finishes=finishes, surfaces=deck.surfaces)
    reading_form = ReadingForm(request.GET or None, units=business.units)
    override = wish_form.override() if wish_form.is_valid() else Override()
    now = timezone.now()
    today = business.today(now)
    proposed = propose_scope(deck, today=today, override=override)
    wish_form.initial["surfaces"] = list(proposed.surfaces)
    reading = reading_form.reading() if reading_form.is_valid() else NO_READING
    context = {
        "deck": deck,
        "scope": proposed,
        "rules": weather_checklist([proposed.product], reading),
        "weather": weather_of_booked_coat(proposed, now=now),
        "wish_form": wish_form,
        "reading_form": reading_form,
    }
    return render(request, "jobs/scope.html", context)
