"""`manage.py offer DECK_ID`: scope, lines, litres, packs and totals of an offer for one deck;
--save keeps a draft."""

import json
from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients import display
from clients.management.opening import BookCommand
from clients.models import Deck
from clients.tables import add_format_option, plain_value, write_rows
from jobs.materials import MaterialError
from jobs.models import OfferLine, OfferScope
from jobs.offers import DraftedOffer, PricingError, draft_offer, drafting_context, strip_scopes
from reminders import offer_drafting
from reminders.management.arguments import require_business

LINE_COLUMNS = ["kind", "words", "quantity", "unit", "unit_price", "amount", "taxes"]


class Command(BookCommand):
    help = (
        "Calculate an offer for one deck: scope, lines, litres, packs, totals. Drafts nothing"
        " unless --save is given."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "deck_id", type=int, help="Number of the deck, as in the address of its page."
        )
        parser.add_argument("--save", action="store_true", help="Keep it as a draft in the book.")
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        now = timezone.now()
        business = require_business()
        today = business.today(now)
        with display.override_business(business):
            priced = unsaved_offer(options["deck_id"], today)
            number = self.save(options["deck_id"], today) if options["save"] else None
            if options["format"] == "json":
                self.stdout.write(
                    json.dumps(
                        offer_as_json(priced, number),
                        ensure_ascii=False,
                        indent=2,
                        default=plain_value,
                    )
                )
                return
            write_rows(
                map(offer_line_row, priced.lines),
                format=options["format"],
                out=self.stdout,
                columns=LINE_COLUMNS,
            )
            if options["format"] == "table":
                self.stdout.write(offer_summary(priced, number))

    def save(self, deck_id: int, today: date) -> str:
        drafted = offer_drafting.draft_offers(
            deck_ids=[deck_id], today=today, now=timezone.now(), by=None
        )
        if not drafted.offers:
            raise CommandError(f"Nothing was saved. {drafted.left_out[0][1]}")
        return drafted.offers[0].reference


def unsaved_offer(deck_id: int, today: date) -> DraftedOffer:
    """The rows of the offer, unsaved. Raises `CommandError` with what is missing."""
    deck = Deck.objects.with_owner().filter(pk=deck_id).first()
    if deck is None:
        raise CommandError(
            f"There is no deck {deck_id}. `manage.py history` finds a deck's number by any words."
        )
    try:
        brief = next(iter(offer_drafting.orders_by_property([deck], today=today)))
        return draft_offer(
            drafting_context(today=today),
            brief,
            strip_scopes(brief.scopes, today=today),
            number=0,
            today=today,
            by=None,
        )
    except (PricingError, MaterialError) as problem:
        raise CommandError(str(problem)) from problem


def offer_line_row(line: OfferLine) -> dict[str, Any]:
    return {name: getattr(line, name) for name in LINE_COLUMNS}


def offer_as_json(drafted: DraftedOffer, number: str | None) -> dict[str, Any]:
    """The stable keys of docs/commands.md; decimals as text."""
    offer = drafted.offer
    scope = drafted.scopes[0]
    return {
        "deck_id": scope.deck_id,
        "offer": number,
        "scope": {
            "work": scope.work,
            "why": scope.why,
            "coats": scope.coats,
            "stripper_applications": scope.stripper_applications,
            "product": scope.product.name if scope.product else None,
            "colour": scope.colour,
            "same_as_last": scope.same_as_last,
            "hours": scope.hours,
            "window_opens_on": scope.window_opens_on,
            "due_on": scope.due_on,
            "late_on": scope.late_on,
        },
        "lines": [offer_line_row(line) for line in drafted.lines],
        "litres": scope.litres,
        "materials": scope.buying,
        "packs": packs_to_buy(scope),
        "steps": scope.steps,
        "totals": {
            "currency": offer.currency,
            "net": offer.net,
            "tax": offer.tax,
            "total": offer.total,
            "hours": offer.hours,
            "visits": offer.visits,
            "tax_mode": offer.tax_mode,
            "tax_rounding": offer.tax_rounding,
            "taxes": [
                {"name": tax.name, "percent": tax.percent, "base": tax.base, "amount": tax.amount}
                for tax in drafted.taxes
            ],
        },
        "valid_until": offer.valid_until,
        "waiting": offer.waiting,
        "notes": drafted.notes,
    }


def packs_to_buy(scope: OfferScope) -> list[dict[str, Any]]:
    """What is to be bought, one row a size of pack."""
    return [
        {"product": need["name"], "litres": litres, "count": count, "price": price}
        for need in scope.buying
        for litres, count, price in need["packs"]
    ]


def offer_summary(drafted: DraftedOffer, number: str | None) -> str:
    """Taxes, totals, litres and what to look at, below the table."""
    offer = drafted.offer
    scope = drafted.scopes[0]
    taxes = [
        f"{tax.name} {percent_text(tax.percent)} % "
        f" {display.format_money(tax.amount, offer.currency)}"
        for tax in drafted.taxes
    ]
    lines = [
        f"{scope.get_work_display()}. {scope.why}",
        (
            f"Finish {display.format_measure(scope.litres, 'volume')},"
            f" {display.format_number(offer.hours, 2)} hours of work"
        ),
        f"Before tax  {display.format_money(offer.net, offer.currency)}",
        *taxes,
        f"To pay  {display.format_money(offer.total, offer.currency)}",
        *drafted.notes,
        f"Saved as offer {number}." if number else "Nothing was saved; --save keeps it as a draft.",
    ]
    return "\n".join(lines)


def percent_text(value: Any) -> str:
    return f"{value.normalize():f}"
