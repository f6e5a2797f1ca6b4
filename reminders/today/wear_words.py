"""How a coat stands on a day, in words a busy person reads at a glance."""

from datetime import date

from clients import display
from reminders.models import FAR, say_due

SOON_MONTHS = 11  # from here on the month alone may be taken for the one that runs


def months_between(earlier: date, later: date) -> int:
    """Whole months that have gone by."""
    months = (later.year - earlier.year) * 12 + later.month - earlier.month
    return months - (later.day < earlier.day)


def years_and_months(months: int) -> str:
    """“3 y 4 m”, “5 m”."""
    years, rest = divmod(max(months, 0), 12)
    return " ".join(part for part in (f"{years} y" * bool(years), f"{rest} m" * bool(rest)) if part)


def wear_words(opens_on: date, due_on: date, today: date) -> str:
    """“3 y 4 m overdue”, “due since 12 Nov”, “window open since 27 Nov”, “due in May 2028”, of a
    day far off “not before 2033”."""
    if due_on <= today:
        late = years_and_months(months_between(due_on, today))
        return f"{late} overdue" if late else f"due since {short_day(due_on)}"
    if opens_on <= today:
        return f"window open since {short_day(opens_on)}"
    if due_on > today + FAR:
        return say_due(due_on, opens_on, today)
    near = months_between(today, due_on) < SOON_MONTHS
    month = display.format_day_as("MMMM" if near else "MMMMy", due_on)
    return f"due in {month}"


def short_day(day: date) -> str:
    """“27 Nov”, in the order the locale uses."""
    return display.format_day_as("MMMd", day)


def month_words(day: date) -> str:
    """“Nov 2026”, in the order the locale uses."""
    return display.format_day_as("yMMM", day)


def age_words(earlier: date, today: date) -> str:
    """“5 y 2 m”, “new”."""
    return years_and_months(months_between(earlier, today)) or "new"


def wear_stage(opens_on: date, due_on: date, late_on: date, today: date) -> str:
    """The class of the chip that goes with the words."""
    if today < due_on:
        return "is-sound" if today < opens_on else "is-open"
    return "is-due" if today < late_on else "is-late"
