"""What is done with an offer by a button: send, revise, withdraw, answer a question, print."""

from collections.abc import Callable
from functools import wraps

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients.access import business_of, current_user, office_required, redirect_back
from clients.messaging.unsendable import Unsendable
from clients.models import primary_keys
from jobs.actions import offer_questions, offer_sending
from jobs.actions import offers as actions
from jobs.actions.offers import OfferError
from jobs.forms import offers as forms
from jobs.models import Offer
from jobs.pdf import offer_pdf
from jobs.views.offers import offer_or_404

MAX_OFFERS_SENT = 20  # each one is printed as PDF while the browser waits

OfferAction = Callable[[HttpRequest, Offer], Offer]


def offer_button(action: OfferAction) -> Callable[[HttpRequest, int], HttpResponse]:
    """A button of an offer's page: does it, says so or why not, and shows the offer that it led
    to."""

    @office_required
    @require_POST
    @wraps(action)
    def view(request: HttpRequest, pk: int) -> HttpResponse:
        offer = offer_or_404(pk)
        try:
            offer = action(request, offer)
        except (OfferError, Unsendable) as problem:
            messages.error(request, f"Nothing was done. {problem}")
        return redirect_back(request, "offers:detail", offer.pk)

    return view


@offer_button
def offer_send(request: HttpRequest, offer: Offer) -> Offer:
    channel = request.POST.get("channel", "")
    offer_sending.send_offer(
        offer=offer, channel=channel, by=current_user(request), now=timezone.now()
    )
    messages.success(request, "The offer is in the outbox. From now on it stays as it is.")
    return offer


@offer_button
def offer_revise(request: HttpRequest, offer: Offer) -> Offer:
    now = timezone.now()
    new = actions.revise_offer(
        offer=offer, today=business_of(request).today(now), now=now, by=current_user(request)
    )
    messages.success(
        request, f"This is revision {new.revision}. The former one can no longer be answered."
    )
    return new


@offer_button
def offer_withdraw(request: HttpRequest, offer: Offer) -> Offer:
    form = forms.WithdrawOfferForm(request.POST)
    if not form.is_valid():
        raise OfferError("Say in a few words why; at most 300 characters.", "why")
    actions.withdraw_offer(
        offer=offer, why=form.cleaned_data["why"], by=current_user(request), now=timezone.now()
    )
    messages.success(request, "The offer is withdrawn.")
    return offer


@offer_button
def offer_answer(request: HttpRequest, offer: Offer) -> Offer:
    form = forms.QuestionAnswerForm(request.POST)
    if not form.is_valid():
        raise OfferError("Write the answer; at most 2,000 characters.", "answer")
    _, is_mailed = offer_questions.answer_question(
        offer=offer, words=form.cleaned_data["answer"], by=current_user(request), now=timezone.now()
    )
    where = (
        "It stands on the offer's page and goes out by e-mail."
        if is_mailed
        else "It stands on the offer's page."
    )
    messages.success(request, f"Answered. {where}")
    return offer


@office_required
@require_GET
def show_offer_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The offer on paper, as the client gets it but for the link."""
    offer = offer_or_404(pk)
    disposition = f'inline; filename="{offer.file_name}"'
    return HttpResponse(
        offer_pdf(offer), "application/pdf", headers={"Content-Disposition": disposition}
    )


@office_required
@require_POST
def send_chosen_offers(request: HttpRequest) -> HttpResponse:
    """Several drafts at once, each by itself: what cannot go stays a draft, and says why."""
    ticked = primary_keys(request.POST.getlist("offer"))
    channel = request.POST.get("channel", offer_sending.offer_channels()[0])
    if not ticked or len(ticked) > MAX_OFFERS_SENT:
        messages.error(
            request, f"Choose at least one draft and at most {MAX_OFFERS_SENT}, then send."
        )
        return redirect("offers:list")
    sent = sum(
        send_or_warn(request, offer, channel)
        for offer in Offer.objects.filter(pk__in=ticked).order_by("number")
    )
    if sent:
        messages.success(
            request,
            f"{sent} offer{'s' if sent > 1 else ''} queued. See the outbox for what follows.",
        )
    return redirect("offers:list")


def send_or_warn(request: HttpRequest, offer: Offer, channel: str) -> bool:
    try:
        offer_sending.send_offer(
            offer=offer, channel=channel, by=current_user(request), now=timezone.now()
        )
    except (OfferError, Unsendable) as problem:
        messages.warning(request, f"Offer {offer.reference} was not sent. {problem}")
        return False
    return True
