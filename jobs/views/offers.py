"""Offers as the business sees them: the list, one offer, and its draft being changed."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.access import business_of, sends, signed_in
from jobs.actions import offers as deeds
from jobs.actions import sending
from jobs.actions.offers import OfferProblem
from jobs.forms import offers as forms
from jobs.models import Offer, OfferEvent
from jobs.offers.page import offer_page

A_PAGE = 50
State, Kind = Offer.State, OfferEvent.Kind


@sends
@require_GET
def offer_list(request: HttpRequest) -> HttpResponse:
    """All offers, newest first; `?state=` and `?q=` narrow it."""
    today = business_of(request).today(timezone.now())
    state, words = request.GET.get("state", ""), request.GET.get("q", "").replace("\0", "").strip()[:200]
    state = state if state in dict(forms.STATES) else ""
    rows = Offer.objects.in_state(state, today=today).matching(words).for_list()
    filters = {name: value for name, value in (("state", state), ("q", words)) if value}
    found = Offer.objects.count_by_state(today=today)
    context = {
        "page": Paginator(rows, A_PAGE).get_page(request.GET.get("page")), "state": state, "words": words,
        "counts": [(value, label, found[value]) for value, label in forms.STATES if found.get(value)],
        "query": urlencode(filters), "today": today, "channels": sending.CHANNELS,
    }  # fmt: skip
    return render(request, "jobs/offers/list.html", context)


def offer_or_404(pk: int) -> Offer:
    return get_object_or_404(Offer.objects.whole(), pk=pk)


@sends
@require_http_methods(["GET", "HEAD", "POST"])
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    """One revision; a draft is changed here."""
    offer, today = offer_or_404(pk), business_of(request).today(timezone.now())
    if offer.state != State.DRAFT:
        if request.method == "POST":
            messages.error(request, "This offer is no draft any more, so nothing was changed. Revise it instead.")
            return redirect("offers:detail", pk)
        return show(request, offer)
    if request.method != "POST":
        return show(request, offer, forms.opened(offer, today=today))
    if "add_row" in request.POST:
        return show(request, offer, forms.with_another_row(request.POST, offer, today=today))
    return changed(request, offer, forms.sent(request.POST, offer, today=today))


def changed(request: HttpRequest, offer: Offer, filled: forms.DraftForms) -> HttpResponse:
    if filled.is_valid():
        try:
            deeds.change_offer(
                offer=offer, words=filled.form.words(), lines=filled.typed(), now=timezone.now(),
                seen=filled.form.cleaned_data["seen"] or 0, by=signed_in(request),
            )  # fmt: skip
            messages.success(request, "Saved and reckoned anew.")
            return redirect("offers:detail", offer.pk)
        except OfferProblem as problem:
            filled.form.add_error(problem.field or None, str(problem))
    return show(request, offer, filled)


def show(request: HttpRequest, offer: Offer, filled: forms.DraftForms | None = None) -> HttpResponse:
    now = timezone.now()
    today = business_of(request).today(now)
    context: dict[str, Any] = {
        "offer": offer, "page": offer_page(offer, today=today), "filled": filled, "today": today,
        "is_open": "add_row" in request.POST, "is_expired": offer.is_expired(today=today), "others": revisions(offer),
        "note": next((event.note for event in reversed(offer.events.all()) if event.kind == Kind.DRAFTED), ""),
        "ways": sending.ways(offer, today=today) if offer.state == State.DRAFT else [],
        "withdraw": forms.WithdrawForm(), "answer": forms.AnswerForm(),
        "messages_sent": offer.messages().order_by("-id"),
    }  # fmt: skip
    return render(request, "jobs/offers/detail.html", context)


def revisions(offer: Offer) -> Any:
    return Offer.objects.filter(number=offer.number).exclude(pk=offer.pk).order_by("-revision")
