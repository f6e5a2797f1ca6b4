"""The due list of a month: what became due, grouped by town, with its coat and where reminding
stands."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from itertools import groupby
from typing import Any

from django.db.models import F
from django.urls import reverse

from clients import display
from clients.models import ContactPoint
from jobs.day_words import say_span
from jobs.forecast_summary import WorkAdvice
from jobs.models import AppliedFinish, CoatApplied, Job
from reminders.due.deck_rows import DeckRow, value_columns
from reminders.forecasting import DueSurfaces, missing_reasons, ranked_reasons, visit_advice
from reminders.models import Forecast, ForecastQuerySet
from reminders.months import month_key, month_of, shift_months
from reminders.pictures import DueWindow, MonthCount, MonthStrip, WindowBar, month_strip, window_bar
from reminders.steps import ReminderStatus, reminder_statuses

PAGE_SIZE = 50
MAX_PRINTED = 2_000  # lines on paper; more than a crew can visit in a month, and a minute of layout
ALL_ROWS = slice(None)
MONTHS_SHOWN = 12


@dataclass
class DueDeck(DeckRow):
    """One line of the due list."""

    half_worn_on: date
    late_on: date
    boards_due_on: date | None
    others: list[dict[str, Any]]
    chance_worn: float
    contributions: dict[str, float]
    unknowns: dict[str, float]
    coats: list[AppliedFinish] = field(default_factory=list)
    reminder_status: ReminderStatus | None = None
    today: date | None = None
    advice: WorkAdvice = WorkAdvice.RECOAT
    phone: str = ""  # these two only on paper
    last_price: str = ""

    @property
    def reasons(self) -> list[str]:
        missing = missing_reasons(self.unknowns, self.coat_span.precision)
        return [*ranked_reasons(self.contributions), *missing]

    @property
    def bar(self) -> WindowBar:
        """The window as a small picture, on the same two years for every line."""
        window = DueWindow(self.window_opens_on, self.half_worn_on, self.late_on)
        return window_bar(window, today=self.today or self.due_on, key=f"window-{self.deck_id}")

    @property
    def why(self) -> str:
        return ", ".join(self.reasons) or "as on the reference deck"

    @property
    def area(self) -> str:
        return display.format_size(self.area_m2)

    @property
    def coated(self) -> str:
        return say_span(self.coat_span, is_south=self.latitude < 0)

    @property
    def due(self) -> str:
        """Its month, the one that every list and message names."""
        return f"Due {display.format_month(self.due_on)}"

    @property
    def surfaces(self) -> str:
        """What is due and what is not yet, where that differs."""
        due = DueSurfaces.of(self.boards_due_on, self.others)
        return due.words(self.today or self.due_on)

    @property
    def window(self) -> str:
        return f"{display.format_day(self.window_opens_on)} to {display.format_day(self.late_on)}"


@dataclass(frozen=True)
class TownGroup:
    """A town of the due list: what the whole month has there, and the lines of this page."""

    name: str
    region: str
    decks: int
    area_m2: Decimal | None
    unsized: int
    lines: Sequence[DueDeck]


def due_in_month(month: date) -> ForecastQuerySet:
    return Forecast.objects.current().due_in(month)


def carried_over(month: date) -> ForecastQuerySet:
    """Decks that became due before the month and have had no coat since."""
    return Forecast.objects.current().due_before(month)


def due_deck_ids(month: date, *, with_carried_over: bool) -> list[int]:
    """All decks of a month's list, soonest due first."""
    until = Forecast.objects.current().due_before(shift_months(month, 1))
    rows = until if with_carried_over else due_in_month(month)
    return list(rows.order_by("due_on", "deck_id").values_list("deck_id", flat=True))


def due_decks(
    rows: ForecastQuerySet, *, today: date, on: date, part: slice = ALL_ROWS
) -> list[DueDeck]:
    """The rows as lines, in the order of `by_town`, with coats and status:
    a fixed number of queries."""
    return with_finishes_and_status(in_this_order(rows.by_town(on=on), part), today=today)


def in_this_order(rows: ForecastQuerySet, part: slice) -> list[DueDeck]:
    """First which decks, then the columns of these alone: sorting many with all that a line shows
    takes several times as long. A whole list is read at once."""
    if part == ALL_ROWS:
        return due_lines(rows)
    decks = list(rows.values_list("deck_id", flat=True)[part])
    lines = {line.deck_id: line for line in due_lines(Forecast.objects.filter(deck__in=decks))}
    return [lines[deck] for deck in decks if deck in lines]


def due_lines(rows: ForecastQuerySet, part: slice = ALL_ROWS) -> list[DueDeck]:
    """In the order of the rows, without coats and status."""
    columns = rows.with_surfaces().values_list(*value_columns(DueDeck))
    return [DueDeck(*row) for row in columns[part]]


def with_finishes_and_status(found: list[DueDeck], *, today: date) -> list[DueDeck]:
    """With what went on and where reminding stands, for all lines at once."""
    coats = CoatApplied.objects.finishes_by_job([line.job_id for line in found])
    stands = reminder_statuses([line.job_id for line in found], today=today)
    advice = visit_advice({line.deck_id: line.surface for line in found}, today=today)
    for line in found:
        line.coats = coats.get(line.job_id, [])
        line.reminder_status = stands[line.job_id]
        line.today = today
        line.advice = advice[line.deck_id]
    return found


def add_phones_and_prices(found: Iterable[DueDeck]) -> None:
    """What somebody wants who calls from paper: the number to try first, and what was charged for
    the coat that is on the deck."""
    lines = list(found)
    phones: dict[int, str] = {}
    points = ContactPoint.objects.filter(
        client__in={line.client_id for line in lines},
        kind__in=[ContactPoint.Kind.MOBILE, ContactPoint.Kind.PHONE],
        suspended_at=None,
    )
    for client, number in points.values_list("client_id", "normalized"):
        phones.setdefault(client, number)
    jobs = Job.objects.filter(pk__in=[line.job_id for line in lines], amount__isnull=False)
    prices = {
        job: display.format_money(amount, currency)
        for job, amount, currency in jobs.values_list("pk", "amount", "currency")
    }
    for line in lines:
        line.phone = phones.get(line.client_id, "")
        line.last_price = prices.get(line.job_id, "")


def group_by_town(found: Iterable[DueDeck], towns: Iterable[dict[str, Any]]) -> list[TownGroup]:
    """The lines under their towns, each with the subtotals of the whole list."""
    totals = {
        (row["town"], row["region"]): (row["decks"], row["area_m2"], row["unsized"])
        for row in towns
    }
    return [
        TownGroup(*place, *totals[place], list(members))
        for place, members in groupby(found, key=lambda line: (line.town, line.region))
    ]


@dataclass(frozen=True)
class CarriedOverSummary:
    """What was carried over: how much in all, and the decks worth most."""

    decks: int = 0
    area_m2: Decimal | None = None
    unsized: int = 0
    lines: Sequence[DueDeck] = ()


def summarise_carried_over(month: date, *, limit: int) -> CarriedOverSummary:
    """The carried-over decks worth a look first, whatever their town; without coats and status."""
    rows = carried_over(month)
    figures = rows.count_and_area()
    by_worth = rows.by_town(on=month).order_by(F("worth").desc(nulls_last=True), "deck_id")
    first = in_this_order(by_worth, slice(limit)) if figures["decks"] else []
    return CarriedOverSummary(**figures, lines=first)


def month_strip_start(month: date, *, today: date) -> date:
    """The twelve months begin with the present one, or with the month shown if that lies
    outside."""
    present = month_of(today)
    return present if present <= month < shift_months(present, MONTHS_SHOWN) else month


def due_month_strip(month: date, *, today: date) -> MonthStrip:
    """The picture of how many decks become due in each of twelve months around the one shown."""
    first = month_strip_start(month, today=today)
    counts = Forecast.objects.current().counts_by_month(first, MONTHS_SHOWN)
    months = [shift_months(first, n) for n in range(MONTHS_SHOWN)]
    places = [reverse("reminders:due_month", args=[month_key(each)]) for each in months]
    bars = [
        MonthCount(each, counts.get(each, 0), place)
        for each, place in zip(months, places, strict=True)
    ]
    return month_strip(bars, today=today, chosen=month)


COLUMNS = [
    "carried_over",
    "town",
    "region",
    "client",
    "client_id",
    "deck",
    "deck_id",
    "street",
    "area_m2",
    "window_opens_on",
    "due_on",
    "late_on",
    "chance_worn",
    "reasons",
    "product",
    "colour",
    "coated_on",
    "coat_build",
    "standing",
    "work",
    "surfaces",
]


def due_month_rows(
    month: date, *, today: date, with_carried_over: bool = True
) -> list[dict[str, Any]]:
    """The month's list and what was carried over into it, as rows with stable keys."""
    rows = due_rows(due_decks(due_in_month(month), today=today, on=month))
    if with_carried_over:
        rows += due_rows(
            due_decks(carried_over(month), today=today, on=month), is_carried_over=True
        )
    return rows


def due_rows(found: Iterable[DueDeck], *, is_carried_over: bool = False) -> list[dict[str, Any]]:
    """The lines with the stable keys of COLUMNS, as commands and the CSV write them
    (docs/commands.md)."""
    return [due_row(line, is_carried_over) for line in found]


def due_row(line: DueDeck, is_carried_over: bool) -> dict[str, Any]:
    own = {name: getattr(line, name) for name in COLUMNS if hasattr(line, name)}
    return own | {
        "carried_over": is_carried_over,
        "deck": line.label,
        "chance_worn": round(line.chance_worn, 3),
        "coated_on": line.coat_span.edtf(is_south=line.latitude < 0),
        "product": " + ".join(filter(None, (coat.product for coat in line.coats))),
        "colour": " + ".join(filter(None, (coat.colour for coat in line.coats))),
        "standing": line.reminder_status.label if line.reminder_status else "",
        "work": line.advice.value,
    }
