"""Sending an offer: it is frozen, gets its link, and goes into the outbox."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from clients import display
from clients.messaging import outbox, texts
from clients.messaging.models import Message, MessageText
from clients.messaging.outbox import Contactable, Refusal
from clients.models import Business, User
from clients.models.channel import Channel
from jobs.actions.offers import Kind, OfferProblem, State, locked, message_key, note
from jobs.models import Offer, OfferScope
from jobs.offers import links
from jobs.pdf import offer_pdf

CHANNELS = [Channel.EMAIL, Channel.TEXT, Channel.LETTER]


@dataclass(frozen=True)
class Way:
    """One channel for one offer: the address it would go to, or why it cannot."""

    channel: str
    label: str
    address: str
    why_not: str


def ways(offer: Offer, *, today: date) -> list[Way]:
    """How this offer could go, the client's preferred way first."""
    preferred = offer.client.preferred_channel
    return [way(offer, channel, today) for channel in sorted(CHANNELS, key=lambda each: each != preferred)]


def way(offer: Offer, channel: Channel, today: date) -> Way:
    answer = outbox.contactable(offer.client, channel, today=today)
    if isinstance(answer, Refusal):
        return Way(channel, channel.label, "", answer.why)
    return Way(channel, channel.label, answer.address, "")


@transaction.atomic
def send_offer(*, offer: Offer, channel: str, by: User | None, now: datetime) -> Message:
    """Freeze a draft and queue it for the client by one channel. Raises `OfferProblem` or `Unsendable`."""
    row, business = locked(offer, State.DRAFT), Business.objects.get()
    check(row, business, now)
    allowed = reachable(row, channel, business, now)
    token, token_hash = links.new_token()
    row.state, row.token_hash, row.sent_at = State.OPEN, token_hash, now
    row.save(update_fields=["state", "token_hash", "sent_at"])
    written = texts.write(
        purpose=MessageText.Purpose.OFFER, channel=channel, language=row.language, basis=allowed.basis,
        fields=fields(row, channel, token),
    )  # fmt: skip
    message, _ = outbox.queue_message(
        client=row.client, kind=Message.Kind.OFFER, channel=channel, address=allowed.address, subject=written.subject,
        text=written.text, html=written.html, key=message_key(row, channel), consent=allowed.consent,
        basis=allowed.basis, now=now, by=by, language=written.language, expires_at=end_of_validity(row, business),
        attachments=papers(row, channel, links.offer_url(token)),
    )  # fmt: skip
    note(row, Kind.SENT, now=now, by=by, words=f"By {Channel(channel).label.lower()} to {allowed.address}"[:2000])
    return message


def check(offer: Offer, business: Business, now: datetime) -> None:
    if offer.valid_until < business.today(now):
        raise OfferProblem("The day until which it stands is over. Choose a later one, then send.", "valid_until")
    if not offer.lines.exists():
        raise OfferProblem("It has no lines.")


def reachable(offer: Offer, channel: str, business: Business, now: datetime) -> Contactable:
    if channel not in CHANNELS:
        raise OfferProblem("An offer goes by e-mail, text message or letter.", "channel")
    answer = outbox.contactable(offer.client, channel, today=business.today(now))
    if isinstance(answer, Refusal):
        raise OfferProblem(f"It cannot go by {Channel(channel).label.lower()}: {answer.why}", "channel")
    return answer


def end_of_validity(offer: Offer, business: Business) -> datetime:
    """A message that has not gone out by the end of the last day stays here."""
    return datetime.combine(offer.valid_until + timedelta(days=1), time(), tzinfo=business.zone)


def papers(offer: Offer, channel: str, url: str) -> list[tuple[str, str, bytes]]:
    """The offer on paper, where a message can carry it."""
    if channel not in {Channel.EMAIL, Channel.LETTER}:
        return []
    return [(offer.file_name, "application/pdf", offer_pdf(offer, url=url))]


def fields(offer: Offer, channel: str, token: str) -> Mapping[str, str]:
    """In the language of the offer, as its page is."""
    scopes = list(offer.scopes.select_related("deck", "product"))
    with display.for_client(offer.language):
        return said(offer, scopes, channel, token)


def said(offer: Offer, scopes: Sequence[OfferScope], channel: str, token: str) -> Mapping[str, str]:
    return {
        "greeting": offer.client.greeting,
        "decks": decks(offer, scopes, on_one_line=channel in {Channel.TEXT, Channel.CALL}),
        "due_by": next((display.month(scope.due_on) for scope in scopes if scope.due_on), ""),
        "why": " ".join(scope.why for scope in scopes)[:500],
        "offer_number": offer.reference,
        "total": display.money(offer.total, offer.currency),
        "offer_url": links.offer_url(token),
        "valid_until": display.day(offer.valid_until),
    }


def decks(offer: Offer, scopes: Sequence[OfferScope], *, on_one_line: bool) -> str:
    if on_one_line:
        return ", ".join(scope.deck.label for scope in scopes)
    return "\n\n".join(
        f"{scope.deck.label}, {offer.property.street}, {offer.property.town}\n{work(scope)}" for scope in scopes
    )


def work(scope: OfferScope) -> str:
    """“Clean and recoat with Tidewood Deck Oil, Driftwood”."""
    product = ", ".join(filter(None, [str(scope.product or ""), scope.colour]))
    words = _("{work} with {product}") if product else "{work}"
    return words.format(work=scope.get_work_display(), product=product)
