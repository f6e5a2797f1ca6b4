"""The day of one crew on paper: where to, in which order, what for, what to load and wear."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from clients import display
from clients.models import Business, Deck
from jobs.diary import CrewSchedule, DiaryStop, diary_week
from jobs.models import Crew, Defect
from jobs.pdf import rendering
from jobs.scope import DayKit, Need, Scope, kit_for, phone_numbers_of, purchase
from jobs.work import GENERAL_CAUTION, defect_caution


@dataclass(frozen=True)
class SheetDeck:
    """One deck of the day with its work and what is open on its structure."""

    deck: Deck
    scope: Scope
    defects: list[Defect]


@dataclass(frozen=True)
class SheetStop:
    """One booking of the day in the order of the run."""

    stop: DiaryStop
    decks: list[SheetDeck]
    phones: list[str]


@dataclass(frozen=True)
class DaySheet:
    crew: Crew
    day: date
    stops: list[SheetStop]
    needs: list[Need]
    kit: DayKit

    @property
    def cautions(self) -> list[str]:
        """Of the work on all decks, each once; open defects stand with their deck."""
        decks = [deck for stop in self.stops for deck in stop.decks]
        own = {defect_caution(defect) for deck in decks for defect in deck.defects}
        said = [str(words) for deck in decks for words in deck.scope.cautions]
        general = str(GENERAL_CAUTION)
        found = [words for words in dict.fromkeys(said) if words not in own | {general}]
        return [*found, general] if found else []


def build_day_sheet(crew: Crew, day: date, *, business: Business, today: date) -> DaySheet:
    """Of the bookings that go ahead."""
    schedule = crew_schedule(crew, day, business)
    stops = [stop for run in schedule.runs for stop in run.stops] if schedule else []
    bookings = [stop.booking for stop in stops if stop.booking.state in {"booked", "done"}]
    scopes = purchase.booked_scopes(bookings, today=today)
    defects = Defect.objects.open_by_deck(list(scopes))
    found = [sheet_stop(stop, scopes, defects) for stop in stops if stop.booking in bookings]
    needs = purchase.purchase_needs(scopes.values(), today=today)
    return DaySheet(crew, day, found, needs, kit_for(scopes.values()))


def crew_schedule(crew: Crew, day: date, business: Business) -> CrewSchedule | None:
    week = diary_week(day, business=business)
    days = [each for each in week.days if each.day == day]
    return next((own for each in days for own in each.crews if own.crew == crew), None)


def sheet_stop(
    stop: DiaryStop, scopes: dict[int, Scope], defects: dict[int, list[Defect]]
) -> SheetStop:
    decks = [
        SheetDeck(deck, scopes[deck.pk], defects.get(deck.pk, []))
        for deck in stop.booking.decks.all()
    ]
    return SheetStop(stop, decks, phone_numbers_of(stop.booking.client))


def day_sheet_pdf(sheet: DaySheet, *, business: Business) -> bytes:
    """A tagged PDF on the paper of the business's country, as people of the business read it."""
    context: dict[str, Any] = {"sheet": sheet, "business": business}
    with display.override_business(business), display.in_staff_language():
        return rendering.render_paper(
            "jobs/pdf/day_sheet.html", context, business=business, photos={}
        )


def sheet_file_name(sheet: DaySheet) -> str:
    return f"day-{sheet.day:%Y-%m-%d}-{sheet.crew.pk}.pdf"
