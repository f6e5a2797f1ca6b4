"""A house is sold; a deck stands elsewhere."""

from typing import Any

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.doubles import LikelyDouble, clients_like
from clients.models import Client, Deck, Property, primary_keys
from clients.pages import FormPage, business_today, current_user, office_required, render_form_page
from jobs.actions import moving
from jobs.forms.moving import SaleForm

MAX_FOUND_SITES = 20
SOMEBODY_NEW = "new"


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def property_sold(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:sold`: who has the property now. Somebody like a client of the book is asked
    about."""
    site = get_object_or_404(Property.objects.select_related("client"), pk=pk)
    today = business_today(request)
    data = request.POST if request.method == "POST" else None
    form = SaleForm(data, country=site.country, today=today, initial={"sold_on": today})
    likely: list[LikelyDouble] = []
    if form.is_bound and form.is_valid():
        likely = buyers_like(request, site, form)
        answer = None if likely else enter_sale(request, site, form)
        if answer:
            return answer
    crumbs = {"client": site.client, "home": site, "leaf": "House sold"}
    around = sale_page(site)
    return render_form_page(request, around, form=form, site=site, likely=likely, crumbs=crumbs)


def sale_page(site: Property) -> FormPage:
    what = ", ".join(deck.label for deck in site.decks.all()) or "The property"
    return FormPage(
        f"{site.street} is sold",
        f"{what} with all jobs and photos goes to the new owner. {site.client} stays in the book;"
        " their numbers, consents, offers and messages stay with them.",
        fields="jobs/_sold_fields.html",
        button="Enter the new owner",
        cancel=reverse("clients:detail", args=[site.client_id]),
        is_checked_by_browser=False,
    )


def buyers_like(request: HttpRequest, site: Property, form: SaleForm) -> list[LikelyDouble]:
    """Clients of the book who may be the new owner, until it was said who it is."""
    if "buyer" in request.POST or not form.cleaned_data["name"]:
        return []
    name = form.cleaned_data["name"]
    found = clients_like(name=name, contacts=form.contacts, street="", town="")
    return [each for each in found if each.one.pk != site.client_id]


def enter_sale(request: HttpRequest, site: Property, form: SaleForm) -> HttpResponse | None:
    values = form.cleaned_data
    keys = primary_keys(request.POST.getlist("buyer"))
    owner = moving.NewOwner(
        client=get_object_or_404(Client, pk=keys[0]) if keys else None,
        name=values["name"],
        phones=tuple(filter(None, [values["phone"]])),
        emails=tuple(filter(None, [values["email"]])),
    )
    try:
        buyer = moving.sell_property(
            site=site,
            owner=owner,
            sold_on=values["sold_on"],
            by=current_user(request),
            now=timezone.now(),
        )
    except moving.HandOverError as error:
        form.add_error(None, str(error))
        return None
    messages.success(
        request, f"{site.street} belongs to {buyer} now. {site.client} stays in the book."
    )
    if owner.client or not form.contacts:
        return redirect("clients:detail", buyer.pk)
    messages.info(request, "Nobody writes to them before they agree. Ask, and record it here.")
    return redirect("clients:add_consent", buyer.pk)


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def deck_elsewhere(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:move_deck`: another property of this client, or one that is looked up."""
    deck = get_object_or_404(Deck.objects.with_owner(), pk=pk)
    if request.method == "POST":
        keys = primary_keys(request.POST.getlist("site"))
        site = get_object_or_404(Property, pk=keys[0] if keys else 0)
        try:
            moving.move_deck(deck=deck, site=site, now=timezone.now())
        except moving.HandOverError as error:
            messages.error(request, str(error))
            return redirect("jobs:move_deck", pk)
        messages.success(request, f"The deck is at {site.address} now, with its history.")
        return redirect("decks:detail", pk)
    words = request.GET.get("q", "").replace("\x00", "").strip()[:400]
    context = places_for(deck, words)
    page = FormPage(
        f"Move {deck.label}",
        "To another property, with its jobs and photos.",
        before="jobs/_find_property.html",
        fields="jobs/_move_deck_fields.html",
        button="Move the deck",
        cancel=reverse("decks:detail", args=[pk]),
        has_form=bool(context["sites"]),
    )
    crumbs = {"client": deck.site.client, "home": deck.site, "deck": deck, "leaf": "Move"}
    return render_form_page(request, page, deck=deck, crumbs=crumbs, **context)


def places_for(deck: Deck, words: str) -> dict[str, Any]:
    rows = Property.objects.select_related("client").exclude(pk=deck.site_id)
    rows = rows.filter(client__archived_at=None)
    if words:
        found = rows.filter(Q(client__name__icontains=words) | Q(street__icontains=words))
    else:
        found = rows.filter(client=deck.site.client_id)
    return {"words": words, "sites": found[:MAX_FOUND_SITES]}
