"""Who is told about a product that went on their deck, by which way, and who cannot be told.

It is a service message about work that was done: it needs no consent, and goes to no address that
refuses all mail (`ContactPurpose.SERVICE`).
"""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext

from clients.messaging.models import Message
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route
from clients.models import Business, Channel, Client
from clients.notation import supported_language
from jobs.models import CoatApplied
from jobs.tracing.trace import ProductTrace

MAX_RECALLED = 2_000  # clients on one page
FIRST_CHANNELS = list(Channel)


@dataclass(frozen=True)
class RecallCandidate:
    """One client with what went on their decks, the ways to tell them (the best first), or why
    there is none, and what they were told before about it."""

    client: Client
    language: str  # in which they are told
    coats: Sequence[CoatApplied]
    routes: Sequence[Route]
    why_not: str
    told: Sequence[Message]

    @property
    def decks(self) -> list[str]:
        return list(dict.fromkeys(str(coat.job.deck) for coat in self.coats))


@dataclass(frozen=True)
class RecallPlan:
    """Everybody whose deck it went on."""

    candidates: Sequence[RecallCandidate]
    languages: Sequence[str]

    @property
    def reachable(self) -> list[RecallCandidate]:
        return [each for each in self.candidates if each.routes]

    @property
    def unreachable(self) -> list[RecallCandidate]:
        return [each for each in self.candidates if not each.routes]


def plan_recall(trace: ProductTrace, *, on: date) -> RecallPlan:
    """In a fixed number of queries, however many clients."""
    coats: dict[int, list[CoatApplied]] = {}
    for coat in trace.coats().with_owners():
        coats.setdefault(coat.job.deck.site.client_id, []).append(coat)
    business = Business.objects.get()
    contacts = Reach(list(coats), business=business)
    told = told_before(trace, coats)
    found = []
    for number, each in coats.items():
        client = each[0].job.deck.site.client
        routes, why_not = recall_routes(contacts, client, on)
        language = supported_language(client.language, business.locale)
        found.append(RecallCandidate(client, language, each, routes, why_not, told.get(number, [])))
    found.sort(key=lambda candidate: (candidate.client.name, candidate.client.pk))
    return RecallPlan(found, sorted({each.language for each in found if each.routes}))


def recall_routes(contacts: Reach, client: Client, on: date) -> tuple[list[Route], str]:
    """The ways that are possible, the client's own first; without any, why not."""
    preferred = [client.preferred_channel] if client.preferred_channel else []
    routes: list[Route] = []
    reasons: list[str] = []
    for channel in dict.fromkeys([*preferred, *FIRST_CHANNELS]):
        if down := contacts.transports_down.get(channel):
            reasons.append(down)
            continue
        answer = contacts.route(client.pk, channel, ContactPurpose.SERVICE, on=on)
        if isinstance(answer, Refusal):
            reasons.append(answer.why)
        else:
            routes.append(answer)
    return routes, "" if routes else " ".join(dict.fromkeys(reasons))


def told_before(trace: ProductTrace, clients: Iterable[int]) -> Mapping[int, list[Message]]:
    """Client → what was said to them about the same, newest first."""
    found: dict[int, list[Message]] = {}
    beginning = recall_key_beginning(trace)
    rows = Message.objects.filter(client__in=list(clients), idempotency_key__startswith=beginning)
    for message in rows.exclude(state="cancelled").defer("text", "html").order_by("-queued_at"):
        found.setdefault(message.client_id, []).append(message)
    return found


def recall_key_beginning(trace: ProductTrace) -> str:
    product = trace.product or (trace.batch.product if trace.batch else None)
    return f"recall/{product.pk if product else 'any'}/"


def recall_key(trace: ProductTrace, candidate: RecallCandidate, notice: str) -> str:
    """The same words about the same work go to a client once, by whatever way and however often
    somebody presses."""
    numbers = ",".join(str(number) for number in sorted(coat.pk for coat in candidate.coats))
    told = hashlib.sha256(f"{numbers}\n{notice}".encode()).hexdigest()[:24]
    return f"{recall_key_beginning(trace)}{candidate.client.pk}/{told}"


def recall_fields(candidate: RecallCandidate, notice: str) -> dict[str, str]:
    """The values of the text; called in the language of the client."""
    decks: dict[str, list[str]] = {}
    for coat in candidate.coats:
        deck = coat.job.deck
        title = f"{deck.label}, {deck.site.street}, {deck.site.town}"
        decks.setdefault(title, []).append(coat_line(coat))
    products = dict.fromkeys(coat.product_words for coat in candidate.coats)
    return {
        "greeting": candidate.client.greeting,
        "product": ", ".join(products),
        "decks": "\n\n".join(
            "\n".join([title, *dict.fromkeys(lines)]) for title, lines in decks.items()
        ),
        "notice": notice,
    }


def coat_line(coat: CoatApplied) -> str:
    """“Saltmarsh Oil, Honey, batch SM-24/117 (Jun 12, 2025)”."""
    parts = [coat.product_words, coat.colour]
    if coat.batch:
        parts.append(gettext("batch {code}").format(code=coat.batch.code))
    return f"{', '.join(filter(None, parts))} ({coat.job.day_words})"
