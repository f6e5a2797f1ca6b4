"""The offer as the client sees it, behind a link of its own:
look, choose a week, accept, decline, ask.

GET changes nothing, for mail scanners follow links. The token is the proof, so no cookie is needed;
the pages tell nobody where they are (no referrer), are stored nowhere and stay out of search
engines.
"""

from collections.abc import Callable, Sequence
from datetime import date, datetime
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods, require_safe

from clients import display
from clients.messaging.models import Attachment
from clients.pages import business_of
from clients.tables import attachment_response
from jobs.actions import offer_answers
from jobs.actions.bookings import NoRoomError
from jobs.actions.offer_answers import AnswerError
from jobs.diary import icalendar_files
from jobs.forms.answer import AcceptForm, AskForm, DeclineForm, RescindForm
from jobs.models import Offer, Photo
from jobs.offers import (
    DEAD_LINK_STATES,
    OfferPage,
    bookable_weeks,
    build_offer_page,
    is_offer_link_expired,
    links,
    offer_by_token_hash,
    week_text,
)
from jobs.pdf import offer_pdf, pdf_response
from jobs.photos import stored_thumbnail

MAX_OFFER_POST_BYTES = 64 * 1024  # an answer is a few lines
PublicView = Callable[..., HttpResponse]


def unlisted(view: PublicView) -> PublicView:
    """For everyone who has the link, and for nobody else: no sign-in, no cookie, no trace."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = view(request, *args, **kwargs)
        response["Referrer-Policy"] = "no-referrer"
        response["X-Robots-Tag"] = "noindex, nofollow, noarchive"
        return response

    return csrf_exempt(login_not_required(never_cache(guarded)))


@unlisted
@require_http_methods(["GET", "HEAD", "POST"])
def show_public_offer(request: HttpRequest, token: str) -> HttpResponse:
    if content_length(request) > MAX_OFFER_POST_BYTES:
        return render_closed_link(request, "too_long", 413)
    found = offer_by_token_hash(links.token_hash(token))
    if found is None:
        return render_closed_link(request, "unknown", 404)
    now = timezone.now()
    today = business_of(request).today(now)
    with display.in_client_language(found.language):
        if is_offer_link_expired(found, business_of(request), today=today):
            return render_client_link(request, "ended", 410, is_offer=True)
        page = build_offer_page(found, today=today)
        if request.method != "POST":
            return render_public_offer(request, page, public_forms(page))
        return handle_answer_post(request, page, token, now)


def content_length(request: HttpRequest) -> int:
    length = request.META.get("CONTENT_LENGTH") or "0"
    return int(length) if str(length).isdecimal() else MAX_OFFER_POST_BYTES + 1


def public_forms(page: OfferPage, action: str = "", data: Any = None) -> dict[str, Form]:
    """The forms that may be sent now, the one that was sent with what was typed."""
    typed = {action: data}
    forms: dict[str, Form] = {"ask": AskForm(typed.get("ask"))}
    if page.is_open:
        is_change = page.offer.original_id is not None
        weeks = None if is_change else bookable_weeks(page.offer, today=page.today)
        forms |= {
            "accept": accept_form(page, weeks, typed.get("accept")),
            "decline": DeclineForm(typed.get("decline")),
        }
    elif page.right_to_withdraw and offer_answers.is_rescindable(page.offer, today=page.today):
        forms["rescind"] = RescindForm(typed.get("rescind"))
    return forms


def accept_form(page: OfferPage, weeks: Sequence[date] | None, data: Any) -> AcceptForm:
    return AcceptForm(data, weeks=weeks, right=page.right_to_withdraw, today=page.today)


def handle_answer_post(
    request: HttpRequest, page: OfferPage, token: str, now: datetime
) -> HttpResponse:
    """Do what was asked, then show the page again; what cannot be done is said beside the form."""
    action = request.POST.get("answer", "")
    forms = public_forms(page, action, request.POST)
    form = forms.get(action)
    if form is None:  # answered already, or no button of ours
        return redirect_to_public_offer(token)
    if not form.is_valid():
        return render_public_offer(request, page, forms, status=422)
    try:
        with display.in_staff_language():  # what is noted of it is read in the office
            ANSWER_ACTIONS[action](token_hash=links.token_hash(token), now=now, **form.cleaned_data)
    except NoRoomError:
        return render_no_room(request, page, form)
    except AnswerError as error:
        form.add_error(None, str(error))
        return render_public_offer(request, page, forms, status=409)
    return redirect_to_public_offer(token, "talk" if action == "ask" else "state")


def redirect_to_public_offer(token: str, part: str = "state") -> HttpResponse:
    """To the page, at the part that says what became of the answer."""
    return redirect(f"{reverse('offer_public', args=[token])}#{part}")


ANSWER_ACTIONS: dict[str, Callable[..., Any]] = {
    "accept": offer_answers.accept_offer,
    "decline": offer_answers.decline_offer,
    "ask": offer_answers.ask_question,
    "rescind": offer_answers.rescind_acceptance,
}


def render_no_room(request: HttpRequest, page: OfferPage, sent: Form) -> HttpResponse:
    """Somebody was quicker: the weeks that are left, the name still in its place, the offer still
    open."""
    week = week_text(sent.cleaned_data["week"])
    why = _("The week of {week} has no room for this work any more. Choose another.").format(
        week=week
    )
    forms = public_forms(page)
    weeks = bookable_weeks(page.offer, today=page.today)
    form = accept_form(page, weeks, {"accept-name": sent.cleaned_data["name"]})
    form.errors["week"] = form.error_class([why])
    return render_public_offer(request, page, forms | {"accept": form}, status=409)


def render_public_offer(
    request: HttpRequest, page: OfferPage, forms: dict[str, Form], status: int = 0
) -> HttpResponse:
    is_gone = page.state in DEAD_LINK_STATES
    context = {
        "page": page,
        "offer": page.offer,
        "forms": forms,
        "is_gone": is_gone,
        "navigation": [],
    }
    return render(
        request, "jobs/public/offer.html", context, status=status or (410 if is_gone else 200)
    )


def render_closed_link(request: HttpRequest, why: str, status: int) -> HttpResponse:
    """Nobody knows whose page it is, so it is in the language of the business."""
    with display.in_client_language(""):
        return render_client_link(request, why, status, is_offer=True)


def render_client_link(
    request: HttpRequest, why: str, status: int, *, is_offer: bool
) -> HttpResponse:
    """A client's link that shows nothing, and why; in the language in force."""
    context = {"why": why, "is_offer": is_offer, "navigation": []}
    return render(request, "jobs/public/closed.html", context, status=status)


def public_offer_or_404(request: HttpRequest, token: str) -> OfferPage:
    """For what belongs to the page; nothing of an offer that is gone."""
    found = offer_by_token_hash(links.token_hash(token))
    business = business_of(request)
    today = business.today(timezone.now())
    page = build_offer_page(found, today=today) if found else None
    if (
        page is None
        or page.state in DEAD_LINK_STATES
        or is_offer_link_expired(page.offer, business, today=today)
    ):
        raise Http404("This link leads to no offer.")
    return page


@unlisted
@require_safe
def show_public_photo(request: HttpRequest, token: str, pk: int) -> HttpResponse:
    """A photograph that the offer's page shows; no other."""
    shown_there = {
        part.photo.pk: part.photo
        for part in public_offer_or_404(request, token).decks
        if part.photo
    }
    if pk not in shown_there:
        raise Http404("This photograph is not part of the offer.")
    return client_photo(shown_there[pk])


def client_photo(photo: Photo) -> HttpResponse:
    """The small copy, which is all that clients see."""
    try:
        return HttpResponse(stored_thumbnail(photo.image.name or ""), content_type="image/jpeg")
    except OSError as error:
        raise Http404("The file of this photograph is missing.") from error


@unlisted
@require_safe
def show_public_pdf(request: HttpRequest, token: str) -> HttpResponse:
    """The offer as PDF: the very file that went out with the message, where there was one."""
    row = public_offer_or_404(request, token).offer
    sent = sent_offer_pdf(row)
    content = bytes(sent.content) if sent else offer_pdf(row, url=links.offer_url(token))
    return pdf_response(content, row.file_name)


@unlisted
@require_safe
def public_visit_file(request: HttpRequest, token: str) -> HttpResponse:
    """The visit that was agreed on, for the client's own calendar (RFC 5545)."""
    booking = public_offer_or_404(request, token).booking
    if booking is None:
        raise Http404("No visit is booked for this offer.")
    content = icalendar_files.client_calendar_file(
        booking, business_of(request), now=timezone.now()
    )
    return attachment_response(content, "text/calendar; charset=utf-8", "visit.ics")


def sent_offer_pdf(row: Offer) -> Attachment | None:
    key = f"offer/{row.number}-{row.revision}/"
    papers = Attachment.objects.filter(
        message__idempotency_key__startswith=key, media_type="application/pdf"
    )
    return papers.order_by("id").first()
