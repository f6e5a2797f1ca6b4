"""The deeds of offers: drafted, changed, revised, withdrawn. What left the house is never changed again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import connection, models, transaction
from django.db.models import Max

from clients.languages import Words
from clients.messaging import outbox
from clients.models import User
from jobs.models import Offer, OfferEvent, OfferLine, OfferScope, OfferTax
from jobs.offers import DraftedOffer, Order, desk, draft, prices_of, strips_of
from jobs.offers.pricing import Line, PricingProblem, Totals, made, total_of, with_taxes

State, Kind = Offer.State, OfferEvent.Kind
FIRST_NUMBER = 101
NUMBERS = 20_261_125  # advisory lock: numbers are given one after the other
COPIED = [
    "number", "client", "property", "price_list", "language", "currency", "tax_mode", "tax_rounding", "net", "tax",
    "total", "hours", "introduction", "waiting",
]  # fmt: skip
RECKONED = ["language", "price_list", "currency", "tax_mode", "tax_rounding", "net", "tax", "total", "hours", "waiting",
            "drafted_on", "valid_until"]  # fmt: skip


class OfferProblem(ValueError):  # noqa: N818 - reads better where it is caught
    """The deed is not possible; the text says why and what to do. `field` names the field it is about, if any."""

    def __init__(self, words: str, field: str = "") -> None:
        super().__init__(words)
        self.field = field


@dataclass(frozen=True)
class LineWords:
    """One line as it was typed; `scope` is the number of its scope row, None for the whole visit."""

    kind: str
    words: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    scope: int | None = None


@dataclass(frozen=True)
class OfferWords:
    """What of a draft is typed beside its lines."""

    introduction: str
    valid_until: date
    hours: Decimal


@transaction.atomic
def draft_orders(
    *, orders: Sequence[Order], today: date, now: datetime, by: User | None
) -> tuple[list[Offer], list[tuple[Order, PricingProblem]]]:
    """Drafts for many properties in a fixed number of statements; an order without a price is handed back with why."""
    at, number = desk(today=today), next_number()
    strips = strips_of((scope for order in orders if order.outlook for scope in order.scopes), today=today)
    drafted: list[DraftedOffer] = []
    problems: list[tuple[Order, PricingProblem]] = []
    for order in orders:
        try:
            drafted.append(draft(at, order, strips, number=number + len(drafted), today=today, by=by))
        except PricingProblem as problem:
            problems.append((order, problem))
    keep(drafted, now=now, by=by)
    return [each.offer for each in drafted], problems


@transaction.atomic
def redraft_offer(*, offer: Offer, order: Order, today: date, now: datetime, by: User | None) -> Offer:
    """Reckon a draft anew from history and prices as they are now, in place of what was in it.

    Number, revision and introduction stay. Raises `OfferProblem`, and `PricingProblem` where a price is missing.
    """
    row = locked(offer, State.DRAFT)
    at, strips = desk(today=today), strips_of(order.scopes if order.outlook else (), today=today)
    fresh = draft(at, order, strips, number=row.number, today=today, by=by)
    for name in RECKONED:
        setattr(row, name, getattr(fresh.offer, name))
    for old in (row.lines, row.taxes, row.scopes):
        old.all().delete()
    row.save()
    keep_parts([fresh], row)
    note(row, Kind.DRAFTED, now=now, by=by, words="\n".join(fresh.notes)[:2000])
    return row


def next_number() -> int:
    """The next free number, kept for this transaction."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [NUMBERS])
    return max(FIRST_NUMBER, (Offer.objects.aggregate(last=Max("number"))["last"] or 0) + 1)


def keep(drafted: Sequence[DraftedOffer], *, now: datetime, by: User | None) -> None:
    """Save the rows of all drafts, each with the first line of its history."""
    Offer.objects.bulk_create([each.offer for each in drafted])
    keep_parts(drafted)
    OfferEvent.objects.bulk_create(
        OfferEvent(offer=each.offer, kind=Kind.DRAFTED, at=now, by=by, note="\n".join(each.notes)[:2000])
        for each in drafted
    )


def keep_parts(drafted: Sequence[DraftedOffer], offer: Offer | None = None) -> None:
    """Save decks, lines and taxes of saved offers, or of the one offer that they are for."""
    for each in drafted:
        parts: list[Any] = [*each.scopes, *each.lines, *each.taxes]
        for part in parts:
            part.offer = offer or each.offer
        for line, place in zip(each.lines, each.places, strict=True):
            line.scope = None if place is None else each.scopes[place]
    OfferScope.objects.bulk_create([scope for each in drafted for scope in each.scopes])
    OfferLine.objects.bulk_create([line for each in drafted for line in each.lines])
    OfferTax.objects.bulk_create([tax for each in drafted for tax in each.taxes])


def note(offer: Offer, kind: str, *, now: datetime, by: User | None, words: str = "") -> OfferEvent:
    return OfferEvent.objects.create(offer=offer, kind=kind, at=now, by=by, note=words)


def locked(offer: Offer, *states: str) -> Offer:
    """The row locked, and in one of these states. Raises `OfferProblem`."""
    row = (
        Offer.objects.select_for_update(of=("self",))
        .select_related("client", "property", "price_list")
        .get(pk=offer.pk)
    )
    if row.state not in states:
        raise OfferProblem(
            f"Offer {row.reference} is now “{row.get_state_display().lower()}”, so this is not possible."
        )
    return row


@transaction.atomic
def change_offer(
    *, offer: Offer, words: OfferWords, lines: Sequence[LineWords], seen: int, by: User | None, now: datetime
) -> Offer:
    """Change a draft and reckon it anew; `seen` is the last event that the person had seen. Raises `OfferProblem`."""
    row = locked(offer, State.DRAFT)
    if row.events.order_by("-id").values_list("pk", flat=True).first() != seen:
        raise OfferProblem("Somebody else changed this draft in the meantime. Open it anew, then change it.")
    if words.valid_until < row.drafted_on:
        raise OfferProblem("This day is over. Choose a later one.", "valid_until")
    if not lines:
        raise OfferProblem("An offer needs at least one line.")
    row.introduction, row.valid_until, row.hours = words.introduction, words.valid_until, words.hours
    write_lines(row, lines)
    note(row, Kind.CHANGED, now=now, by=by)
    return row


def write_lines(offer: Offer, lines: Sequence[LineWords]) -> None:
    """The lines in place of the former ones, with taxes and totals."""
    prices = prices_of(offer.price_list)
    scopes = set(offer.scopes.values_list("pk", flat=True))
    reckoned = [with_taxes(prices, reckoned_line(line)) for line in lines]
    try:
        totals = total_of(prices, reckoned)
    except PricingProblem as problem:
        raise OfferProblem(str(problem)) from problem
    offer.lines.all().delete()
    OfferLine.objects.bulk_create(
        OfferLine(
            offer=offer, position=place, kind=line.kind, words=str(line.words), quantity=line.quantity, unit=line.unit,
            unit_price=line.unit_price, amount=line.amount, taxes=list(line.taxes),
            scope_id=typed.scope if typed.scope in scopes else None,
        )
        for place, (line, typed) in enumerate(zip(reckoned, lines, strict=True), start=1)
    )  # fmt: skip
    write_totals(offer, totals)


def reckoned_line(line: LineWords) -> Line:
    """A reduction takes away, however its price was typed."""
    price = -abs(line.unit_price) if line.kind == OfferLine.Kind.LESS else line.unit_price
    return made(line.kind, line.words, line.quantity, line.unit, price)


def write_totals(offer: Offer, totals: Totals) -> None:
    offer.net, offer.tax, offer.total = totals.net, totals.tax, totals.total
    offer.save()
    offer.taxes.all().delete()
    OfferTax.objects.bulk_create(
        OfferTax(offer=offer, position=place, name=tax.name, percent=tax.percent, base=tax.base, amount=tax.amount)
        for place, tax in enumerate(totals.taxes, start=1)
    )


@transaction.atomic
def revise_offer(*, offer: Offer, today: date, now: datetime, by: User | None) -> Offer:
    """A draft of the next revision with the same lines; the one that was sent is replaced by it.

    Its link says so from now on, and what has not gone out of it is cancelled. Raises `OfferProblem`.
    """
    row = locked(offer, State.OPEN, State.DECLINED, State.WITHDRAWN)
    newest = Offer.objects.filter(number=row.number).aggregate(newest=Max("revision"))["newest"]
    if newest != row.revision:
        raise OfferProblem(f"Offer {row.number} has a newer revision. Open that one.")
    if row.state == State.OPEN:
        Offer.objects.filter(pk=row.pk).update(state=State.REPLACED)
        note(row, Kind.REPLACED, now=now, by=by, words=f"By revision {row.revision + 1}")
        cancel_messages(row, why="The offer was replaced by a newer one.", now=now, by=by)
    new = copy_of(row, today=today, by=by)
    note(new, Kind.DRAFTED, now=now, by=by)
    return new


def copy_of(old: Offer, *, today: date, by: User | None) -> Offer:
    """The next revision with copies of decks, lines and taxes."""
    new = Offer(**{name: getattr(old, name) for name in COPIED}, revision=old.revision + 1, created_by=by)
    new.drafted_on, new.valid_until = today, today + (old.valid_until - old.drafted_on)
    new.save()
    scopes: dict[int, OfferScope] = {scope.pk: anew(scope, new) for scope in old.scopes.all()}
    OfferScope.objects.bulk_create(scopes.values())
    for line in old.lines.all():
        scope = scopes.get(line.scope_id or 0)
        anew(line, new, scope_id=scope and scope.pk).save()
    OfferTax.objects.bulk_create([anew(tax, new) for tax in old.taxes.all()])
    return new


def anew(row: models.Model, offer: Offer, **changes: Any) -> Any:
    """An unsaved copy of a row of another revision (saved at once where others refer to it)."""
    kept = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields if not field.primary_key}
    return type(row)(**{**kept, "offer_id": offer.pk, **changes})


@transaction.atomic
def withdraw_offer(*, offer: Offer, why: Words, by: User | None, now: datetime, noted: str = "") -> Offer:
    """Take back a draft or an unanswered offer; what has not gone out of it is cancelled. Raises `OfferProblem`.

    The client reads `why`, in their language if the words are ours; the history keeps `noted`, or the same.
    """
    row = locked(offer, State.DRAFT, State.OPEN)
    if not str(why).strip():
        raise OfferProblem("Say in a few words why; the client reads it on the offer's page.", "why")
    Offer.objects.filter(pk=row.pk).update(state=State.WITHDRAWN, withdrawn_why=row.told(why)[:300])
    note(row, Kind.WITHDRAWN, now=now, by=by, words=(noted or str(why))[:300])
    cancel_messages(row, why="The offer was withdrawn.", now=now, by=by)
    row.state = State.WITHDRAWN
    return row


def cancel_messages(offer: Offer, *, why: str, now: datetime, by: User | None) -> None:
    """What is still in the outbox of this revision."""
    outbox.cancel(messages=offer.messages(), why=why, now=now, by=by)


def message_key(offer: Offer, channel: str) -> str:
    return f"offer/{offer.number}-{offer.revision}/{channel}"
