"""The structure of a deck: write what was found, hand it to the client, say that it is repaired."""

import uuid
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from clients import display
from clients.actions.receiving import receive_once, typed_form_key
from clients.messaging.confirming import ConfirmPage, RowToSend
from clients.messaging.unsendable import Unsendable
from clients.messaging.views.confirm import (
    announce_sent,
    is_confirmed,
    posted_hidden,
    render_confirm_page,
    unticked_boxes,
)
from clients.models import Deck
from clients.pages import (
    FormPage,
    business_today,
    current_user,
    office_required,
    render_form_page,
)
from jobs.actions import structure as actions
from jobs.actions.jobs import JobError
from jobs.actions.structure import ReportError, StructureLook
from jobs.forms.log import add_action_error
from jobs.forms.photo import PhotosForm
from jobs.forms.structure import AcknowledgeForm, DefectFixedForm, StructureForm, WayForm
from jobs.models import Defect, StructureCheck
from jobs.pdf import pdf_response, structure_report_pdf
from jobs.views.log import deck_by_number
from jobs.views.photos import sent_photos
from jobs.work import report_context

PAGE_TITLE = "Check the structure"


@require_http_methods(["GET", "HEAD", "POST"])
def new_structure_check(request: HttpRequest) -> HttpResponse:
    """The page `jobs:structure`: one look, with one defect at a time."""
    deck = deck_by_number(request.POST.get("deck") or request.GET.get("deck", ""))
    if deck is None:
        raise Http404("There is no such deck.")
    initial = {
        "checked_on": business_today(request),
        "checked_by": current_user(request).get_full_name(),
    }
    is_sent = request.method == "POST"
    form = StructureForm(
        request.POST if is_sent else None, request.FILES if is_sent else None, initial=initial
    )
    if is_sent and form.is_valid() and (there := submit_structure_look(request, deck, form)):
        is_another = "another" in request.POST
        return redirect(f"{reverse('jobs:structure')}?deck={deck.pk}" if is_another else there)
    home = deck.site
    page = FormPage(
        PAGE_TITLE,
        "Ledger, posts, joists, stairs, railing and fasteners, from below too.",
        fields="jobs/_structure_fields.html",
        other_button=("Save, then another defect", "another", "yes"),
        cancel=reverse("decks:detail", args=[deck.pk]),
        has_files=True,
        is_checked_by_browser=False,
        kept=f"{PAGE_TITLE}: {home.client.name}, {deck.label}",
        photos_to=reverse("jobs:defect_photos"),
    )
    crumbs = {"client": home.client, "home": home, "deck": deck, "leaf": "Structure"}
    key = typed_form_key(request.POST) or uuid.uuid4()
    return render_form_page(request, page, form=form, deck=deck, crumbs=crumbs, form_key=key)


def submit_structure_look(request: HttpRequest, deck: Deck, form: StructureForm) -> str:
    """The address of its report; empty if it was refused, which the form then says."""
    by = current_user(request)
    now = timezone.now()
    key = typed_form_key(request.POST)
    values = form.cleaned_data
    look = StructureLook(values["checked_on"], values["checked_by"], form.found(), key)

    def write() -> str:
        check = actions.record_structure_check(
            deck=deck, look=look, by=by, now=now, today=business_today(request)
        )
        return reverse("jobs:structure_report", args=[check.pk])

    try:
        address, is_new = receive_once(form_key=key, by=by, now=now, write=write)
    except JobError as error:
        add_action_error(form, error.field.replace("finished_on", "checked_on"), str(error))
        return ""
    messages.success(request, "Saved." if is_new else "This was saved already.")
    return address


@require_POST
def defect_photos(request: HttpRequest) -> HttpResponse:
    """A photograph that follows the form of its defect (`form_key`), which was sent before."""
    if (key := typed_form_key(request.POST)) is None:
        raise Http404("Without the key of its form nobody knows of which defect it is.")
    defect = get_object_or_404(Defect, form_key=key)
    form = PhotosForm({"moment": "found"}, sent_photos(request))
    if not form.is_valid():
        return HttpResponse(form.errors.as_text(), status=422, content_type="text/plain")
    actions.add_defect_photos(defect=defect, files=form.cleaned_data["photos"], now=timezone.now())
    return redirect("jobs:structure_report", defect.structure_check_id)


def report_or_404(pk: int) -> StructureCheck:
    return get_object_or_404(StructureCheck.objects.with_report(), pk=pk)


@require_http_methods(["GET", "HEAD", "POST"])
def show_structure_report(request: HttpRequest, pk: int) -> HttpResponse:
    """What was found, for us; the client may read and acknowledge it on this phone."""
    check = report_or_404(pk)
    deck = check.deck
    form = AcknowledgeForm(request.POST or None)
    form.fields["name"].label = "Name of the client who has read it"
    if request.method == "POST" and form.is_valid():
        actions.acknowledge_report(
            check=check,
            name=form.cleaned_data["name"],
            day=business_today(request),
            by=current_user(request),
            now=timezone.now(),
        )
        messages.success(request, "Noted.")
        return redirect("jobs:structure_report", pk)
    has_report = bool(check.defects.all())
    page = FormPage(
        "What we found on the structure",
        f"{deck}, {display.format_day(check.checked_on)}"
        + (f", {check.checked_by}" if check.checked_by else ""),
        before="jobs/_structure_report.html",
        button="The client knows",
        cancel=reverse("decks:detail", args=[deck.pk]),
        cancel_words="Back to the deck",
        has_form=has_report and not check.is_acknowledged,
    )
    crumbs = {"client": deck.site.client, "home": deck.site, "deck": deck, "leaf": "Structure"}
    return render_form_page(request, page, form=form, crumbs=crumbs, **report_context(check))


@require_safe
def structure_report_paper(request: HttpRequest, pk: int) -> HttpResponse:
    """The report as PDF, to hand over; with a place to sign."""
    return pdf_response(structure_report_pdf(report_or_404(pk)), f"structure-{pk}.pdf")


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def send_structure_report(request: HttpRequest, pk: int) -> HttpResponse:
    """Choose a way, look at the message, send it."""
    check = report_or_404(pk)
    routes = actions.report_routes(check, today=business_today(request))
    if not routes:
        messages.error(request, "No message can go to this client. Print the report, or phone.")
        return redirect("jobs:structure_report", pk)
    ways = [(route.channel, f"{route.label}: {route.address}") for route in routes]
    form = WayForm(request.POST or None, ways=ways, initial={"channel": ways[0][0]})
    if request.method != "POST" or not form.is_valid():
        page = FormPage(
            "Send the report", str(check.deck), button="Look at the message", cancel=report_page(pk)
        )
        return render_form_page(request, page, form=form)
    channel = form.cleaned_data["channel"]
    if not is_confirmed(request):
        route = next(each for each in routes if each.channel == channel)
        return confirm_report(request, check, route)
    return submit_report(request, check, channel)


def confirm_report(request: HttpRequest, check: StructureCheck, route: Any) -> HttpResponse:
    try:
        written = actions.compose_report(check, route)
    except Unsendable as problem:
        messages.error(request, f"Nothing was sent. {problem}")
        return redirect(report_page(check.pk))
    row = RowToSend(
        box=str(check.pk),
        client=check.deck.site.client.name,
        channel=route.channel,
        address=route.address,
        subject=written.subject,
        text=written.text,
    )
    page = ConfirmPage(
        title="Send the report",
        action=request.get_full_path(),
        hidden=posted_hidden(request),
        rows=[row],
        button="Send",
        back=(report_page(check.pk), "Report"),
    )
    return render_confirm_page(request, page)


def submit_report(request: HttpRequest, check: StructureCheck, channel: str) -> HttpResponse:
    now = timezone.now()
    if unticked_boxes(request):
        messages.info(request, "Nothing was sent.")
        return redirect(report_page(check.pk))
    try:
        message = actions.send_defect_report(
            check=check, channel=channel, by=current_user(request), now=now
        )
    except (ReportError, Unsendable) as problem:
        messages.error(request, f"Nothing was sent. {problem}")
    else:
        announce_sent(request, [message], now=now)
    return redirect(report_page(check.pk))


def report_page(pk: int) -> str:
    return reverse("jobs:structure_report", args=[pk])


@require_http_methods(["GET", "HEAD", "POST"])
def defect_fixed(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody has repaired it."""
    rows = Defect.objects.select_related("structure_check__deck__site__client")
    defect = get_object_or_404(rows, pk=pk)
    today = business_today(request)
    form = DefectFixedForm(request.POST or None, initial={"fixed_on": today})
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            actions.mark_defect_fixed(
                defect=defect, fixed_on=values["fixed_on"], words=values["words"], today=today
            )
        except JobError as error:
            form.add_error(error.field, str(error))
        else:
            messages.success(request, "Noted as repaired.")
            return redirect("decks:detail", defect.structure_check.deck_id)
    deck = defect.structure_check.deck
    page = FormPage("Repaired", str(defect), cancel=report_page(defect.structure_check_id))
    crumbs = {"client": deck.site.client, "home": deck.site, "deck": deck, "leaf": "Repaired"}
    return render_form_page(request, page, form=form, crumbs=crumbs)
