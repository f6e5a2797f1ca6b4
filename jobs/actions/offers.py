"""The actions of offers: drafted, changed, revised, withdrawn.
What left the house is never changed again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import models, transaction
from django.db.models import Max

from clients.actions.saving import lock_until_commit
from clients.messaging import outbox
from clients.models import User
from clients.notation import StrOrPromise
from jobs.models import Offer, OfferEvent, OfferLine, OfferScope, OfferTax
from jobs.offers import (
    DraftedOffer,
    OfferBrief,
    PricedLine,
    PricingError,
    Totals,
    draft_offer,
    drafted_line_row,
    drafting_context,
    offer_tax_rows,
    prices_from_list,
    rounded_line,
    strip_scopes,
    totals_of_lines,
    with_tax_names,
)

State = Offer.State
Kind = OfferEvent.Kind
FIRST_OFFER_NUMBER = 101
PRICED_FIELDS = [  # what the price list and the book decide
    "language",
    "price_list",
    "currency",
    "tax_mode",
    "tax_rounding",
    "net",
    "tax",
    "total",
    "hours",
    "visits",
    "waiting",
    "deposit_percent",
    "deposit_amount",
]
REVISION_FIELDS = [*PRICED_FIELDS, "number", "original", "client", "site", "introduction"]
RECALCULATED_FIELDS = [*PRICED_FIELDS, "drafted_on", "valid_until"]


class OfferError(ValueError):
    """The action is not possible; the text says why and what to do.
    `field` names the field it is about, if any."""

    def __init__(self, words: str, field: str = "") -> None:
        super().__init__(words)
        self.field = field


@dataclass(frozen=True)
class OfferLineInput:
    """One line as it was typed; `scope` is the number of its scope row, None for the whole
    visit."""

    kind: str
    words: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    scope: int | None = None


@dataclass(frozen=True)
class OfferInput:
    """What of a draft is typed beside its lines."""

    introduction: str
    valid_until: date
    hours: Decimal
    visits: int = 0
    deposit_percent: Decimal = Decimal(0)
    deposit_amount: Decimal = Decimal(0)


@transaction.atomic
def draft_offer_batch(
    *, briefs: Sequence[OfferBrief], today: date, now: datetime, by: User | None
) -> tuple[list[Offer], list[tuple[OfferBrief, PricingError]]]:
    """Drafts for many properties in a fixed number of statements;
    an order without a price is handed back with why."""
    at = drafting_context(today=today)
    number = next_offer_number()
    strips = strip_scopes(
        (scope for brief in briefs for scope in brief.scopes if brief.outlook or scope.looks_first),
        today=today,
    )
    drafted: list[DraftedOffer] = []
    problems: list[tuple[OfferBrief, PricingError]] = []
    for brief in briefs:
        try:
            drafted.append(
                draft_offer(at, brief, strips, number=number + len(drafted), today=today, by=by)
            )
        except PricingError as problem:
            problems.append((brief, problem))
    save_drafted_offers(drafted, now=now, by=by)
    return [each.offer for each in drafted], problems


@transaction.atomic
def recalculate_draft(
    *, offer: Offer, brief: OfferBrief, today: date, now: datetime, by: User | None
) -> Offer:
    """Calculate a draft again from history and prices as they are now, in place of what was in it.

    Number, revision and introduction stay. Raises `OfferError`, and `PricingError` where a price is
    missing.
    """
    row = lock_offer(offer, State.DRAFT)
    if row.original:
        raise OfferError("A change order is written by hand. Change its lines instead.")
    at = drafting_context(today=today)
    asked = [scope for scope in brief.scopes if brief.outlook or scope.looks_first]
    strips = strip_scopes(asked, today=today)
    fresh = draft_offer(at, brief, strips, number=row.number, today=today, by=by)
    for name in RECALCULATED_FIELDS:
        setattr(row, name, getattr(fresh.offer, name))
    for old in (row.lines, row.taxes, row.scopes):
        old.all().delete()
    row.save()
    save_offer_rows([fresh], row)
    record_offer_event(row, Kind.DRAFTED, now=now, by=by, words="\n".join(fresh.notes))
    return row


def next_offer_number() -> int:
    """The next free number, kept for this transaction."""
    lock_until_commit("offer number")
    return max(FIRST_OFFER_NUMBER, (Offer.objects.aggregate(last=Max("number"))["last"] or 0) + 1)


def save_drafted_offers(drafted: Sequence[DraftedOffer], *, now: datetime, by: User | None) -> None:
    """Save the rows of all drafts, each with the first line of its history."""
    Offer.objects.bulk_create([each.offer for each in drafted])
    save_offer_rows(drafted)
    OfferEvent.objects.bulk_create(
        OfferEvent(
            offer=each.offer, kind=Kind.DRAFTED, at=now, by=by, note="\n".join(each.notes)[:2000]
        )
        for each in drafted
    )


def save_offer_rows(drafted: Sequence[DraftedOffer], offer: Offer | None = None) -> None:
    """Save decks, lines and taxes of saved offers, or of the one offer that they are for."""
    for each in drafted:
        parts: list[Any] = [*each.scopes, *each.lines, *each.taxes]
        for part in parts:
            part.offer = offer or each.offer
        for line, place in zip(each.lines, each.line_deck_indexes, strict=True):
            line.scope = None if place is None else each.scopes[place]
    OfferScope.objects.bulk_create([scope for each in drafted for scope in each.scopes])
    OfferLine.objects.bulk_create([line for each in drafted for line in each.lines])
    OfferTax.objects.bulk_create([tax for each in drafted for tax in each.taxes])


def record_offer_event(
    offer: Offer, kind: str, *, now: datetime, by: User | None = None, words: str = ""
) -> OfferEvent:
    """A line of its history; the client's own without `by`."""
    return OfferEvent.objects.create(offer=offer, kind=kind, at=now, by=by, note=words[:2000])


def lock_offer(offer: Offer, *states: str) -> Offer:
    """The row locked, and in one of these states. Raises `OfferError`."""
    row = (
        Offer.objects.select_for_update(of=("self",))
        .select_related("client", "site", "price_list", "original")
        .get(pk=offer.pk)
    )
    if row.state not in states:
        raise OfferError(
            f"Offer {row.reference} is now “{row.get_state_display().lower()}”, so this is not"
            " possible."
        )
    return row


@transaction.atomic
def change_offer(
    *,
    offer: Offer,
    words: OfferInput,
    lines: Sequence[OfferLineInput],
    seen: int,
    by: User | None,
    now: datetime,
) -> Offer:
    """Change a draft and calculate it again; `seen` is the last event that the person had seen.
    Raises `OfferError`."""
    row = lock_offer(offer, State.DRAFT)
    if row.events.order_by("-id").values_list("pk", flat=True).first() != seen:
        raise OfferError(
            "Somebody else changed this draft in the meantime. Open it again, then change it."
        )
    if words.valid_until < row.drafted_on:
        raise OfferError("This day is over. Choose a later one.", "valid_until")
    if not lines:
        raise OfferError("An offer needs at least one line.")
    if row.original and not words.introduction.strip():
        raise OfferError("Say why the work changes; the client reads it first.", "introduction")
    row.introduction = words.introduction
    row.valid_until = words.valid_until
    row.hours = words.hours
    row.visits = words.visits
    row.deposit_percent = words.deposit_percent
    row.deposit_amount = words.deposit_amount
    replace_offer_lines(row, lines)
    record_offer_event(row, Kind.CHANGED, now=now, by=by)
    return row


def replace_offer_lines(offer: Offer, lines: Sequence[OfferLineInput]) -> None:
    """The lines in place of the former ones, with taxes and totals."""
    prices = prices_from_list(offer.price_list)
    scopes = set(offer.scopes.values_list("pk", flat=True))
    priced = [with_tax_names(prices, offer_line_from_input(line)) for line in lines]
    try:
        totals = totals_of_lines(prices, priced, may_be_less=offer.original is not None)
    except PricingError as problem:
        raise OfferError(str(problem)) from problem
    offer.lines.all().delete()
    rows = [drafted_line_row(offer, place, line) for place, line in enumerate(priced, start=1)]
    for row, typed in zip(rows, lines, strict=True):
        row.scope_id = typed.scope if typed.scope in scopes else None
    OfferLine.objects.bulk_create(rows)
    replace_offer_totals(offer, totals)


def offer_line_from_input(line: OfferLineInput) -> PricedLine:
    """A reduction takes away, however its price was typed."""
    price = -abs(line.unit_price) if line.kind == OfferLine.Kind.LESS else line.unit_price
    return rounded_line(line.kind, line.words, line.quantity, line.unit, price)


def replace_offer_totals(offer: Offer, totals: Totals) -> None:
    offer.net = totals.net
    offer.tax = totals.tax
    offer.total = totals.total
    offer.save()
    offer.taxes.all().delete()
    OfferTax.objects.bulk_create(offer_tax_rows(offer, totals))


@transaction.atomic
def draft_change_order(*, offer: Offer, today: date, now: datetime, by: User | None) -> Offer:
    """A further small offer that names the accepted one: more or less work, still without lines.

    What was accepted is never changed (decision 14); prices and taxes are those of its list. While
    one is a draft, that one is given back. Raises `OfferError`.
    """
    first = lock_offer(offer, State.ACCEPTED)
    if first.original:
        raise OfferError(f"This is a change itself. Change offer {first.original.number}.")
    if there := first.change_orders.filter(state=State.DRAFT).first():
        return there
    same = ["client", "site", "price_list", "language", "currency", "tax_mode", "tax_rounding"]
    new = Offer.objects.create(
        **{name: getattr(first, name) for name in same},
        number=next_offer_number(),
        original=first,
        drafted_on=today,
        valid_until=today + timedelta(days=first.price_list.valid_days),
        created_by=by,
    )
    record_offer_event(new, Kind.DRAFTED, now=now, by=by)
    return new


@transaction.atomic
def revise_offer(*, offer: Offer, today: date, now: datetime, by: User | None) -> Offer:
    """A draft of the next revision with the same lines; the one that was sent is replaced by it.

    Its link says so from now on, and what has not gone out of it is cancelled. Raises `OfferError`.
    """
    row = lock_offer(offer, State.OPEN, State.DECLINED, State.WITHDRAWN)
    newest = Offer.objects.filter(number=row.number).aggregate(newest=Max("revision"))["newest"]
    if newest != row.revision:
        raise OfferError(f"Offer {row.number} has a newer revision. Open that one.")
    if row.state == State.OPEN:
        Offer.objects.filter(pk=row.pk).update(state=State.REPLACED)
        record_offer_event(
            row, Kind.REPLACED, now=now, by=by, words=f"By revision {row.revision + 1}"
        )
        cancel_offer_messages(row, why="The offer was replaced by a newer one.", now=now, by=by)
    new = copy_as_next_revision(row, today=today, by=by)
    record_offer_event(new, Kind.DRAFTED, now=now, by=by)
    return new


def copy_as_next_revision(old: Offer, *, today: date, by: User | None) -> Offer:
    """The next revision with copies of decks, lines and taxes."""
    new = Offer(
        **{name: getattr(old, name) for name in REVISION_FIELDS},
        revision=old.revision + 1,
        created_by=by,
    )
    new.drafted_on = today
    new.valid_until = today + (old.valid_until - old.drafted_on)
    new.save()
    scopes: dict[int, OfferScope] = {
        scope.pk: copy_row_to_offer(scope, new) for scope in old.scopes.all()
    }
    OfferScope.objects.bulk_create(scopes.values())
    for line in old.lines.all():
        scope = scopes.get(line.scope_id or 0)
        copy_row_to_offer(line, new, scope_id=scope and scope.pk).save()
    OfferTax.objects.bulk_create([copy_row_to_offer(tax, new) for tax in old.taxes.all()])
    return new


def copy_row_to_offer(row: models.Model, offer: Offer, **changes: Any) -> Any:
    """An unsaved copy of a row of another revision (saved at once where others refer to it)."""
    kept = {
        field.attname: getattr(row, field.attname)
        for field in row._meta.concrete_fields
        if not field.primary_key
    }
    return type(row)(**{**kept, "offer_id": offer.pk, **changes})


@transaction.atomic
def withdraw_offer(
    *, offer: Offer, why: StrOrPromise, by: User | None, now: datetime, history_note: str = ""
) -> Offer:
    """Take back a draft or an unanswered offer; what has not gone out of it is cancelled.
    Raises `OfferError`.

    The client reads `why`, in their language if the words are ours; the history keeps `noted`, or
    the same.
    """
    row = lock_offer(offer, State.DRAFT, State.OPEN)
    if not str(why).strip():
        raise OfferError("Say in a few words why; the client reads it on the offer's page.", "why")
    Offer.objects.filter(pk=row.pk).update(
        state=State.WITHDRAWN, withdrawn_why=row.in_client_language(why)[:300]
    )
    record_offer_event(row, Kind.WITHDRAWN, now=now, by=by, words=(history_note or str(why))[:300])
    cancel_offer_messages(row, why="The offer was withdrawn.", now=now, by=by)
    row.state = State.WITHDRAWN
    return row


def cancel_offer_messages(offer: Offer, *, why: str, now: datetime, by: User | None) -> None:
    """What is still in the outbox of this revision."""
    outbox.cancel_unsent(messages=offer.messages(), why=why, now=now, by=by)


def offer_message_key(offer: Offer, channel: str) -> str:
    return f"offer/{offer.number}-{offer.revision}/{channel}"
