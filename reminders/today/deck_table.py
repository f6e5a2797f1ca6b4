"""The table of decks on the page Today: which decks, in what order, and the lines that are shown,
in a fixed number of queries."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from functools import cached_property, lru_cache
from typing import Any

from django.db.models import (
    Case,
    DateField,
    F,
    FloatField,
    Max,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.functions import Cast, Coalesce

from clients import display
from clients.kept_plans import fetch_by_kept_plan, written_out
from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.messaging.reach import ContactPointRow, ContactPurpose, Reach, Route
from clients.models import Business, Channel, Property
from jobs.day_words import say_span
from jobs.forecast_summary import WorkAdvice
from jobs.models import (
    STRIP_ABOVE_COATS,
    AppliedFinish,
    Booking,
    CoatApplied,
    Job,
    OfferScope,
)
from jobs.offers import due_parts
from jobs.partial_dates import Precision
from reminders.due import DeckRow, value_columns
from reminders.forecasting import (
    MAX_PRICE_AGE,
    DueSurfaces,
    kept_middle_prices,
    ranked_reasons,
    visit_advice,
)
from reminders.models import Forecast, ForecastQuerySet, Stop
from reminders.pacing import deck_prices
from reminders.today.deck_status import (
    DECK_TABS,
    StatusRule,
    count_decks_by_status,
    decks_in_tab,
)
from reminders.today.table_request import NO_WAY, TableRequest
from reminders.today.wear_words import (
    age_words,
    month_words,
    short_day,
    wear_stage,
    wear_words,
)

ADVICE_NOTES = {WorkAdvice.LOOK: "look first", WorkAdvice.STRIP: "most likely a strip"}
ROWS_A_PAGE = 50
MAX_CHOSEN_ROWS = 500  # as many as one press reminds
MAX_EXPORTED_ROWS = 20_000


@dataclass(frozen=True)
class ReachedBy:
    """The way a client would be reminded, and why no better one."""

    channel: str
    label: str
    why: str = ""


@dataclass
class TodayDeck(DeckRow):
    """One line of the table."""

    site_id: int
    preferred_channel: str
    half_worn_on: date
    late_on: date
    look_on: date | None
    strip_on: date | None
    boards_due_on: date | None
    others: list[dict[str, Any]]
    chance_worn: float
    contributions: dict[str, float]
    status: str
    today: date = date.min
    advice: WorkAdvice = WorkAdvice.RECOAT
    price: Decimal | None = None
    strip_price: Decimal | None = None
    reached_by: ReachedBy | None = None
    phone: str = ""
    email: str = ""
    contact: str = ""
    contact_by: str = ""
    agreed: str = ""
    agreed_url: tuple[str, int] | None = None
    finishes: list[AppliedFinish] = field(default_factory=list)

    @property
    def advice_note(self) -> str:
        """“look first”, “most likely a strip”; empty where a recoat does."""
        return ADVICE_NOTES.get(self.advice, "")

    @property
    def next_job(self) -> str:
        """What is proposed today, and what the days to come change in it."""
        if self.advice != WorkAdvice.RECOAT or not self.look_on:
            return self.advice_note or "clean and recoat"
        return f"clean and recoat; look first from {display.format_day(self.look_on)}"

    @property
    def state(self) -> str:
        return wear_words(self.window_opens_on, self.due_on, self.today)

    @property
    def surfaces(self) -> str:
        """What is due and what is not yet, where that differs."""
        return DueSurfaces.of(self.boards_due_on, self.others).words(self.today)

    @property
    def stage(self) -> str:
        return wear_stage(self.window_opens_on, self.due_on, self.late_on, self.today)

    @property
    def coat_age(self) -> str:
        return age_words(self.coated_on, self.today)

    @property
    def coated_month(self) -> str:
        """The month of the last coat; the season or the year where only that is known."""
        if self.coated_from is None or self.coat_span.precision == Precision.MONTH:
            return month_words(self.coated_on)
        return say_span(self.coat_span, is_south=self.latitude < 0)

    @property
    def size(self) -> str:
        """In as little room as the column has."""
        if self.area_m2 is None:
            return "unknown"
        return display.format_size(self.area_m2.quantize(Decimal(1)))

    @property
    def reasons(self) -> list[str]:
        return ranked_reasons(self.contributions)

    @property
    def finish(self) -> str:
        return " + ".join(
            ", ".join(filter(None, (each.product, each.colour))) for each in self.finishes
        )

    @property
    def can_be_chosen(self) -> bool:
        return self.status != "booked"


class DeckTable:
    """The table as it is asked for."""

    def __init__(self, asked: TableRequest, rule: StatusRule, business: Business) -> None:
        self.asked = asked
        self.rule = rule
        self.business = business

    @cached_property
    def filtered(self) -> ForecastQuerySet:
        """Decks of all tabs that the filters leave."""
        rows = Forecast.objects.current()
        asked = self.asked
        for word in asked.q.split():
            rows = rows.filter(
                Q(deck__site__client__name__icontains=word)
                | Q(deck__site__street__icontains=word)
                | Q(deck__site__town__icontains=word)
                | Q(deck__label__icontains=word)
            )
        if asked.town:
            rows = rows.filter(deck__site__town=asked.town)
        if asked.product:
            applied = CoatApplied.objects.filter(product=int(asked.product))
            rows = rows.filter(job__in=applied.values("job"))
        if asked.crew:
            living = Booking.objects.filter(
                crew=int(asked.crew), state__in=[Booking.State.BOOKED, Booking.State.HELD]
            )
            rows = rows.filter(deck__in=living.values("decks"))
        return rows.filter(deck__in=self.decks_reached(rows)) if asked.way else rows

    def decks_reached(self, rows: ForecastQuerySet) -> list[int]:
        """Decks of clients who are reached by the way that is asked for; the law of each place
        decides, so each client is looked at."""
        found = []
        reach = Reach(rows.order_by().values("deck__site__client"), business=self.business)
        columns = ("deck", "deck__site__client", "deck__site__client__preferred_channel")
        for deck, client, preferred in rows.order_by().values_list(*columns):
            way = first_way(reach, client, preferred, self.rule)
            if (way.channel or NO_WAY) == self.asked.way:
                found.append(deck)
        return found

    @cached_property
    def counts(self) -> dict[str, int]:
        """How many decks stand under each tab."""
        found = dict(
            count_decks_by_status(self.filtered, self.rule)
            if self.asked.is_filtered
            else fetch_by_kept_plan(book_counts_sql(self.rule))
        )
        counts = {tab: found.get(tab, 0) for tab in DECK_TABS}
        return counts | {"all": sum(found.values())}

    @property
    def tabs(self) -> list[tuple[str, str, int]]:
        return [(name, words, self.counts[name]) for name, words in DECK_TABS.items()]

    @property
    def total(self) -> int:
        """How many decks the tab has."""
        return self.counts[self.asked.tab]

    @cached_property
    def ordered(self) -> ForecastQuerySet:
        rows = decks_in_tab(self.filtered, self.rule, self.asked.tab)
        return in_order(rows, self.asked, self.rule, self.middle_prices)

    @cached_property
    def middle_prices(self) -> dict[str, float]:
        return kept_middle_prices(today=self.rule.today, currency=self.business.currency)

    def lines(self, part: slice) -> list[TodayDeck]:
        if part.stop == 0:
            return []
        if self.asked.is_filtered or self.asked.sort_key == "price":
            return self.lines_of_statuses(dict(deck_statuses(self.ordered)[part]))
        sql = book_statuses_sql(self.asked, self.rule, part.start or 0, part.stop)
        return self.lines_of_statuses(dict(fetch_by_kept_plan(sql)))

    def lines_of(self, deck_ids: Sequence[int]) -> list[TodayDeck]:
        """Chosen decks, whatever their tab, in the order of the table."""
        everywhere = DeckTable(
            replace(self.asked, tab="all", q="", town="", product="", way="", crew=""),
            self.rule,
            self.business,
        )
        chosen = everywhere.ordered.filter(deck__in=deck_ids)
        return self.lines_of_statuses(dict(deck_statuses(chosen)))

    def lines_of_statuses(self, statuses: dict[int, str]) -> list[TodayDeck]:
        """In this order. First it was asked which decks, by the least that tells, now for the
        columns of these alone: sorting a whole book with all that a line shows takes several times
        as long."""
        shown = (
            Forecast.objects.filter(deck__in=statuses).annotate(status=Value("")).with_surfaces()
        )
        lines = [TodayDeck(*row) for row in shown.values_list(*value_columns(TodayDeck))]
        for line in lines:
            line.status = statuses[line.deck_id]
        order = {deck: place for place, deck in enumerate(statuses)}
        return self.completed(sorted(lines, key=lambda line: order[line.deck_id]))

    def deck_ids(self, limit: int) -> list[int]:
        """The decks of the tab in order, booked ones left out: what “choose all” means."""
        rows = self.ordered.exclude(status="booked")  # type: ignore[misc] # annotated
        return list(rows.values_list("deck_id", flat=True)[:limit])

    def completed(self, found: list[TodayDeck]) -> list[TodayDeck]:
        """With price, contact, way and what is agreed, for all lines at once."""
        if not found:
            return found
        advice = visit_advice({line.deck_id: line.surface for line in found}, today=self.rule.today)
        for line in found:
            line.today = self.rule.today
            line.advice = advice[line.deck_id]
        self.add_prices(found)
        self.add_ways(found)
        add_last_contacts(found, self.business)
        add_agreements(found, self.rule.today)
        finishes = CoatApplied.objects.finishes_by_job([line.job_id for line in found])
        for line in found:
            line.finishes = finishes.get(line.job_id, [])
        return found

    def add_prices(self, found: list[TodayDeck]) -> None:
        """What was charged here last, else the middle price of the others; none before any was."""
        if not self.middle_prices:
            return
        prices = deck_prices(
            found,
            today=self.rule.today,
            currency=self.business.currency,
            middle=self.middle_prices,
            parts=due_parts([line.deck_id for line in found if line.others], today=self.rule.today),
        )
        for line, recoat, strip in zip(
            found, prices.recoat.tolist(), prices.strip.tolist(), strict=True
        ):
            line.price = Decimal(round(strip if line.advice == WorkAdvice.STRIP else recoat))
            if line.advice == WorkAdvice.LOOK:
                line.strip_price = Decimal(round(strip))

    def add_ways(self, found: list[TodayDeck]) -> None:
        reach = Reach({line.client_id for line in found}, business=self.business)
        for line in found:
            line.reached_by = first_way(reach, line.client_id, line.preferred_channel, self.rule)
            points = sorted(reach.points.get(line.client_id, ()), key=lambda point: point.rank)
            line.phone = first_value(points, "mobile", "phone")
            line.email = first_value(points, "email")

    @cached_property
    def towns(self) -> list[str]:
        """To choose from. Of all properties: those without a deck in the table are few, and to
        leave them out every deck would be read."""
        return Property.objects.town_names()


def deck_statuses(rows: ForecastQuerySet) -> QuerySet[Any, Any]:
    return rows.values_list("deck_id", "status")  # type: ignore[misc] # annotated


@lru_cache(maxsize=4)
def book_counts_sql(rule: StatusRule) -> str:
    """Written out once a day and process, as no filter is asked for: so it is mostly opened."""
    return written_out(count_decks_by_status(Forecast.objects.current(), rule))


@lru_cache(maxsize=64)
def book_statuses_sql(asked: TableRequest, rule: StatusRule, start: int, stop: int) -> str:
    """The same of a part of a tab in order."""
    rows = decks_in_tab(Forecast.objects.current(), rule, asked.tab)
    return written_out(deck_statuses(in_order(rows, asked, rule, {}))[start:stop])


def first_value(points: Sequence[ContactPointRow], *kinds: str) -> str:
    """A number as it is dialled, an address as it is written; empty if there is none."""
    usable = [point for point in points if point.kind in kinds]
    if not usable:
        return ""
    return usable[0].value if usable[0].kind == "email" else usable[0].normalized


def first_way(reach: Reach, client: int, preferred: str, rule: StatusRule) -> ReachedBy:
    """The first way that is possible: the client's favourite, then those of the first step."""
    reasons: list[tuple[str, str]] = []
    for channel in dict.fromkeys(filter(None, [preferred, *first_channels(rule)])):
        label = str(Channel(channel).label)
        if channel in reach.transports_down:
            continue
        answer = reach.route(client, channel, ContactPurpose.MARKETING, on=rule.today)
        if isinstance(answer, Route):
            return ReachedBy(channel, label, why_not_better(reasons))
        reasons.append((label, answer.why))
    return ReachedBy("", "No way", why_not_better(reasons))


def first_channels(rule: StatusRule) -> Sequence[str]:
    """Of the first step in use."""
    return rule.steps[0].channels if rule.steps else ()


def why_not_better(reasons: Sequence[tuple[str, str]]) -> str:
    if not reasons:
        return ""
    (label, why) = reasons[0]
    return f"{label}: {why[0].lower()}{why[1:]}"


def strip_condition(today: date) -> Q:
    return Q(strip_on__lte=today) | Q(coat_build__gt=STRIP_ABOVE_COATS)


def in_order(
    rows: ForecastQuerySet, asked: TableRequest, rule: StatusRule, middle: dict[str, float]
) -> ForecastQuerySet:
    """In the order that is asked for; decks of one property keep together where that is no order
    of its own."""
    if asked.sort_key == "worth":
        return by_what_can_be_saved(rows, rule, is_reversed=asked.is_descending)
    keys: dict[str, list[Any]] = {
        "client": [F("deck__site__client__name")],
        "town": [F("deck__site__town"), F("deck__site__street")],
        "coat": [F("job__finished_on")],
        "state": [F("due_on")],
        "size": [F("deck__area_m2")],
    }
    if asked.sort_key == "price":
        keys["price"] = [expected_price(rule, middle)]
    if asked.sort_key == "contact":
        keys["contact"] = [last_contact()]
    order = [
        key.desc(nulls_last=True) if asked.is_descending else key.asc(nulls_last=True)
        for key in keys[asked.sort_key]
    ]
    return rows.order_by(*order, "deck_id")


def by_what_can_be_saved(
    rows: ForecastQuerySet, rule: StatusRule, *, is_reversed: bool
) -> ForecastQuerySet:
    """Decks that a recoat still saves first, those that will need a strip soonest leading; then
    those that most likely need one already, the longest of them leading."""
    lost = Case(When(strip_condition(rule.today), then=Value(1)), default=Value(0))
    soon = Coalesce(F("strip_on"), F("late_on"), output_field=DateField())
    found = rows.annotate(is_lost=lost, saved_until=soon)
    if is_reversed:
        return found.order_by("-is_lost", "saved_until", "-deck__area_m2", "deck_id")
    return found.order_by("is_lost", "saved_until", "-deck__area_m2", "deck_id")


def expected_price(rule: StatusRule, middle: dict[str, float]) -> Any:
    """The price that a line shows, for sorting: the last of its kind here, else by the area."""
    since = rule.today - MAX_PRICE_AGE
    area = Cast(F("deck__area_m2"), FloatField())

    def own(kind: str) -> Any:
        priced = Job.objects.filter(
            deck=OuterRef("deck"), kind=kind, amount__gt=0, finished_on__gt=since
        )
        charged = Subquery(priced.newest_first().values("amount")[:1])
        return Coalesce(Cast(charged, FloatField()), area * Value(middle.get(kind, 0.0)))

    return Case(
        When(strip_condition(rule.today), then=own("strip")),
        default=own("recoat"),
        output_field=FloatField(),
    )


def last_contact() -> Any:
    said = Message.objects.filter(client=OuterRef("deck__site__client")).exclude(
        state=State.CANCELLED
    )
    newest = said.order_by().values("client").annotate(at=Max("queued_at")).values("at")
    return Subquery(newest)


def add_last_contacts(found: Sequence[TodayDeck], business: Business) -> None:
    """What was sent to each client last, or waits to go."""
    said = Message.objects.filter(client__in={line.client_id for line in found})
    newest = said.exclude(state=State.CANCELLED).order_by("client_id", "-queued_at", "-id")
    columns = ("client_id", "kind", "channel", "state", "queued_at", "accepted_at")
    rows = {client: row for client, *row in newest.distinct("client_id").values_list(*columns)}
    for line in found:
        if line.client_id in rows:
            kind, channel, state, queued_at, accepted_at = rows[line.client_id]
            on = business.today(accepted_at or queued_at)
            line.contact = f"{Message.Kind(kind).label}, {short_day(on)}"
            line.contact_by = f"{Channel(channel).label}, {State(state).label}"


def add_agreements(found: Sequence[TodayDeck], today: date) -> None:
    """What is booked, offered or put off, of the lines where something is."""
    by_status: dict[str, list[TodayDeck]] = {}
    for line in found:
        by_status.setdefault(line.status, []).append(line)
    if lines := by_status.get("booked"):
        add_bookings(lines)
    if lines := by_status.get("offered"):
        add_open_offers(lines, today)
    if lines := by_status.get("later"):
        stops = Stop.objects.in_bulk([line.job_id for line in lines], field_name="job_id")
        for line in lines:
            line.agreed = stop_words(stops[line.job_id])


def stop_words(stop: Stop) -> str:
    if stop.until:
        return f"Not before {short_day(stop.until)} {stop.until.year}"
    return stop.get_why_display()


def add_bookings(lines: Sequence[TodayDeck]) -> None:
    living = Booking.objects.filter(
        decks__in=[line.deck_id for line in lines],
        state__in=[Booking.State.BOOKED, Booking.State.HELD],
    )
    rows = {
        deck: (pk, state, on)
        for deck, pk, state, on in living.order_by("-first_on").values_list(
            "decks", "pk", "state", "first_on"
        )
    }
    for line in lines:
        if line.deck_id not in rows:
            line.agreed = "Accepted, needs a day"
            continue
        (pk, state, on) = rows[line.deck_id]
        held = " (weather hold)" if state == Booking.State.HELD else ""
        line.agreed = f"Visit {short_day(on)}{held}"
        line.agreed_url = ("diary:booking", pk)


def add_open_offers(lines: Sequence[TodayDeck], today: date) -> None:
    scopes = OfferScope.objects.filter(
        deck__in=[line.deck_id for line in lines],
        offer__state="open",
        offer__valid_until__gte=today,
    ).select_related("offer")
    offers = {scope.deck_id: scope.offer for scope in scopes}
    for line in lines:
        offer = offers[line.deck_id]
        line.agreed = f"Offer {offer.reference}, until {short_day(offer.valid_until)}"
        line.agreed_url = ("offers:detail", offer.pk)


def household_count(lines: Sequence[TodayDeck]) -> int:
    return len({line.site_id for line in lines})


def price_sum(lines: Sequence[TodayDeck]) -> Decimal:
    return sum((line.price for line in lines if line.price), Decimal(0))
