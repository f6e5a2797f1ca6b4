"""Offers as the business sees them: the list, one offer, and its draft being changed."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.models import primary_keys
from clients.pages import business_of, business_today, current_user, office_required
from jobs.actions import offer_sending
from jobs.actions import offers as actions
from jobs.actions.offers import OfferError
from jobs.forms import offers as forms
from jobs.models import Offer, OfferEvent
from jobs.offers import build_offer_page

OFFERS_A_PAGE = 50
State = Offer.State
Kind = OfferEvent.Kind


@office_required
@require_GET
def list_offers(request: HttpRequest) -> HttpResponse:
    """All offers, newest first; `?state=` and `?q=` narrow it, `?chosen=4.7` ticks drafts."""
    today = business_today(request)
    state = request.GET.get("state", "")
    words = request.GET.get("q", "").replace("\0", "").strip()[:200]
    state = state if state in dict(forms.STATE_FILTERS) else ""
    rows = Offer.objects.in_state(state, today=today).matching(words).for_list()
    filters = {name: value for name, value in (("state", state), ("q", words)) if value}
    found = Offer.objects.count_by_state(today=today)
    context = {
        "page": Paginator(rows, OFFERS_A_PAGE).get_page(request.GET.get("page")),
        "state": state,
        "words": words,
        "counts": [
            (value, label, found[value]) for value, label in forms.STATE_FILTERS if found.get(value)
        ],
        "query": urlencode(filters),
        "today": today,
        "chosen": primary_keys(request.GET.get("chosen", "").split(".")),
    }
    return render(request, "jobs/offers/list.html", context)


def offer_or_404(pk: int) -> Offer:
    return get_object_or_404(Offer.objects.with_details(), pk=pk)


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def show_offer(request: HttpRequest, pk: int) -> HttpResponse:
    """One revision; a draft is changed here."""
    offer = offer_or_404(pk)
    today = business_today(request)
    if offer.state != State.DRAFT:
        if request.method == "POST":
            messages.error(
                request,
                "This offer is no draft any more, so nothing was changed. Revise it instead.",
            )
            return redirect("offers:detail", pk)
        return render_offer(request, offer)
    if request.method != "POST":
        return render_offer(request, offer, forms.unbound_draft_forms(offer, today=today))
    if "add_row" in request.POST:
        return render_offer(
            request, offer, forms.draft_forms_with_row(request.POST, offer, today=today)
        )
    return submit_offer_change(
        request, offer, forms.bound_draft_forms(request.POST, offer, today=today)
    )


def submit_offer_change(
    request: HttpRequest, offer: Offer, filled: forms.DraftForms
) -> HttpResponse:
    if filled.is_valid():
        try:
            actions.change_offer(
                offer=offer,
                words=filled.form.words(),
                lines=filled.line_inputs(),
                now=timezone.now(),
                seen=filled.form.cleaned_data["seen"] or 0,
                by=current_user(request),
            )
            messages.success(request, "Saved and recalculated.")
            return redirect("offers:detail", offer.pk)
        except OfferError as problem:
            filled.form.add_error(problem.field or None, str(problem))
    return render_offer(request, offer, filled)


def render_offer(
    request: HttpRequest,
    offer: Offer,
    filled: forms.DraftForms | None = None,
    *,
    answer: forms.QuestionAnswerForm | None = None,
) -> HttpResponse:
    now = timezone.now()
    today = business_of(request).today(now)
    context: dict[str, Any] = {
        "offer": offer,
        "page": build_offer_page(offer, today=today),
        "filled": filled,
        "today": today,
        "is_open": "add_row" in request.POST,
        "is_expired": offer.is_expired(today=today),
        "others": other_revisions(offer),
        "changes": offer.change_orders.order_by("number"),
        "note": next(
            (event.note for event in reversed(offer.events.all()) if event.kind == Kind.DRAFTED), ""
        ),
        "ways": (
            offer_sending.offer_routes(offer, today=today) if offer.state == State.DRAFT else []
        ),
        "withdraw": forms.WithdrawOfferForm(),
        "leaves_out": any(scope.left_out for scope in offer.scopes.all()),
        "answer": answer or forms.QuestionAnswerForm(),
        "messages_sent": offer.messages().order_by("-id"),
    }
    return render(request, "jobs/offers/detail.html", context)


def other_revisions(offer: Offer) -> Any:
    return Offer.objects.filter(number=offer.number).exclude(pk=offer.pk).order_by("-revision")
