"""What is to be done on a deck: the work and why, the materials, the steps, and the weather rules of the day."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET

from clients.access import business_of
from clients.models import Deck
from jobs.forms.scope import USUAL_WEEKS, ReadingForm, WeeksForm, WishForm
from jobs.models import Product
from jobs.offers.forecast_summary import foretold
from jobs.scope import Wish, propose_one, purchase
from jobs.scope.checklist import NOTHING, checklist
from jobs.scope.parts import cost_of


@require_GET
def to_buy(request: HttpRequest) -> HttpResponse:
    """The page `jobs:to_buy`: what all booked work of the coming weeks takes, as one purchase."""
    today = business_of(request).today(timezone.now())
    form = WeeksForm(request.GET or None)
    weeks = (form.is_valid() and form.cleaned_data["weeks"]) or USUAL_WEEKS
    bookings = purchase.booked_until(today=today, weeks=weeks)
    scopes = purchase.scopes_of(bookings, today=today)
    needs = purchase.together(scopes.values(), today=today)
    context = {"form": form, "bookings": bookings, "scopes": scopes, "needs": needs, "cost": cost_of(needs)}
    return render(request, "jobs/to_buy.html", context)


@require_GET
def scope(request: HttpRequest, deck_id: int) -> HttpResponse:
    """The page `jobs:scope`; the address holds what was wished for and measured, so nothing is kept."""
    deck = get_object_or_404(Deck.objects.with_owner(), pk=deck_id)
    business = business_of(request)
    wish_form = WishForm(request.GET or None, finishes=Product.objects.finishes().in_use())
    reading_form = ReadingForm(request.GET or None, units=business.units)
    wish = wish_form.wish() if wish_form.is_valid() else Wish()
    today = business.today(timezone.now())
    proposed = propose_one(deck, today=today, wish=wish)
    reading = reading_form.reading() if reading_form.is_valid() else NOTHING
    context = {
        "deck": deck,
        "scope": proposed,
        "foretold": foretold([deck.pk], today=today).get(deck.pk),
        "rules": checklist([proposed.product], reading),
        "wish_form": wish_form,
        "reading_form": reading_form,
    }
    return render(request, "jobs/scope.html", context)
