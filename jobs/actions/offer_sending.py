"""Sending an offer: it is frozen, gets its link, and goes into the outbox."""

import re
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import takewhile

from babel import Locale
from django.conf import settings
from django.db import transaction
from django.dispatch import receiver
from django.utils.translation import gettext as _

from clients import display
from clients.events import messages_taken_back
from clients.messaging import outbox, texts
from clients.messaging.law import contract_language
from clients.messaging.models import Message, MessageText
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route, route_to
from clients.messaging.texts import ComposedText
from clients.models import Business, Channel, User, traits_of
from clients.notation import primary_language
from jobs.actions.offers import (
    Kind,
    OfferError,
    State,
    lock_offer,
    offer_message_key,
    record_offer_event,
)
from jobs.models import Offer, OfferScope
from jobs.offers import contract_places, links, terms_to_keep
from jobs.pdf import offer_pdf

PREVIEW_TOKEN = "the-client-s-own-link"  # noqa: S105 - it opens nothing


def offer_channels() -> list[Channel]:
    """An offer is read, so it goes by every way but the telephone."""
    return [each for each in Channel if not traits_of(each).is_spoken]


@dataclass(frozen=True)
class OfferRoute:
    """One channel for one offer: the address it would go to, or why it cannot."""

    channel: str
    label: str
    address: str
    why_not: str


def offer_routes(offer: Offer, *, today: date) -> list[OfferRoute]:
    """How this offer could go, the client's preferred way first."""
    preferred = offer.client.preferred_channel
    contacts = Reach.of(offer.client)
    return [
        offer_route(contacts, offer, channel, today)
        for channel in sorted(offer_channels(), key=lambda each: each != preferred)
    ]


def offer_route(contacts: Reach, offer: Offer, channel: Channel, today: date) -> OfferRoute:
    answer = contacts.route(offer.client_id, channel, ContactPurpose.MARKETING, on=today)
    if isinstance(answer, Refusal):
        return OfferRoute(channel, channel.label, "", answer.why)
    return OfferRoute(channel, channel.label, answer.address, "")


@transaction.atomic
def send_offer(*, offer: Offer, channel: str, by: User | None, now: datetime) -> Message:
    """Freeze a draft and queue it for the client by one channel.
    Raises `OfferError` or `Unsendable`."""
    row = lock_offer(offer, State.DRAFT)
    business = Business.objects.get()
    check_sendable(row, business, now)
    route = require_route(row, channel, business, now)
    token, token_hash = links.new_token()
    row.state = State.OPEN
    row.token_hash = token_hash
    row.sent_at = now
    row.terms = terms_to_keep(row)
    row.save(update_fields=["state", "token_hash", "sent_at", "terms"])
    written = compose_offer_text(row, route, token)
    outgoing = outbox.OutgoingMessage(
        client=row.client,
        kind=Message.Kind.OFFER,
        channel=channel,
        address=route.address,
        basis=route.permission.basis,
        consent=route.permission.consent(),
        key=offer_message_key(row, channel),
        written=written,
        expires_at=offer_message_expiry(row, business),
        attachments=offer_attachments(row, channel, links.offer_url(token, channel)),
        sending=outbox.open_sending(by=by, now=now),
    )
    message, _ = outbox.queue_message(outgoing=outgoing, now=now, by=by)
    record_offer_event(
        row,
        Kind.SENT,
        now=now,
        by=by,
        words=f"By {Channel(channel).label.lower()} to {route.address}"[:2000],
    )
    return message


@dataclass(frozen=True)
class OfferToSend:
    """A draft as it would go: by which route, in which words, and why by no way before that."""

    offer: Offer
    route: Route
    written: ComposedText
    passed_over: str


def preview_offer(*, offer: Offer, channel: str, now: datetime) -> OfferToSend:
    """What sending this draft by one channel would send, without a channel by the first that is
    possible; nothing is written. Raises `OfferError` or `Unsendable`."""
    if offer.state != State.DRAFT:
        raise OfferError(f"It is {offer.get_state_display().lower()}.")
    business = Business.objects.get()
    check_sendable(offer, business, now)
    routes = offer_routes(offer, today=business.today(now))
    passed = [] if channel else list(takewhile(lambda each: each.why_not, routes))
    if not channel and len(passed) == len(routes):
        raise OfferError(f"There is no way to send it. {reasons_in_words(passed)}")
    chosen = channel or routes[len(passed)].channel
    route = require_route(offer, chosen, business, now)
    written = compose_offer_text(offer, route, PREVIEW_TOKEN)
    return OfferToSend(offer, route, written, reasons_in_words(passed))


def reasons_in_words(ways: Sequence[OfferRoute]) -> str:
    """“E-mail: There is no consent on record.”"""
    return " ".join(f"{each.label}: {each.why_not}" for each in ways)


def compose_offer_text(offer: Offer, route: Route, token: str) -> ComposedText:
    return texts.compose_text(
        purpose=MessageText.Purpose.OFFER,
        channel=route.channel,
        language=offer.language,
        basis=route.permission.basis,
        fields=offer_text_fields(offer, route.channel, token),
    )


@receiver(messages_taken_back)
def reopen_offers_taken_back(
    *, messages: Sequence[Message], by: User, now: datetime, **_signal: object
) -> Callable[[Collection[int]], None]:
    """An offer whose message was stopped before it left is a draft again;
    its link, which nobody has read, leads nowhere."""
    found = {each.pk: offer_of_message(each) for each in messages}
    offers = {pk: offer for pk, offer in found.items() if offer}
    rows = Offer.objects.filter(pk__in={offer.pk for offer in offers.values()}).order_by("pk")
    list(rows.select_for_update(of=("self",)).values_list("pk"))

    def reopen(stopped: Collection[int]) -> None:
        for pk in stopped:
            if pk in offers:
                reopen_draft(offers[pk], by=by, now=now)

    return reopen


def offer_of_message(message: Message) -> Offer | None:
    """The offer that a message brings to the client; its key names it (`offer_message_key`)."""
    named = re.match(r"offer/([0-9]+)-([0-9]+)/", message.idempotency_key)
    if message.kind != Message.Kind.OFFER or named is None:
        return None
    return Offer.objects.filter(number=named[1], revision=named[2]).first()


def reopen_draft(offer: Offer, *, by: User, now: datetime) -> None:
    ours = Offer.objects.filter(pk=offer.pk, state=State.OPEN)
    if ours.update(state=State.DRAFT, token_hash=None, sent_at=None):
        record_offer_event(offer, Kind.UNSENT, now=now, by=by)


def check_sendable(offer: Offer, business: Business, now: datetime) -> None:
    if offer.valid_until < business.today(now):
        raise OfferError(
            "The day until which it stands is over. Choose a later one, then send.", "valid_until"
        )
    if not offer.lines.exists():
        raise OfferError("It has no lines.")
    if offer.original and not offer.introduction.strip():
        raise OfferError("Say why the work changes; the client reads it first.", "introduction")
    check_contract_language(offer, business.today(now))


def check_contract_language(offer: Offer, today: date) -> None:
    """Where the law of the place wants an offer in one language first, it goes in no other before
    that."""
    wanted = contract_language(contract_places(offer), on=today)
    if wanted and not is_given_in(wanted.language, offer):
        name = Locale(wanted.language).get_display_name(settings.LANGUAGE_CODE)
        raise OfferError(
            f"An offer there is first given in {name} ({wanted.act}). Choose {name} as the client's"
            " language, recalculate it and send it; a revision may then be in the language they ask"
            " for."
        )


def is_given_in(language: str, offer: Offer) -> bool:
    """Whether it is in that language, or a former revision that the client has, or the offer that
    it changes, was."""
    numbers = {offer.number, offer.original.number if offer.original else offer.number}
    sent = Offer.objects.filter(number__in=numbers).exclude(sent_at=None)
    known = {offer.language, *sent.values_list("language", flat=True)}
    return language in {primary_language(each) for each in known}


def require_route(offer: Offer, channel: str, business: Business, now: datetime) -> Route:
    if channel not in offer_channels():
        *names, last = (each.label.lower() for each in offer_channels())
        raise OfferError(f"An offer goes by {', '.join(names)} or {last}.", "channel")
    answer = route_to(offer.client, channel, ContactPurpose.MARKETING, on=business.today(now))
    if isinstance(answer, Refusal):
        raise OfferError(
            f"It cannot go by {Channel(channel).label.lower()}: {answer.why}", "channel"
        )
    return answer


def offer_message_expiry(offer: Offer, business: Business) -> datetime:
    """A message that has not gone out by the end of the last day stays here."""
    return datetime.combine(offer.valid_until + timedelta(days=1), time(), tzinfo=business.zone)


def offer_attachments(offer: Offer, channel: str, url: str) -> list[tuple[str, str, bytes]]:
    """The offer on paper, where a message can carry it."""
    if not traits_of(channel).carries_files:
        return []
    return [(offer.file_name, "application/pdf", offer_pdf(offer, url=url))]


def offer_text_fields(offer: Offer, channel: str, token: str) -> Mapping[str, str]:
    """In the language of the offer, as its page is."""
    scopes = list(offer.scopes.select_related("deck", "product"))
    with display.in_client_language(offer.language):
        return offer_field_values(offer, scopes, channel, token)


def offer_field_values(
    offer: Offer, scopes: Sequence[OfferScope], channel: str, token: str
) -> Mapping[str, str]:
    return {
        "greeting": offer.client.greeting,
        "decks": offered_decks_text(offer, scopes, on_one_line=traits_of(channel).on_one_line),
        "due_by": next(
            (display.format_month(scope.due_on) for scope in scopes if scope.due_on), ""
        ),
        "why": " ".join(scope.why for scope in scopes)[:500],
        "offer_number": offer.reference,
        "total": display.format_money(offer.total, offer.currency),
        "offer_url": links.offer_url(token, channel),
        "valid_until": display.format_day(offer.valid_until),
    }


def offered_decks_text(offer: Offer, scopes: Sequence[OfferScope], *, on_one_line: bool) -> str:
    if offer.original:
        return change_order_text(offer)
    if on_one_line:
        return ", ".join(scope.deck.label for scope in scopes)
    return "\n\n".join(
        f"{scope.deck.label}, {offer.site.street}, {offer.site.town}\n{scope_work_text(scope)}"
        for scope in scopes
    )


def change_order_text(offer: Offer) -> str:
    """“Change 107 to offer 104: two treads are rotten.”"""
    why = " ".join(offer.introduction.split())[:300]
    return _("{change}: {why}").format(change=offer.title, why=why)


def scope_work_text(scope: OfferScope) -> str:
    """“Clean and recoat with Tidewood Deck Oil, Driftwood”."""
    product = ", ".join(filter(None, [str(scope.product or ""), scope.colour]))
    words = _("{work} with {product}") if product else "{work}"
    said = words.format(work=scope.get_work_display(), product=product)
    return (
        _("{work}, once we have looked at the boards").format(work=said)
        if scope.looks_first
        else said
    )
