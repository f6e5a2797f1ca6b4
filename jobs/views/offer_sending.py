"""Sending offers: first a page that says exactly what goes to whom, then, on a second click, the
outbox."""

from collections import Counter
from collections.abc import Sequence
from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clients import display
from clients.messaging.confirming import ConfirmPage, RowToSend, recent_contact_warnings
from clients.messaging.models import Message, SendingRules
from clients.messaging.unsendable import Unsendable
from clients.messaging.views.confirm import (
    announce_sent,
    is_confirmed,
    render_confirm_page,
    unticked_boxes,
)
from clients.models import primary_keys
from clients.pages import current_user, office_required
from jobs.actions import offer_sending
from jobs.actions.offer_sending import OfferToSend
from jobs.actions.offers import OfferError
from jobs.models import Offer
from jobs.views.offers import offer_or_404

MAX_OFFERS_SENT = 20  # each one is printed as PDF while the browser waits


@office_required
@require_POST
def send_one_offer(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `offers:send`: this draft by the channel of the button."""
    offer = offer_or_404(pk)
    channel = request.POST.get("channel", "")
    back = reverse("offers:detail", args=[pk])
    if is_confirmed(request):
        return send_ticked(request, [offer], back)
    try:
        ready = offer_sending.preview_offer(offer=offer, channel=channel, now=timezone.now())
    except (OfferError, Unsendable) as problem:
        messages.error(request, f"Nothing was done. {problem}")
        return redirect(back)
    return ask_about_offers(request, [ready], (back, f"Offer {offer.reference}"))


@office_required
@require_POST
def send_chosen_offers(request: HttpRequest) -> HttpResponse:
    """The action `offers:send_chosen`: several drafts at once, each by itself: what cannot go stays
    a draft, and says why."""
    chosen = primary_keys(request.POST.getlist("offer"))
    if not chosen or len(chosen) > MAX_OFFERS_SENT:
        messages.error(
            request, f"Choose at least one draft and at most {MAX_OFFERS_SENT}, then send."
        )
        return redirect("offers:list")
    offers = Offer.objects.filter(pk__in=chosen).select_related("client", "site").order_by("number")
    back = reverse("offers:list")
    if is_confirmed(request):
        return send_ticked(request, list(offers), back)
    ready = [each for offer in offers if (each := preview_or_warn(request, offer))]
    if not ready:
        return redirect(back)
    return ask_about_offers(request, ready, (f"{back}?state=draft", "Offers"))


def preview_or_warn(request: HttpRequest, offer: Offer) -> OfferToSend | None:
    channel = request.POST.get("channel", "")
    try:
        return offer_sending.preview_offer(offer=offer, channel=channel, now=timezone.now())
    except (OfferError, Unsendable) as problem:
        messages.warning(request, f"Offer {offer.reference} is left out. {problem}")
        return None


def ask_about_offers(
    request: HttpRequest, ready: Sequence[OfferToSend], back: tuple[str, str]
) -> HttpResponse:
    count = len(ready)
    offers = f"{count} offer{'s' if count > 1 else ''}"
    hidden = [("offer", str(each.offer.pk)) for each in ready]
    hidden += [(f"way_{each.offer.pk}", each.route.channel) for each in ready]
    page = ConfirmPage(
        title=f"Send {offers}?",
        action=request.path,
        hidden=hidden,
        rows=offer_rows(ready, timezone.now()),
        button=f"Send {offers}" if count == 1 else "Send the ticked offers",
        back=back,
        notes=["What is sent stays as it is. A change makes a new revision."],
    )
    return render_confirm_page(request, page)


def offer_rows(ready: Sequence[OfferToSend], now: datetime) -> list[RowToSend]:
    """One that comes too soon after another word to the same client begins without a tick; of
    several to one client in this sending the first keeps it."""
    recent = recent_contact_warnings([each.offer.client_id for each in ready], now=now)
    days = SendingRules.current().days_between
    seen: Counter[int] = Counter()
    rows = []
    for each in ready:
        client = each.offer.client_id
        warning = recent.get(client, "Gets another offer with this one." if seen[client] else "")
        rows.append(offer_row(each, f"{warning} {spacing_rule(days)}" if warning else ""))
        seen[client] += 1
    return rows


def spacing_rule(days: int) -> str:
    return (
        f"Your rule leaves {days} day{'' if days == 1 else 's'} between two messages to a client:"
        " tick it only if they asked for it."
    )


def offer_row(ready: OfferToSend, warning: str) -> RowToSend:
    offer = ready.offer
    total = display.format_money(offer.total, offer.currency)
    decks = ", ".join(scope.deck.label for scope in offer.scopes.select_related("deck"))
    return RowToSend(
        box=str(offer.pk),
        client=offer.client.name,
        channel=ready.route.channel,
        address=ready.route.address,
        subject=ready.written.subject,
        text=ready.written.text.replace("{unsubscribe_url}", "(the client's own link)"),
        about=f"Offer {offer.reference}: {decks}, {total}",
        allowed_by=ready.route.permission.allowed_by,
        passed_over=ready.passed_over,
        parts=ready.written.parts,
        warnings=[warning] if warning else [],
        is_ticked=not warning,
    )


def send_ticked(request: HttpRequest, offers: Sequence[Offer], back: str) -> HttpResponse:
    now = timezone.now()
    left_out = set(primary_keys(unticked_boxes(request)))
    ticked = [offer for offer in offers if offer.pk not in left_out]
    sent = [message for offer in ticked if (message := send_or_warn(request, offer, now))]
    announce_sent(request, sent, now=now)
    if not ticked:
        messages.warning(request, "Nothing was ticked, so nothing was sent.")
    return redirect(back)


def send_or_warn(request: HttpRequest, offer: Offer, now: datetime) -> Message | None:
    channel = request.POST.get(f"way_{offer.pk}", request.POST.get("channel", ""))
    try:
        return offer_sending.send_offer(
            offer=offer, channel=channel, by=current_user(request), now=now
        )
    except (OfferError, Unsendable) as problem:
        messages.warning(request, f"Offer {offer.reference} was not sent. {problem}")
        return None
