"""The rows of a new offer, not yet saved: many drafts are saved together."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from clients import display
from clients.models import User
from clients.notation import primary_language
from jobs.models import Offer, OfferLine, OfferScope, OfferTax
from jobs.offers.outlook import DeckOutlook, OfferBrief, Outlook
from jobs.offers.pricing import (
    Journey,
    PricedLine,
    PricedWork,
    PricingError,
    Reductions,
    Totals,
    cents,
    price_work,
)
from jobs.offers.pricing_inputs import (
    DraftingContext,
    deck_work_from_scope,
    journey_to,
    unpriced_products,
)
from jobs.offers.waiting_cost import (
    StripScopes,
    cost_of_waiting,
    recoat_strip_prices,
)
from jobs.scope import Scope

MAX_DECK_LITRES = Decimal(9_999)


@dataclass
class DraftedOffer:
    """The rows of one offer; scopes belong to lines by their place."""

    offer: Offer
    scopes: list[OfferScope]
    lines: list[OfferLine]
    taxes: list[OfferTax]
    line_deck_indexes: list[int | None]  # for each line the place of its scope
    notes: list[str]  # what whoever looks through the draft should know


def draft_offer(
    context: DraftingContext,
    brief: OfferBrief,
    strips: StripScopes,
    *,
    number: int,
    today: date,
    by: User | None,
) -> DraftedOffer:
    """`strips` are what a strip would take instead of each recoat. Raises `PricingError`."""
    if not brief.scopes:
        raise PricingError("There is no deck to make an offer for.")
    check_scope_litres(brief.scopes)
    works = [deck_work_from_scope(scope, place) for place, scope in enumerate(brief.scopes)]
    reductions = Reductions(
        expected_work_month(context, brief, today),
        is_early_booking(brief, context.valid_until(today)),
    )
    way = journey_to(context, brief.site, brief.scopes)
    found = price_work(context.prices, works, way, reductions, units=context.business.units)
    offer = offer_row(context, brief, found, number=number, today=today, by=by)
    notes = [words for scope in brief.scopes for words in scope_notes(scope, brief.outlook)]
    notes += lacking_notes(context, way, found, offer.language)
    try:
        offer.waiting = cost_of_waiting(context, brief, strips, reductions, offer.total)
    except PricingError as problem:
        notes.append(f"The offer does not compare now with waiting. {problem}")
    with display.override_business(context.business), display.in_client_language(offer.language):
        scopes = [
            scope_row(offer, scope, place, found, brief) for place, scope in enumerate(brief.scopes)
        ]
        add_both_prices(context, scopes, brief, strips)
        lines = [
            drafted_line_row(offer, position, line)
            for position, line in enumerate(found.lines, start=1)
        ]
    return DraftedOffer(
        offer,
        scopes,
        lines,
        offer_tax_rows(offer, found.totals),
        [line.deck_index for line in found.lines],
        notes,
    )


def lacking_notes(
    context: DraftingContext, way: Journey, found: PricedWork, language: str
) -> Iterator[str]:
    """What the business has not entered, so that the offer leaves it out."""
    if (
        way.km is None
        and context.prices.travel_per_km
        and not any(line.kind == "travel" for line in found.lines)
    ):
        yield (
            "The way there is not in the price: its distance is not known. Enter it on the"
            " property's page."
        )
    known = context.terms_languages
    if known and not known & {language, primary_language(language)}:
        yield (
            f"Your terms are not written in the client's language ({language}), so none stand on"
            " this offer. Settings, Advanced, Terms on offers."
        )


def check_scope_litres(scopes: Sequence[Scope]) -> None:
    for scope in scopes:
        if sum((need.litres for need in scope.needs), Decimal(0)) > MAX_DECK_LITRES:
            raise PricingError(
                f"{scope.deck.label} would take {scope.litres:,} L of finish. Check its area."
            )


def scope_notes(scope: Scope, outlook: Outlook | None) -> list[str]:
    """What the scope warns of, what the forecast doubts, and materials that nobody entered a price
    for."""
    lacking = [
        f"{name} has no pack with a price, so this offer does not charge for it. Add the pack on"
        " the product's page."
        for name in unpriced_products(scope)
    ]
    return [
        f"{scope.deck.label}: {words}"
        for words in [
            scope.warning,
            left_out_note(scope),
            strip_chance_note(scope, outlook),
            *lacking,
        ]
        if words
    ]


def left_out_note(scope: Scope) -> str:
    if not scope.left_out:
        return ""
    return (
        f"Not due yet and left out: {scope.left_out_words.lower()}. “Begin again” can take it in."
    )


def strip_chance_note(scope: Scope, outlook: Outlook | None) -> str:
    """How likely it is that a look says so."""
    chance = outlook.for_deck(scope.deck.pk).strip_chance_today if outlook else 0.0
    if not (scope.looks_first and chance):
        return ""
    return f"The forecast gives {chance:.0%} that only a strip will do by now."


def add_both_prices(
    context: DraftingContext, rows: Sequence[OfferScope], brief: OfferBrief, strips: StripScopes
) -> None:
    """What each deck costs either way, where a look decides. Raises `PricingError`."""
    for row, scope in zip(rows, brief.scopes, strict=True):
        if scope.looks_first:
            prices = recoat_strip_prices(context, scope, strips[scope.deck.pk])
            row.recoat_total = cents(prices.recoat)
            row.strip_total = cents(prices.strip)


def known_due_days(brief: OfferBrief) -> list[date]:
    """When the decks of the order are due, where a forecast says so."""
    outlook = brief.outlook
    found = [outlook.for_deck(scope.deck.pk).due_on for scope in brief.scopes] if outlook else []
    return [day for day in found if day]


def is_early_booking(brief: OfferBrief, valid_until: date) -> bool:
    """Whoever accepts while the offer stands does so before any of the decks is due."""
    known = known_due_days(brief)
    return len(known) == len(brief.scopes) and valid_until < min(known)


def expected_work_month(context: DraftingContext, brief: OfferBrief, today: date) -> int:
    """The month in which the work is likely to be done:
    when it is due, or the next one in which crews go out."""
    day = max([today, *known_due_days(brief)[:1]])
    months = [(day.month - 1 + ahead) % 12 + 1 for ahead in range(12)]
    return next(month for month in months if month in context.business.season_months)


def offer_row(
    context: DraftingContext,
    brief: OfferBrief,
    found: PricedWork,
    *,
    number: int,
    today: date,
    by: User | None,
) -> Offer:
    client = brief.site.client
    totals = found.totals
    return Offer(
        number=number,
        client=client,
        site=brief.site,
        price_list=context.price_list,
        language=client.language or context.business.locale,
        currency=context.price_list.currency,
        tax_mode=context.price_list.tax_mode,
        tax_rounding=context.price_list.tax_rounding,
        deposit_percent=context.price_list.deposit_percent,
        deposit_amount=context.price_list.deposit_amount,
        net=totals.net,
        tax=totals.tax,
        total=totals.total,
        hours=found.total_hours,
        visits=found.visits,
        drafted_on=today,
        valid_until=context.valid_until(today),
        created_by=by,
    )


def scope_row(
    offer: Offer, scope: Scope, place: int, found: PricedWork, brief: OfferBrief
) -> OfferScope:
    """In the language in force, which is the client's; the steps in that of the crew as well."""
    outlook = brief.outlook.for_deck(scope.deck.pk) if brief.outlook else DeckOutlook()
    return OfferScope(
        offer=offer,
        deck=scope.deck,
        position=place + 1,
        work=scope.work,
        why=scope.why,
        stripper_applications=scope.stripper_applications,
        coats=scope.coats,
        surfaces=list(scope.surfaces),
        product=scope.product,
        colour=scope.colour,
        same_as_last=scope.same_as_last,
        litres=scope.litres,
        buying=[need.as_json() for need in scope.needs],
        steps=scope_steps_json(scope),
        hours=found.hours[place],
        window_opens_on=outlook.window_opens_on,
        due_on=outlook.due_on,
        late_on=outlook.late_on,
    )


def scope_steps_json(scope: Scope) -> list[dict[str, Any]]:
    """As the crew reads them; under `in_client_language` as the client does."""
    told = [step.translated_texts() for step in scope.steps]
    with display.in_staff_language():
        return [
            step.as_json() | {"for_client": words}
            for step, words in zip(scope.steps, told, strict=True)
        ]


def drafted_line_row(offer: Offer, position: int, line: PricedLine) -> OfferLine:
    return OfferLine(
        offer=offer,
        position=position,
        kind=line.kind,
        words=str(line.words),
        quantity=line.quantity,
        unit=line.unit,
        unit_price=line.unit_price,
        amount=line.amount,
        taxes=list(line.taxes),
    )


def offer_tax_rows(offer: Offer, totals: Totals) -> list[OfferTax]:
    return [
        OfferTax(
            offer=offer,
            position=place,
            name=tax.name,
            percent=tax.percent,
            base=tax.base,
            amount=tax.amount,
        )
        for place, tax in enumerate(totals.taxes, start=1)
    ]
