"""The rows of a new offer, not yet saved: many drafts are saved together."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from clients import display
from clients.models import Property, User
from jobs.models import Offer, OfferLine, OfferScope, OfferTax
from jobs.offers.inputs import Desk, deck_work, journey, unpriced
from jobs.offers.outlook import DeckOutlook, Outlook
from jobs.offers.pricing import Line, PricingProblem, Reckoned, Reductions, Totals, reckon
from jobs.offers.waiting import Strips, waiting
from jobs.scope import Scope

MOST_LITRES = Decimal(9_999)
LIKELY = 0.5  # chance of a strip from which on somebody had better look at the deck first (judgement)


@dataclass(frozen=True)
class Order:
    """What one offer is to be about."""

    property: Property
    scopes: Sequence[Scope]
    outlook: Outlook | None = None


@dataclass
class DraftedOffer:
    """The rows of one offer; scopes belong to lines by their place."""

    offer: Offer
    scopes: list[OfferScope]
    lines: list[OfferLine]
    taxes: list[OfferTax]
    places: list[int | None]  # for each line the place of its scope
    notes: list[str]  # what whoever looks through the draft should know


def draft(at: Desk, order: Order, strips: Strips, *, number: int, today: date, by: User | None) -> DraftedOffer:
    """`strips` are what a strip would take instead of each recoat. Raises `PricingProblem`."""
    if not order.scopes:
        raise PricingProblem("There is no deck to make an offer for.")
    check_litres(order.scopes)
    works = [deck_work(scope, place) for place, scope in enumerate(order.scopes)]
    valid_until = today + timedelta(days=at.price_list.valid_days)
    reductions = Reductions(expected_month(at, order, today), is_early(order, valid_until))
    way = journey(at, order.property)
    found = reckon(at.prices, works, way, reductions, units=at.business.units)
    offer = offer_row(at, order, found, number, today, valid_until, by)
    notes = [words for scope in order.scopes for words in notes_on(scope, order.outlook)]
    if way.km is None and at.prices.travel_per_km and not any(line.kind == "travel" for line in found.lines):
        notes.append("The way there is not in the price: its distance is not known. Enter it on the property's page.")
    try:
        offer.waiting = waiting(at, order.scopes, order.outlook, strips)
    except PricingProblem as problem:
        notes.append(f"The offer does not compare now with waiting. {problem}")
    with display.written_for(at.business), display.for_client(offer.language):
        scopes = [scope_row(offer, scope, place, found, order) for place, scope in enumerate(order.scopes)]
        lines = [line_row(offer, position, line) for position, line in enumerate(found.lines, start=1)]
    return DraftedOffer(
        offer, scopes, lines, tax_rows(offer, found.totals), [line.place for line in found.lines], notes
    )


def check_litres(scopes: Sequence[Scope]) -> None:
    for scope in scopes:
        if sum((need.litres for need in scope.needs), Decimal(0)) > MOST_LITRES:
            raise PricingProblem(f"{scope.deck.label} would take {scope.litres:,} L of finish. Check its area.")


def notes_on(scope: Scope, outlook: Outlook | None) -> list[str]:
    """What the scope warns of, what the forecast doubts, and materials that nobody entered a price for."""
    lacking = [
        f"{name} has no pack with a price, so this offer does not charge for it. Add the pack on the product's page."
        for name in unpriced(scope)
    ]
    return [f"{scope.deck.label}: {words}" for words in [scope.warning, doubt(scope, outlook), *lacking] if words]


def doubt(scope: Scope, outlook: Outlook | None) -> str:
    """A recoat is proposed from what was seen and logged; the forecast may say that it is too late for one."""
    chance = outlook.of(scope.deck.pk).strip_today if outlook else 0.0
    if scope.work != "recoat" or chance < LIKELY:
        return ""
    return f"The forecast gives {chance:.0%} that only a strip will do by now. Look at the deck before you send this."


def dues(order: Order) -> list[date]:
    """When the decks of the order are due, where a forecast says so."""
    outlook = order.outlook
    found = [outlook.of(scope.deck.pk).due_on for scope in order.scopes] if outlook else []
    return [day for day in found if day]


def is_early(order: Order, valid_until: date) -> bool:
    """Whoever accepts while the offer stands does so before any of the decks is due."""
    known = dues(order)
    return len(known) == len(order.scopes) and valid_until < min(known)


def expected_month(at: Desk, order: Order, today: date) -> int:
    """The month in which the work is likely to be done: when it is due, or the next one in which crews go out."""
    day = max([today, *dues(order)[:1]])
    months = [(day.month - 1 + ahead) % 12 + 1 for ahead in range(12)]
    return next(month for month in months if month in at.business.season_months)


def offer_row(
    at: Desk, order: Order, found: Reckoned, number: int, today: date, valid_until: date, by: User | None
) -> Offer:
    client, totals = order.property.client, found.totals
    return Offer(
        number=number, client=client, property=order.property, price_list=at.price_list,
        language=client.language or at.business.locale, currency=at.price_list.currency,
        tax_mode=at.price_list.tax_mode, tax_rounding=at.price_list.tax_rounding, net=totals.net, tax=totals.tax,
        total=totals.total, hours=found.all_hours, drafted_on=today, valid_until=valid_until, created_by=by,
    )  # fmt: skip


def scope_row(offer: Offer, scope: Scope, place: int, found: Reckoned, order: Order) -> OfferScope:
    """In the language in force, which is the client's; the steps in that of the crew as well."""
    outlook = order.outlook.of(scope.deck.pk) if order.outlook else DeckOutlook()
    return OfferScope(
        offer=offer, deck=scope.deck, position=place + 1, work=scope.work, why=scope.why,
        stripper_applications=scope.stripper_applications, coats=scope.coats, product=scope.product,
        colour=scope.colour, same_as_last=scope.same_as_last, litres=scope.litres,
        buying=[need.as_json() for need in scope.needs], steps=steps_rows(scope),
        hours=found.hours[place],
        window_opens_on=outlook.window_opens_on, due_on=outlook.due_on,
        late_on=outlook.late_on,
    )  # fmt: skip


def steps_rows(scope: Scope) -> list[dict[str, Any]]:
    """As the crew reads them; under `for_client` as the client does."""
    told = [step.said() for step in scope.steps]
    with display.for_staff():
        return [step.as_json() | {"for_client": words} for step, words in zip(scope.steps, told, strict=True)]


def line_row(offer: Offer, position: int, line: Line) -> OfferLine:
    return OfferLine(
        offer=offer, position=position, kind=line.kind, words=str(line.words), quantity=line.quantity, unit=line.unit,
        unit_price=line.unit_price, amount=line.amount, taxes=list(line.taxes),
    )  # fmt: skip


def tax_rows(offer: Offer, totals: Totals) -> list[OfferTax]:
    return [
        OfferTax(offer=offer, position=place, name=tax.name, percent=tax.percent, base=tax.base, amount=tax.amount)
        for place, tax in enumerate(totals.taxes, start=1)
    ]
