"""How the business does: jobs and money, offers, reminders, hours, decks and the work to come, each
as a row a month."""

from collections.abc import Callable, Mapping
from datetime import date

from clients.models import Business
from reminders.figures.crew_load import read_crew_load
from reminders.figures.decks_kept import read_decks_kept
from reminders.figures.keeping import KEPT_LONGER, count_and_keep, is_large_book, read_kept
from reminders.figures.monthly_figure import MonthlyFigure
from reminders.figures.offers_won import read_offers_won
from reminders.figures.plans import read_plans
from reminders.figures.reminder_funnel import read_reminder_funnel
from reminders.figures.turnover import read_turnover
from reminders.figures.work_to_come import calculate_work_to_come

FIGURE_READERS: Mapping[str, Callable[..., MonthlyFigure]] = {
    "turnover": read_turnover,
    "work_to_come": calculate_work_to_come,
    "hours": read_crew_load,
    "offers": read_offers_won,
    "reminders": read_reminder_funnel,
    "decks": read_decks_kept,
    "plans": read_plans,
}

__all__ = ["FIGURE_READERS", "MonthlyFigure", "keep_work_to_come", "read_figure", "read_figures"]


def read_figure(key: str, *, today: date, business: Business) -> MonthlyFigure:
    """One of `FIGURE_READERS`, as it is now; the work to come of a large book as of the night."""
    if key not in KEPT_LONGER:
        return FIGURE_READERS[key](today=today, business=business)
    return read_kept({key: FIGURE_READERS[key]}, today=today, business=business)[0]


def read_figures(*, today: date, business: Business) -> list[MonthlyFigure]:
    """All of them, in the order of the page; in a fixed number of queries."""
    return read_kept(FIGURE_READERS, today=today, business=business)


def keep_work_to_come(*, today: date, business: Business) -> None:
    """Of a large book, calculate it now; the page then shows it for the rest of the day."""
    if is_large_book():
        key = "work_to_come"
        count_and_keep(key, FIGURE_READERS[key], today=today, business=business)
