"""Which surfaces of a deck one visit takes together, and how that is said."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from clients.models import Surface, say_surfaces
from jobs.forecast_summary import WorkAdvice
from jobs.scope import work_advice
from reminders.models import earliest_words

# What is due within half a year of a visit is done on it: the way there is paid once (judgement).
TOGETHER = timedelta(days=183)


@dataclass(frozen=True)
class SurfaceDay:
    """When one surface is due, and when its window opens if that is known."""

    surface: str
    due_on: date
    opens_on: date | None = None

    def later_words(self, today: date) -> str:
        """“railing not before May 2029”, of a day far off “railing not before 2033”."""
        when = earliest_words(self.due_on, self.opens_on or self.due_on, today)
        return f"{say_surfaces([self.surface]).lower()} not before {when}"


@dataclass(frozen=True)
class DueSurfaces:
    """The surfaces of one deck that have a day of their own, the soonest leading."""

    days: Sequence[SurfaceDay]

    @classmethod
    def of(cls, boards_due_on: date | None, others: Sequence[Mapping[str, Any]]) -> "DueSurfaces":
        """`others` as `ForecastQuerySet.with_surfaces` reads them; without any nothing is said.
        Boards without a coat have no day."""
        found = [SurfaceDay(Surface.BOARDS, boards_due_on)] if others and boards_due_on else []
        found += [
            SurfaceDay(
                row["surface"],
                date.fromisoformat(row["due_on"]),
                date.fromisoformat(row["opens_on"]) if "opens_on" in row else None,
            )
            for row in others
        ]
        return cls(sorted(found, key=lambda each: each.due_on))

    @property
    def has_boards(self) -> bool:
        return any(each.surface == Surface.BOARDS for each in self.days)

    def left_for_later(self, today: date) -> list[SurfaceDay]:
        """Those that a visit on the due day, or today where it was missed, need not take along."""
        if not self.days:
            return []
        visit = max(today, self.days[0].due_on)
        return [each for each in self.days if each.due_on > visit + TOGETHER]

    def due_now(self, today: date) -> list[str]:
        """Those that it takes along."""
        later = self.left_for_later(today)
        return [each.surface for each in self.days if each not in later]

    def leading(self, today: date) -> str:
        """Whose coat the next visit is for: the boards where it takes them along."""
        now = self.due_now(today)
        return Surface.BOARDS if Surface.BOARDS in now or not now else now[0]

    def words(self, today: date) -> str:
        """“Deck boards; railing not before May 2029”; empty where everything is due together."""
        later = self.left_for_later(today)
        if not self.days or (self.has_boards and not later):
            return ""
        parts = [each.later_words(today) for each in later]
        return "; ".join([say_surfaces(self.due_now(today)), *parts])


def visit_advice(surface_by_deck: Mapping[int, str], *, today: date) -> dict[int, WorkAdvice]:
    """What is proposed for each deck's next visit: only boards are stripped or looked at first."""
    on_boards = [deck for deck, name in surface_by_deck.items() if name == Surface.BOARDS]
    return dict.fromkeys(surface_by_deck, WorkAdvice.RECOAT) | work_advice(on_boards, today=today)
