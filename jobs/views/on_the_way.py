"""“On our way”: asked once, sent once a visit, taken back for two minutes."""

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from clients.messaging.confirming import ConfirmPage, RowToSend
from clients.messaging.models import Message
from clients.messaging.unsendable import Unsendable
from clients.messaging.views.confirm import (
    announce_sent,
    is_confirmed,
    posted_hidden,
    render_confirm_page,
    unticked_boxes,
)
from clients.pages import current_user
from jobs.actions.on_the_way import TAKE_BACK_MINUTES, tell_on_the_way
from jobs.models import Booking
from jobs.views.bookings import booking_or_404


@require_POST
def on_the_way(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `diary:on_the_way`, for everybody: the crew is who knows."""
    row = booking_or_404(pk)
    now = timezone.now()
    try:
        with transaction.atomic():
            message, is_new = tell_on_the_way(booking=row, by=current_user(request), now=now)
            is_asked = is_new and not is_confirmed(request)
            is_left = bool(unticked_boxes(request))
            if is_asked or is_left:
                transaction.set_rollback(True)
    except Unsendable as error:
        messages.error(request, str(error))
        return redirect("today")
    if is_asked:
        return ask_on_the_way(request, row, message)
    if not is_new:
        messages.info(request, f"{row.client} was told already.")
    elif not is_left:
        announce_sent(request, [message], now=now)
    return redirect("today")


def ask_on_the_way(request: HttpRequest, row: Booking, message: Message) -> HttpResponse:
    page = ConfirmPage(
        title=f"Tell {row.client} that you are on your way?",
        action=request.get_full_path(),
        hidden=posted_hidden(request),
        rows=[
            RowToSend(
                box=str(row.pk),
                client=row.client.name,
                channel=message.channel,
                address=message.address,
                subject=message.subject,
                text=message.text,
            )
        ],
        button=f"Tell {row.client}",
        back=(reverse("today"), "Today"),
        take_back_minutes=TAKE_BACK_MINUTES,
    )
    return render_confirm_page(request, page)
