"""The client's own page behind the link of a reminder: look, ask for a week or a price, say no,
correct details, choose how we may write.

As on the page of an offer nothing changes by GET, the secret in the address is the proof, and the
pages tell nobody where they are.
"""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from clients import display
from clients.pages import business_of, visitor_address
from clients.signing_in import PAGE_CODES
from jobs.pdf import care_record_pdf, pdf_response
from jobs.photos import MAX_PHOTO_BYTES
from jobs.views.public_offer import client_photo, content_length, render_client_link, unlisted
from jobs.work import build_care_record, get_job_for_record
from reminders import client_page
from reminders.client_links import (
    client_link_by_secret,
    is_client_link_expired,
    is_short_code,
    normalize_code,
)
from reminders.client_page import ClientPage, ClientPageError, build_client_page
from reminders.forms.client_page import (
    ClientLookForm,
    ContactChoicesForm,
    DetailsForm,
    OfferRequestForm,
    PageCodeForm,
)
from reminders.models import ClientAnswer, ClientLink

MAX_PAGE_POST_BYTES = 64 * 1024  # an answer is a few lines
MAX_LOOK_POST_BYTES = MAX_PAGE_POST_BYTES + MAX_PHOTO_BYTES
Kind = ClientAnswer.Kind


@unlisted
@require_http_methods(["GET", "HEAD", "POST"])
def enter_page_code(request: HttpRequest) -> HttpResponse:
    """Where a letter leads: type the code, then see the page."""
    if content_length(request) > MAX_PAGE_POST_BYTES:
        return render_client_message(request, "too_long", 413)
    form = PageCodeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        code = normalize_code(form.cleaned_data["code"])
        link, refusal = find_link(request, code, timezone.now())
        if refusal and refusal.status_code == 429:
            return refusal
        if link:
            return redirect("client_page", code)
        with display.in_client_language(""):
            form.add_error("code", _("This code leads to no page. Look at it once more."))
    with display.in_client_language(""):
        context = {"form": form, "navigation": []}
        status = 422 if form.errors else 200
        return render(request, "reminders/public/code.html", context, status=status)


@unlisted
@require_http_methods(["GET", "HEAD", "POST"])
def show_client_page(request: HttpRequest, secret: str) -> HttpResponse:
    if content_length(request) > MAX_PAGE_POST_BYTES:
        return render_client_message(request, "too_long", 413)
    now = timezone.now()
    link, refusal = find_link(request, secret, now)
    if link is None:
        return refusal or render_client_message(request, "unknown", 404)
    page = build_client_page(link, business_of(request), today=business_of(request).today(now))
    with display.in_client_language(link.message.language):
        if is_client_link_expired(link, page.business, today=page.today):
            return render_client_message(request, "ended", 410)
        if request.method == "POST":
            return handle_page_post(request, page, secret, now)
        return render_client_page(request, page, page_forms(page))


def find_link(
    request: HttpRequest, secret: str, now: datetime
) -> tuple[ClientLink | None, HttpResponse | None]:
    """The link, or what to answer instead; wrong codes are counted, right ones are not looked at
    once too many were wrong."""
    address = visitor_address(request)
    is_guessable = is_short_code(secret)
    if is_guessable and PAGE_CODES.is_reached(address, now=now):
        response = render_client_message(request, "guessing", 429)
        response["Retry-After"] = "3600"
        return None, response
    if link := client_link_by_secret(business_of(request), secret):
        return link, None
    if is_guessable:
        PAGE_CODES.note_wrong(address, now=now)
    return None, render_client_message(request, "unknown", 404)


def page_forms(page: ClientPage, pressed: str = "", data: Any = None) -> dict[str, Form]:
    """The forms that may be sent now, the one that was sent with what was typed."""
    choices = client_page.contact_choices(page.client, page.business, today=page.today)
    forms: dict[str, Form] = {
        "details": DetailsForm(
            data if pressed == "details" else None, country=page.business.country
        ),
        "contact": ContactChoicesForm(data if pressed == "contact" else None, choices=choices),
    }
    if page.may_ask:
        typed = data if pressed in {"week", "price"} else None
        forms["offer"] = OfferRequestForm(typed, weeks=page.weeks, wants_week=pressed == "week")
    return forms


def handle_page_post(
    request: HttpRequest, page: ClientPage, secret: str, now: datetime
) -> HttpResponse:
    """Do what was pressed, then show the page again; what cannot be done is said there."""
    pressed = request.POST.get("answer", "")
    forms = page_forms(page, pressed, request.POST)
    form = forms.get({"week": "offer", "price": "offer"}.get(pressed, pressed))
    if form is not None and not form.is_valid():
        return render_client_page(request, page, forms, status=422)
    if pressed in FORM_ACTIONS and form is None:  # asked for already
        return redirect_to_client_page(secret)
    try:
        with display.in_staff_language():  # what is noted of it is read in the office
            apply_page_action(pressed, page.link, form.cleaned_data if form else {}, now)
    except ClientPageError as error:
        page = build_client_page(page.link, page.business, today=page.today)
        return render_client_page(request, page, page_forms(page), problem=str(error), status=409)
    return redirect_to_client_page(secret)


FORM_ACTIONS = {"week", "price", "details", "contact"}


def apply_page_action(
    pressed: str, link: ClientLink, values: dict[str, Any], now: datetime
) -> None:
    """What a button of the page stands for; no button of ours changes nothing."""
    if action := PAGE_ACTIONS.get(pressed):
        action(link, values, now)


def undo_of(kind: str) -> Callable[[ClientLink, dict[str, Any], datetime], Any]:
    return lambda link, values, now: client_page.undo_client_answer(link=link, kind=kind, now=now)


PAGE_ACTIONS: dict[str, Callable[[ClientLink, dict[str, Any], datetime], Any]] = {
    **dict.fromkeys(
        ("week", "price"),
        lambda link, values, now: client_page.ask_for_offer(link=link, now=now, **values),
    ),
    "not_now": lambda link, values, now: client_page.skip_this_year(link=link, now=now),
    "sold": lambda link, values, now: client_page.report_sale(link=link, now=now),
    "plan-no": lambda link, values, now: client_page.say_no_to_visit(link=link, now=now),
    "plan-end": lambda link, values, now: client_page.end_plan_by_client(link=link, now=now),
    "undo-plan": lambda link, values, now: client_page.take_back_plan_end(link=link, now=now),
    "details": lambda link, values, now: client_page.propose_details(
        link=link, details=values, now=now
    ),
    "contact": lambda link, values, now: client_page.set_contact_choices(
        link=link, allowed=values["allowed"], now=now
    ),
    "stop": lambda link, values, now: client_page.set_contact_choices(
        link=link, allowed=[], now=now
    ),
    **{f"undo-{kind}": undo_of(kind) for kind in (Kind.OFFER, Kind.NOT_NOW, Kind.SOLD)},
}


def redirect_to_client_page(secret: str) -> HttpResponse:
    return redirect(f"{reverse('client_page', args=[secret])}#state")


def render_client_page(
    request: HttpRequest,
    page: ClientPage,
    forms: dict[str, Form],
    *,
    problem: str = "",
    status: int = 200,
) -> HttpResponse:
    context = {"page": page, "forms": forms, "problem": problem, "navigation": []}
    return render(request, "reminders/public/page.html", context, status=status)


def render_client_message(request: HttpRequest, why: str, status: int) -> HttpResponse:
    """There is nothing to show, and why; in the language in force, else that of the business."""
    if status == 410:
        return render_client_link(request, why, status, is_offer=False)
    with display.in_client_language(""):
        return render_client_link(request, why, status, is_offer=False)


def client_page_or_404(request: HttpRequest, secret: str) -> ClientPage:
    """For what belongs to the page."""
    now = timezone.now()
    link, _refusal = find_link(request, secret, now)
    business = business_of(request)
    today = business.today(now)
    if link is None or is_client_link_expired(link, business, today=today):
        raise Http404("This link leads to no page.")
    return build_client_page(link, business, today=today)


@unlisted
@require_http_methods(["GET", "HEAD", "POST"])
def show_look_form(request: HttpRequest, secret: str, pk: int) -> HttpResponse:
    """Three questions about one deck, with drawings, and a photograph."""
    if content_length(request) > MAX_LOOK_POST_BYTES:
        return render_client_message(request, "too_long", 413)
    page = client_page_or_404(request, secret)
    deck = next((deck for deck in page.decks if deck.pk == pk), None)
    if deck is None:
        raise Http404("This link is about other decks.")
    with display.in_client_language(page.link.message.language):
        is_sent = request.method == "POST"
        form = ClientLookForm(*(request.POST, request.FILES) if is_sent else ())
        problem = ""
        if is_sent and form.is_valid():
            try:
                with display.in_staff_language():
                    client_page.record_client_look(
                        link=page.link, deck=deck, look=form.look, now=timezone.now()
                    )
                return redirect_to_client_page(secret)
            except ClientPageError as error:
                problem = str(error)
        status = 409 if problem else 422 if form.errors else 200
        context = {"form": form, "deck": deck, "problem": problem, "navigation": []}
        return render(request, "reminders/public/look.html", context, status=status)


@unlisted
@require_safe
def show_page_photo(request: HttpRequest, secret: str, pk: int) -> HttpResponse:
    """A photograph that the page shows; no other."""
    photo = client_page.page_photo_by_id(client_page_or_404(request, secret), pk)
    if photo is None:
        raise Http404("This photograph is not part of the page.")
    return client_photo(photo)


@unlisted
@require_safe
def show_page_care_record(request: HttpRequest, secret: str, pk: int) -> HttpResponse:
    """The care record of a job on one of the client's decks."""
    page = client_page_or_404(request, secret)
    job = get_job_for_record(pk)
    if job is None or job.pk not in {
        done.job.pk for each in page.shown_decks for done in each.jobs
    }:
        raise Http404("There is no such job on this page.")
    record = build_care_record(job)
    return pdf_response(care_record_pdf(record), record.file_name)
