"""What followed from reminders, by the month of the first one about a coat: an answer, a booking,
the work done. What follows from one message to a household is counted once."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import chain
from typing import Any, TypeVar

from clients import display
from clients.messaging.models import CallNote, ToDo
from clients.models import Business
from jobs.models import Booking, Job, Offer
from reminders.figures.monthly_figure import (
    MONTHS_A_YEAR,
    FigureColumn,
    MonthlyFigure,
    months_back,
    start_of_months,
    year_words,
)
from reminders.models import ClientAnswer, Reminder
from reminders.pictures import MonthColumn, month_columns

Moment = TypeVar("Moment", date, datetime)
FOLLOWS_WITHIN = timedelta(days=365)  # what comes later has another cause (judgement)
ANSWERING_CALLS = [CallNote.Result.REACHED, CallNote.Result.STOP]


@dataclass(frozen=True)
class FirstReminder:
    """A household, and the day it was first reminded of coats of these decks."""

    client_id: int
    sent_at: datetime
    month: date
    deck_ids: set[int] = field(default_factory=set)

    def is_followed_by(self, moments: Iterable[datetime]) -> bool:
        return any(self.sent_at <= at <= self.sent_at + FOLLOWS_WITHIN for at in moments)

    def is_worked_by(self, days: Iterable[date], business: Business) -> bool:
        sent_on = business.today(self.sent_at)
        return any(sent_on < day <= sent_on + FOLLOWS_WITHIN for day in days)


@dataclass(frozen=True)
class Aftermath:
    """Moments by client and by deck, and days by deck, at which something came of a reminder."""

    answers: Mapping[int, Sequence[datetime]]
    bookings: Mapping[int, Sequence[datetime]]
    work: Mapping[int, Sequence[date]]


def read_reminder_funnel(*, today: date, business: Business) -> MonthlyFigure:
    months = months_back(today)
    since = start_of_months(months)
    sent = first_reminders(Reminder.objects.first_sent(since=since), business)
    found = [each for each in sent if each.month >= months[0]]
    rows = funnel_rows(months, found, read_aftermath(since), business)
    return MonthlyFigure(
        "reminders",
        "From reminder to work",
        [
            FigureColumn("reminded", "Reminded"),
            FigureColumn("answered", "Answered"),
            FigureColumn("booked", "Booked"),
            FigureColumn("done", "Done"),
        ],
        rows,
        [
            month_columns(
                [
                    MonthColumn(
                        row["month"],
                        {
                            "work done": row["done"],
                            "booked, not done yet": row["booked"] - row["done"],
                            "answered, nothing booked": row["answered"] - row["booked"],
                            "no answer": row["reminded"] - row["answered"],
                        },
                    )
                    for row in rows
                ]
            ),
        ],
        [funnel_fact(rows[MONTHS_A_YEAR:]), funnel_fact(rows[:MONTHS_A_YEAR])],
        [
            "A household counts once, in the month of the first reminder about a coat. An answer is"
            " anything they pressed, wrote, said on the phone or replied to an offer; who booked"
            " counts as answered, whose work is done as booked. A year is waited for each step,"
            " whatever else led to it. Recent months still grow."
        ],
    )


def first_reminders(
    sent: Iterable[tuple[int, int, int, datetime]], business: Business
) -> list[FirstReminder]:
    """Coats of one property that were first reminded about on one day are one household."""
    found: dict[tuple[int, date], FirstReminder] = {}
    for deck, site, client, at in sent:
        day = business.today(at)
        household = found.setdefault((site, day), FirstReminder(client, at, day.replace(day=1)))
        household.deck_ids.add(deck)
    return list(found.values())


def read_aftermath(since: datetime) -> Aftermath:
    """Of all clients, and the decks anybody was reminded about, in a fixed number of queries."""
    living = Booking.objects.exclude(state=Booking.State.CANCELLED)
    booked = living.filter(created_at__gte=since).exclude(decks=None).order_by()
    reminded = Reminder.objects.order_by().values("deck")
    coats = Job.objects.coating().filter(finished_on__gte=since.date(), deck__in=reminded)
    return Aftermath(
        answers=by_number(answer_moments(since)),
        bookings=by_number(booked.values_list("decks", "created_at")),
        work=by_number(coats.order_by().values_list("deck", "finished_on")),
    )


def answer_moments(since: datetime) -> Iterable[tuple[int, datetime]]:
    """Client and moment: what they pressed, wrote, said on the phone, or replied to an offer."""
    answers = ClientAnswer.objects.live().filter(at__gte=since)
    written = ToDo.objects.filter(
        kind__in=[ToDo.Kind.ANSWER, ToDo.Kind.QUESTION], made_at__gte=since
    ).exclude(client=None)
    spoken = CallNote.objects.filter(result__in=ANSWERING_CALLS, at__gte=since)
    replies = Offer.objects.filter(answered_at__gte=since).order_by()
    return chain(
        answers.order_by().values_list("link__message__client", "at"),
        written.order_by().values_list("client", "made_at"),
        spoken.order_by().values_list("message__client", "at"),
        ((client, at) for client, at in replies.values_list("client", "answered_at") if at),
    )


def by_number(rows: Iterable[tuple[int, Moment]]) -> Mapping[int, Sequence[Moment]]:
    found: defaultdict[int, list[Moment]] = defaultdict(list)
    for number, value in rows:
        found[number].append(value)
    return found


def funnel_rows(
    months: Sequence[date], found: Sequence[FirstReminder], after: Aftermath, business: Business
) -> list[dict[str, Any]]:
    rows: dict[date, dict[str, Any]] = {
        month: {"month": month, "reminded": 0, "answered": 0, "booked": 0, "done": 0}
        for month in months
    }
    for each in found:
        row = rows[each.month]
        decks = each.deck_ids
        is_done = any(each.is_worked_by(after.work.get(deck, ()), business) for deck in decks)
        is_booked = is_done or any(
            each.is_followed_by(after.bookings.get(deck, ())) for deck in decks
        )
        is_answered = is_booked or each.is_followed_by(after.answers.get(each.client_id, ()))
        row["reminded"] += 1
        row["answered"] += is_answered
        row["booked"] += is_booked
        row["done"] += is_done
    return list(rows.values())


def funnel_fact(rows: Sequence[dict[str, Any]]) -> tuple[str, str]:
    reminded, answered, booked, done = (
        display.format_number(sum(row[key] for row in rows), 0)
        for key in ("reminded", "answered", "booked", "done")
    )
    return (
        year_words([row["month"] for row in rows]),
        f"{reminded} reminded, {answered} answered, {booked} booked, {done} done",
    )
