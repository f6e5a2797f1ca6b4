"""What is done with an offer by a button: revise, withdraw, answer a question, print."""

from collections.abc import Callable
from functools import wraps

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients.messaging.unsendable import Unsendable
from clients.pages import business_of, current_user, office_required, redirect_back
from jobs.actions import offer_questions
from jobs.actions import offers as actions
from jobs.actions.offers import OfferError
from jobs.forms import offers as forms
from jobs.models import Offer
from jobs.pdf import offer_pdf, pdf_response
from jobs.views.offers import offer_or_404, render_offer

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
def offer_change_order(request: HttpRequest, offer: Offer) -> Offer:
    now = timezone.now()
    today = business_of(request).today(now)
    return actions.draft_change_order(offer=offer, today=today, now=now, by=current_user(request))


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


@office_required
@require_POST
def offer_answer(request: HttpRequest, pk: int) -> HttpResponse:
    """Answer a question; what could not be taken stands in its field again."""
    offer = offer_or_404(pk)
    form = forms.QuestionAnswerForm(request.POST)
    if not form.is_valid():
        return render_offer(request, offer, answer=form)
    words = form.cleaned_data["answer"]
    try:
        _, is_mailed = offer_questions.answer_question(
            offer=offer, words=words, by=current_user(request), now=timezone.now()
        )
    except (OfferError, Unsendable) as problem:
        form.add_error("answer", f"Nothing was done. {problem}")
        return render_offer(request, offer, answer=form)
    where = (
        "It stands on the offer's page and goes out by e-mail."
        if is_mailed
        else "It stands on the offer's page."
    )
    messages.success(request, f"Answered. {where}")
    return redirect_back(request, "offers:detail", offer.pk)


@office_required
@require_GET
def show_offer_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The offer on paper, as the client gets it but for the link; `?lines=all` names each line."""
    offer = offer_or_404(pk)
    content = offer_pdf(offer, is_detailed="lines" in request.GET)
    return pdf_response(content, offer.file_name)
