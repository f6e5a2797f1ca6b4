"""What a reminder run would say to whom, and who is left out and why; nothing is written here."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import groupby

from django.template.loader import render_to_string

from clients import display
from clients.models import Business, Client, Deck
from clients.models.channel import Channel
from clients.outbox import Contactable, Refusal, contactable
from reminders.due import Coat, coats_of
from reminders.models import Forecast
from reminders.months import months_on
from reminders.standing import reminders_of
from reminders.words import plain_reasons


@dataclass(frozen=True)
class DeckToName:
    """One deck in a message."""

    forecast: Forecast
    coats: Sequence[Coat]

    @property
    def deck(self) -> Deck:
        return self.forecast.deck

    @property
    def is_past(self) -> bool:
        """Whether it was due already on the day the forecast was reckoned for."""
        return self.forecast.due_on < self.forecast.computed_on

    @property
    def why(self) -> str:
        return plain_reasons(self.forecast.contributions)


@dataclass(frozen=True)
class Draft:
    """One message to one client about all their chosen decks, ready to be queued."""

    client: Client
    allowed: Contactable
    decks: Sequence[DeckToName]
    key: str
    subject: str
    text: str
    html: str

    @property
    def shown_text(self) -> str:
        """For the preview: the link is made when the message is queued."""
        return self.text.replace("{unsubscribe_url}", "(the client's own link)")


@dataclass
class Plan:
    """All drafts of a run, and the decks left out."""

    drafts: list[Draft] = field(default_factory=list)
    left_out: list[tuple[Deck, str]] = field(default_factory=list)


def plan(*, deck_ids: Collection[int], month: date, business: Business, today: date, step: int = 1) -> Plan:
    """Sort the chosen decks into messages, one a client, and into what is left out."""
    made = Plan()
    found = list(chosen(deck_ids))
    known = {forecast.deck_id for forecast in found}
    missing = Deck.objects.with_owner().filter(pk__in=set(deck_ids) - known)
    made.left_out += [(deck, "No coat is logged, so nothing can be due.") for deck in missing]
    told = reminders_of([forecast.job_id for forecast in found], channel=Channel.EMAIL, step=step)
    wanted = []
    for forecast in found:
        why = why_not_now(forecast, month) or (told[forecast.job_id].word if forecast.job_id in told else "")
        if why:
            made.left_out.append((forecast.deck, why))
        else:
            wanted.append(forecast)
    coats = coats_of([forecast.job_id for forecast in wanted])
    for client, members in groupby(wanted, key=lambda forecast: forecast.deck.property.client):
        decks = [DeckToName(forecast, coats.get(forecast.job_id, [])) for forecast in members]
        add_client(made, client, decks, business, today, step)
    return made


def chosen(deck_ids: Collection[int]) -> Iterable[Forecast]:
    """Client by client, so that the decks of one come together."""
    rows = Forecast.objects.filter(deck__in=deck_ids).select_related("deck__property__client", "job")
    return rows.order_by("deck__property__client_id", "due_on", "deck_id")


def why_not_now(forecast: Forecast, month: date) -> str:
    """Why this deck does not belong in a reminder of that month."""
    if forecast.deck.archived_at or forecast.deck.property.client.archived_at:
        return "The deck or its client is archived."
    if forecast.due_on >= months_on(month, 1):
        return f"It is due by {display.day(forecast.due_on)}, after the month of this list."
    return ""


def add_client(
    made: Plan, client: Client, decks: Sequence[DeckToName], business: Business, today: date, step: int
) -> None:
    answer = contactable(client, Channel.EMAIL, today=today)
    if isinstance(answer, Refusal):
        made.left_out += [(each.deck, answer.why) for each in decks]
    else:
        made.drafts.append(draft(client, answer, decks, business, step))


def draft(client: Client, allowed: Contactable, decks: Sequence[DeckToName], business: Business, step: int) -> Draft:
    """The message as it will go, but for the unsubscribe link, which the outbox makes."""
    first = min(decks, key=lambda each: each.forecast.job_id)
    context = {"client": client, "decks": decks, "business": business, "step": step, "basis": allowed.basis}
    subject, text, html = (
        render_to_string(f"reminders/messages/due.{part}", context) for part in ("subject.txt", "txt", "html")
    )
    key = f"due/{first.deck.property_id}/{first.forecast.job_id}/{step}/{Channel.EMAIL}"
    return Draft(client, allowed, decks, key, " ".join(subject.split()), text.strip() + "\n", html)
