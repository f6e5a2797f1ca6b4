"""What was found on a deck as its client reads it behind a signed link, and says that they have."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from clients import display
from clients.pages import FormPage, business_of, render_form_page
from jobs.actions import structure as actions
from jobs.forms.structure import AcknowledgeForm
from jobs.models import StructureCheck
from jobs.offers import links
from jobs.pdf import pdf_response, structure_report_pdf
from jobs.views.public_offer import (
    MAX_OFFER_POST_BYTES,
    client_photo,
    content_length,
    render_closed_link,
    unlisted,
)
from jobs.work import report_context


@unlisted
@require_http_methods(["GET", "HEAD", "POST"])
def show_public_report(request: HttpRequest, token: str) -> HttpResponse:
    if content_length(request) > MAX_OFFER_POST_BYTES:
        return render_closed_link(request, "too_long", 413)
    check = links.report_by_token(token)
    if check is None:
        return render_closed_link(request, "unknown", 404)
    with display.in_client_language(check.deck.site.client.language):
        form = AcknowledgeForm(request.POST or None)
        if request.method == "POST" and form.is_valid():
            with display.in_staff_language():  # what is noted of it is read in the office
                acknowledge(request, check, form.cleaned_data["name"])
            return redirect("report_public", token)
        return render_public_report(request, check, form, token)


def acknowledge(request: HttpRequest, check: StructureCheck, name: str) -> None:
    now = timezone.now()
    today = business_of(request).today(now)
    actions.acknowledge_report(check=check, name=name, day=today, by=None, now=now)


def render_public_report(
    request: HttpRequest, check: StructureCheck, form: AcknowledgeForm, token: str
) -> HttpResponse:
    page = FormPage(
        _("What we found on your deck"),
        f"{check.deck}, {display.format_day(check.checked_on)}",
        before="jobs/public/_report.html",
        button=_("I have read this"),
        is_checked_by_browser=False,
        has_form=not check.is_acknowledged,
        status=422 if form.errors else 200,
    )
    context = {"form": form, "token": token, "navigation": [], **report_context(check)}
    return render_form_page(request, page, **context)


def public_report_or_404(token: str) -> StructureCheck:
    if (check := links.report_by_token(token)) is None:
        raise Http404("This link leads to no report.")
    return check


@unlisted
@require_safe
def show_public_report_photo(request: HttpRequest, token: str, pk: int) -> HttpResponse:
    """A photograph of the report; no other."""
    check = public_report_or_404(token)
    shown = {photo.pk: photo for each in check.defects.all() for photo in each.photos.all()}
    if pk not in shown:
        raise Http404("This photograph is not part of the report.")
    return client_photo(shown[pk])


@unlisted
@require_safe
def show_public_report_pdf(request: HttpRequest, token: str) -> HttpResponse:
    return pdf_response(structure_report_pdf(public_report_or_404(token)), "report.pdf")
