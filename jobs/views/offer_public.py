"""The offer as the client sees it, behind a link of its own: look, choose a week, accept, decline, ask.

GET changes nothing, for mail scanners follow links. The token is the proof, so no cookie is needed; the pages tell
nobody where they are (no referrer), are stored nowhere and stay out of search engines.
"""

from collections.abc import Callable
from datetime import datetime
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
from clients.access import business_of
from clients.messaging.models import Attachment
from jobs.actions import answers
from jobs.actions.answers import AnswerError
from jobs.actions.bookings import NoRoomError
from jobs.diary import calendar
from jobs.forms.answer import AcceptForm, AskForm, DeclineForm
from jobs.models import Offer
from jobs.offers import links
from jobs.offers.link_expiry import has_ended
from jobs.offers.page import GONE, OfferPage, offer_of, offer_page, week_words, weeks_to_choose
from jobs.pdf import offer_pdf
from jobs.pdf.paper import small_copy

MOST_BYTES = 64 * 1024  # an answer is a few lines
View = Callable[..., HttpResponse]


def unlisted(view: View) -> View:
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
def offer(request: HttpRequest, token: str) -> HttpResponse:
    if content_length(request) > MOST_BYTES:
        return closed(request, "too_long", 413)
    found = offer_of(links.token_hash(token))
    if found is None:
        return closed(request, "unknown", 404)
    now = timezone.now()
    today = business_of(request).today(now)
    with display.for_client(found.language):
        if has_ended(found, business_of(request), today=today):
            return render(request, "jobs/public/ended.html", {"navigation": []}, status=410)
        page = offer_page(found, today=today)
        if request.method != "POST":
            return shown(request, page, forms_of(page))
        return answered(request, page, token, now)


def content_length(request: HttpRequest) -> int:
    length = request.META.get("CONTENT_LENGTH") or "0"
    return int(length) if str(length).isdecimal() else MOST_BYTES + 1


def forms_of(page: OfferPage, deed: str = "", data: Any = None) -> dict[str, Form]:
    """The forms that may be sent now, the one that was sent with what was typed."""
    typed = {deed: data}
    forms: dict[str, Form] = {"ask": AskForm(typed.get("ask"))}
    if page.is_open:
        weeks = weeks_to_choose(page.offer, today=page.today)
        forms |= {"accept": AcceptForm(typed.get("accept"), weeks=weeks), "decline": DeclineForm(typed.get("decline"))}
    return forms


def answered(request: HttpRequest, page: OfferPage, token: str, now: datetime) -> HttpResponse:
    """Do what was asked, then show the page anew; what cannot be done is said beside the form."""
    deed = request.POST.get("deed", "")
    forms = forms_of(page, deed, request.POST)
    form = forms.get(deed)
    if form is None:  # answered already, or no button of ours
        return back(token)
    if not form.is_valid():
        return shown(request, page, forms, status=422)
    try:
        with display.for_staff():  # what is noted of it is read in the office
            DEEDS[deed](token_hash=links.token_hash(token), now=now, **form.cleaned_data)
    except NoRoomError:
        return no_room(request, page, form)
    except AnswerError as error:
        form.add_error(None, str(error))
        return shown(request, page, forms, status=409)
    return back(token, "talk" if deed == "ask" else "state")


def back(token: str, part: str = "state") -> HttpResponse:
    """To the page, at the part that says what became of the answer."""
    return redirect(f"{reverse('offer_public', args=[token])}#{part}")


DEEDS: dict[str, Callable[..., Any]] = {
    "accept": answers.accept_offer, "decline": answers.decline_offer, "ask": answers.ask,
}  # fmt: skip


def no_room(request: HttpRequest, page: OfferPage, sent: Form) -> HttpResponse:
    """Somebody was quicker: the weeks that are left, the name still in its place, the offer still open."""
    week = week_words(sent.cleaned_data["week"])
    why = _("The week of {week} has no room for this work any more. Choose another.").format(week=week)
    forms = forms_of(page)
    form = AcceptForm({"accept-name": sent.cleaned_data["name"]}, weeks=weeks_to_choose(page.offer, today=page.today))
    form.errors["week"] = form.error_class([why])
    return shown(request, page, forms | {"accept": form}, status=409)


def shown(request: HttpRequest, page: OfferPage, forms: dict[str, Form], status: int = 0) -> HttpResponse:
    is_gone = page.state in GONE
    context = {"page": page, "offer": page.offer, "forms": forms, "is_gone": is_gone, "navigation": []}
    return render(request, "jobs/public/offer.html", context, status=status or (410 if is_gone else 200))


def closed(request: HttpRequest, why: str, status: int) -> HttpResponse:
    """Nobody knows whose page it is, so it is in the language of the business."""
    with display.for_client(""):
        return render(request, "jobs/public/closed.html", {"why": why, "navigation": []}, status=status)


def offer_or_404(request: HttpRequest, token: str) -> OfferPage:
    """For what belongs to the page; nothing of an offer that is gone."""
    found, business = offer_of(links.token_hash(token)), business_of(request)
    today = business.today(timezone.now())
    page = offer_page(found, today=today) if found else None
    if page is None or page.state in GONE or has_ended(page.offer, business, today=today):
        raise Http404("This link leads to no offer.")
    return page


@unlisted
@require_safe
def photo(request: HttpRequest, token: str, pk: int) -> HttpResponse:
    """A photograph that the offer's page shows; no other."""
    shown_there = {part.photo.pk: part.photo for part in offer_or_404(request, token).parts if part.photo}
    if pk not in shown_there:
        raise Http404("This photograph is not part of the offer.")
    try:
        return HttpResponse(small_copy(shown_there[pk].image.name or ""), content_type="image/jpeg")
    except OSError as error:
        raise Http404("The file of this photograph is missing.") from error


@unlisted
@require_safe
def paper(request: HttpRequest, token: str) -> HttpResponse:
    """The offer as PDF: the very file that went out with the message, where there was one."""
    row = offer_or_404(request, token).offer
    sent = sent_paper(row)
    content = bytes(sent.content) if sent else offer_pdf(row, url=links.offer_url(token))
    name = f'inline; filename="{row.file_name}"'
    return HttpResponse(content, content_type="application/pdf", headers={"Content-Disposition": name})


@unlisted
@require_safe
def visit(request: HttpRequest, token: str) -> HttpResponse:
    """The visit that was agreed on, for the client's own calendar (RFC 5545)."""
    booking = offer_or_404(request, token).booking
    if booking is None:
        raise Http404("No visit is booked for this offer.")
    content = calendar.client_file(booking, business_of(request), now=timezone.now())
    name = {"Content-Disposition": 'attachment; filename="visit.ics"'}
    return HttpResponse(content, content_type="text/calendar; charset=utf-8", headers=name)


def sent_paper(row: Offer) -> Attachment | None:
    key = f"offer/{row.number}-{row.revision}/"
    papers = Attachment.objects.filter(message__idempotency_key__startswith=key, media_type="application/pdf")
    return papers.order_by("id").first()
