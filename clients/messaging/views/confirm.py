"""Asking once before anything is sent, saying what was sent, and taking it back."""

from collections.abc import Sequence
from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from clients.messaging import outbox
from clients.messaging.confirming import ConfirmPage, sent_in_words
from clients.messaging.models import Message, Sending
from clients.messaging.readiness import blocking_parts
from clients.models import traits_of
from clients.pages import business_of, current_user

SESSION_KEY = "sending"


def posted_hidden(request: HttpRequest) -> list[tuple[str, str]]:
    """Everything that was posted, to be posted again with the answer."""
    return [
        (name, value)
        for name, values in request.POST.lists()
        if name not in {"csrfmiddlewaretoken", "confirm", "send", "shown", "again"}
        for value in values
    ]


def is_confirmed(request: HttpRequest) -> bool:
    return "confirm" in request.POST


def unticked_boxes(request: HttpRequest) -> set[str]:
    """The rows that were shown and are to be left out."""
    return set(request.POST.getlist("shown")) - set(request.POST.getlist("send"))


def render_confirm_page(
    request: HttpRequest,
    page: ConfirmPage,
    *,
    template: str = "clients/confirm_sending.html",
    **context: object,
) -> HttpResponse:
    blocked = blocking_parts(business_of(request), {row.channel for row in page.rows})
    return render(request, template, {"page": page, "blocked": blocked, **context})


def announce_sent(request: HttpRequest, sent: Sequence[Message], *, now: datetime) -> None:
    """Say what was sent, now or, as long as it can be taken back, above every page."""
    if sent and not remember_sending(request, now=now):
        messages.success(request, f"Sent: {sent_in_words(sent)}.")


def remember_sending(request: HttpRequest, *, now: datetime) -> bool:
    """While what this person sent at that moment can be taken back, every page offers that.
    False if there is nothing to take back."""
    sent = Sending.objects.filter(by=current_user(request), at=now, messages__isnull=False).first()
    if sent is None or not sent.is_held(now=now):
        return False
    request.session[SESSION_KEY] = sent.pk
    return True


def held_sending(request: HttpRequest) -> dict[str, object] | None:
    """What this person sent last, for the bar above each page, as long as it can be taken back."""
    pk = request.session.get(SESSION_KEY)
    if not pk:
        return None
    sending = Sending.objects.filter(pk=pk).first()
    if sending is None or not sending.is_held(now=timezone.now()):
        del request.session[SESSION_KEY]
        return None
    sent = list(sending.messages.only("pk", "channel", "client_id"))
    return {
        "sending": sending,
        "clients": len({message.client_id for message in sent}),
        "words": sent_in_words(sent),
        "is_by_post": all(traits_of(message.channel).is_by_post for message in sent),
    }


@require_POST
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `outbox:take_back`: stop what has not left of one sending; a crew what they sent
    themselves."""
    person = current_user(request)
    rows = Sending.objects.all() if person.may_send else Sending.objects.filter(by=person)
    sending = get_object_or_404(rows, pk=pk)
    done = outbox.take_back_sending(sending=sending, by=current_user(request), now=timezone.now())
    request.session.pop(SESSION_KEY, None)
    if done.stopped:
        messages.success(request, f"Taken back: {done.stopped}. None of these goes out.")
    if done.gone:
        messages.warning(request, f"{done.gone} had left already and cannot be taken back.")
    if not done.stopped and not done.gone:
        messages.info(request, "It was taken back before.")
    back = request.POST.get("back", "")
    is_ours = url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()})
    return redirect(back if is_ours else "outbox:list" if person.may_send else "today")
