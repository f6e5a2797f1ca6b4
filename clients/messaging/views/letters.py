"""Letters: those that wait, the batches, and the buttons of whoever prints and posts."""

from functools import wraps

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients.messaging.actions import letters as actions
from clients.messaging.channels.letters import batches, sheet_for_country
from clients.messaging.models import Attachment, LetterBatch
from clients.models import channels_with
from clients.pages import ViewFunction, business_of, current_user, office_required
from clients.tables import attachment_response

MAX_BATCHES = 20
MAX_WAITING = 100


def warn_on_letter_error(view: ViewFunction) -> ViewFunction:
    """What cannot be done with a batch is said on its page."""

    @wraps(view)
    def told(request: HttpRequest, pk: int) -> HttpResponse:
        try:
            return view(request, pk)
        except actions.LetterError as error:
            messages.warning(request, str(error))
            return redirect("channels:batch", pk=pk)

    return told


@require_GET
@office_required
def list_letters(request: HttpRequest) -> HttpResponse:
    context = {
        "waiting": (
            batches.waiting_letters()
            .select_related("client")
            .order_by("not_before", "pk")[:MAX_WAITING]
        ),
        "count": batches.waiting_letters().count(),
        "open": batches.batches_for_list().filter(posted_at=None),
        "posted": batches.batches_for_list().exclude(posted_at=None)[:MAX_BATCHES],
        "sheet": sheet_for_country(business_of(request).country),
    }
    return render(request, "clients/letters.html", context)


@require_POST
@office_required
def make_batch(request: HttpRequest) -> HttpResponse:
    made = actions.create_letter_batch(by=current_user(request), now=timezone.now())
    if made is None:
        messages.warning(request, "No letter is waiting to be printed.")
        return redirect("channels:letters")
    return redirect("channels:batch", pk=made.pk)


@require_GET
@office_required
def show_letter_batch(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(batches.batches_for_list(), pk=pk)
    found = batches.letters_in_batch(row, business_of(request))
    context = {
        "batch": row,
        "pile": [each for each in found if not each.why_not],
        "out": [each for each in found if each.why_not],
        "sheet": sheet_for_country(business_of(request).country),
    }
    return render(request, "clients/batch.html", context)


@require_POST
@office_required
@warn_on_letter_error
def print_batch(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(LetterBatch, pk=pk)
    both_sides = request.POST.get("sides") != "one"
    made = actions.print_letter_batch(
        batch=row, by=current_user(request), now=timezone.now(), both_sides=both_sides
    )
    for each in made.apart:
        messages.warning(request, f"Not in the print, to be printed by itself. {each}.")
    name = f"letters-{pk}{f'-print-{row.prints + 1}' if row.prints else ''}.pdf"
    return attachment_response(made.pdf, "application/pdf", name)


@require_POST
@office_required
@warn_on_letter_error
def post_batch(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(LetterBatch, pk=pk)
    posted = actions.mark_batch_posted(batch=row, by=current_user(request), now=timezone.now())
    messages.success(
        request, f"Noted: {posted.count} letter{'' if posted.count == 1 else 's'} mailed."
    )
    if posted.left_out:
        messages.warning(
            request, f"Not counted as mailed: {', '.join(posted.left_out)}. Were they taken out?"
        )
    return redirect("channels:letters")


@require_POST
@office_required
@warn_on_letter_error
def take_apart(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(LetterBatch, pk=pk)
    count = actions.dissolve_letter_batch(batch=row, by=current_user(request), now=timezone.now())
    messages.success(
        request,
        f"The batch is given up; {count} letter{' waits' if count == 1 else 's wait'} again.",
    )
    return redirect("channels:letters")


@require_GET
@office_required
def download_test_sheet(request: HttpRequest) -> HttpResponse:
    """To be folded and held against the window of an envelope."""
    from clients.messaging.channels.letters import printing  # loads WeasyPrint

    pdf = printing.render_window_test(business_of(request))
    return attachment_response(pdf, "application/pdf", "test-sheet.pdf")


@require_GET
@office_required
def download_enclosure(request: HttpRequest, pk: int) -> HttpResponse:
    """What goes into the envelope with a letter."""
    row = get_object_or_404(Attachment, pk=pk, message__channel__in=channels_with("is_by_post"))
    name = "".join(
        each if each.isascii() and each.isprintable() and each not in '"\\' else "_"
        for each in row.name
    )
    headers = {
        "Content-Disposition": f'attachment; filename="{name}"',
        "X-Content-Type-Options": "nosniff",
    }
    return HttpResponse(
        bytes(row.content), content_type="application/octet-stream", headers=headers
    )
