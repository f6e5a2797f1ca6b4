"""The outbox: where every message stands, what needs a person, and the buttons for what only a
person may decide."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients.messaging import text_costs
from clients.messaging.channels.calls import calls_to_make
from clients.messaging.channels.letters import batches
from clients.messaging.models import Message, SendingRules, TextGateway
from clients.messaging.models.message import State
from clients.messaging.outbox import Transition, decisions, delivery_reports, fallback, sender
from clients.messaging.unsendable import Unsendable
from clients.models import Channel, User, channels_with, traits_of
from clients.pages import business_of, current_user, office_required, redirect_back

MESSAGES_PER_PAGE = 50
MAX_NEEDING_A_PERSON = 20
COST_MONTHS = 6  # of text messages and what they cost


@dataclass(frozen=True)
class MessageAction:
    """The word on its button, what it does, and what is said afterwards (or what `act` itself
    says)."""

    label: str
    act: Callable[[Message, datetime, User], bool | str]
    done: str


def cancel_by_hand(message: Message, now: datetime, by: User) -> bool:
    return bool(
        decisions.cancel_unsent(messages=[message], why="Cancelled by hand.", now=now, by=by)
    )


def fetch_delivery_report(message: Message, now: datetime, by: User) -> str:
    """The gateway looks a message up and says what it knows."""
    return delivery_reports.query_gateway(message=message, now=now)


def resend_by_channel(channel: str) -> Callable[[Message, datetime, User], bool]:
    return lambda message, now, by: bool(
        fallback.resend_by(message=message, channel=channel, by=by, now=now)
    )


MESSAGE_ACTIONS = {
    "confirm": MessageAction(
        "It went out",
        lambda m, now, by: decisions.confirm_sent(message=m, now=now, by=by),
        "Noted: it went out.",
    ),
    "again": MessageAction(
        "Send again",
        lambda m, now, by: decisions.resend_message(message=m, now=now, by=by),
        "It goes once more.",
    ),
    "aside": MessageAction(
        "Close without sending",
        lambda m, now, by: decisions.dismiss_message(message=m, now=now, by=by),
        "It is left at that.",
    ),
    "cancel": MessageAction("Cancel", cancel_by_hand, "It is cancelled and will not go out."),
    "hold": MessageAction(
        "Hold",
        lambda m, now, by: decisions.hold_message(message=m, now=now, by=by),
        "It is held back until released.",
    ),
    "ask": MessageAction("Ask the gateway", fetch_delivery_report, ""),
    "came_back": MessageAction(
        "It came back",
        lambda m, now, by: decisions.mark_letter_returned(message=m, now=now, by=by),
        "Noted: the post returned it.",
    ),
    "by_letter": MessageAction(
        "Send it as a letter",
        resend_by_channel(Channel.LETTER),
        "It waits among the letters to print.",
    ),
    "by_call": MessageAction(
        "Put it on the call list", resend_by_channel(Channel.CALL), "It is on the call list."
    ),
    "release": MessageAction(
        "Release",
        lambda m, now, by: decisions.release_message(message=m, now=now, by=by),
        "It is released and may go out.",
    ),
}

ACTION_STATES: dict[str, Collection[State]] = {  # the most likely first
    "ask": [State.UNCONFIRMED],
    "confirm": Transition.CONFIRM.starts,
    "again": Transition.RESEND.starts,
    "aside": Transition.DISMISS.starts,
    "release": Transition.CANCEL.starts,
    "hold": Transition.CANCEL.starts,
    "cancel": Transition.CANCEL.starts,
    "came_back": Transition.RETURN_LETTER.starts,
}


@require_GET
@office_required
def outbox_list(request: HttpRequest) -> HttpResponse:
    state = request.GET.get("state", "")
    words = request.GET.get("q", "").strip()[:200]
    state = state if state in State.values else ""
    rows = Message.objects.in_state(state).matching(words)
    numbers = Paginator(rows.values_list("pk", flat=True), MESSAGES_PER_PAGE)
    page: Page[Any] = numbers.get_page(request.GET.get("page"))
    # which ones first: joined before they are chosen, all clients are read
    page.object_list = list(Message.objects.for_list().filter(pk__in=page.object_list))
    filters = {name: value for name, value in (("state", state), ("q", words)) if value}
    context = {
        "counts": state_counts(),
        "needing": (
            []
            if filters
            else list(Message.objects.for_list().needing_a_person()[:MAX_NEEDING_A_PERSON])
        ),
        "page": page,
        "state": state,
        "words": words,
        "query": urlencode(filters),
        "letters": batches.waiting_letters().count(),
        "calls": calls_to_make().count(),
        "sends_texts": TextGateway.objects.exists(),
        "trouble": machines_down(),
        "bounces_down": sender.down_reasons([sender.BOUNCE_MAILBOX]),
        "actions": MESSAGE_ACTIONS,
    }
    return render(request, "clients/outbox_list.html", context)


def machines_down() -> list[tuple[str, str]]:
    """Each machine that takes no messages now, and its last words."""
    found = sender.down_reasons(list(map(str, channels_with("machine"))))
    return [(traits_of(channel).machine, why) for channel, why in found.items()]


def state_counts() -> list[tuple[str, str, int]]:
    """State, its word and how many, in the order of a message's life;
    states without any are left out."""
    found = Message.objects.count_by_state()
    return [
        (state.value, str(state.label), found[state.value])
        for state in State
        if found.get(state.value)
    ]


@require_GET
@office_required
def show_text_costs(request: HttpRequest) -> HttpResponse:
    """What the text messages of each month cost."""
    business = business_of(request)
    context = {
        "months": text_costs.text_costs_by_month(
            business=business, today=business.today(timezone.now()), months=COST_MONTHS
        ),
        "price": text_costs.text_part_price(),
        "currency": business.currency,
        "unconfirmed": text_costs.count_unconfirmed_texts(),
    }
    return render(request, "clients/text_costs.html", context)


@require_GET
@office_required
def outbox_detail(request: HttpRequest, pk: int) -> HttpResponse:
    rows = Message.objects.select_related("client", "consent", "queued_by").prefetch_related(
        "events__by"
    )
    message = get_object_or_404(rows, pk=pk)
    context = {
        "message": message,
        "actions": available_actions(message),
        "is_in_doubt": fallback.is_in_doubt(message, now=timezone.now()),
        "hours": SendingRules.current().unconfirmed_hours,
    }
    return render(request, "clients/outbox_detail.html", context)


def available_actions(message: Message) -> list[tuple[str, MessageAction]]:
    """What a person may decide about it now, the most likely first."""
    is_held = message.held_at and message.state == State.QUEUED
    hidden = {"hold" if is_held else "release"}
    if not message.traits.is_by_post:
        hidden.add("came_back")
    if not message.traits.through_gateway:
        hidden.add("ask")
    return [
        (name, MESSAGE_ACTIONS[name])
        for name, states in ACTION_STATES.items()
        if message.state in states and name not in hidden
    ]


@require_POST
@office_required
def outbox_act(request: HttpRequest, pk: int, action: str) -> HttpResponse:
    """One button. A second click, or one that comes too late, changes nothing and says so."""
    message = get_object_or_404(Message, pk=pk)
    chosen = MESSAGE_ACTIONS.get(action)
    if chosen is None:
        raise Http404
    try:
        done = chosen.act(message, timezone.now(), current_user(request))
    except Unsendable as problem:
        messages.warning(request, str(problem))
        return redirect("outbox:detail", pk=pk)
    if done:
        messages.success(request, done if isinstance(done, str) else chosen.done)
    else:
        message.refresh_from_db()
        messages.warning(
            request,
            f"Nothing was changed: the message is {message.get_state_display().lower()} now.",
        )
    if request.POST.get("back") == "list":
        return redirect("outbox:list")
    return redirect_back(request, "outbox:detail", pk)
