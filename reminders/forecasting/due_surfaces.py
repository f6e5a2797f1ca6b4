"""Which surfaces of a deck one visit takes together, and how that is said."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from clients import display
from clients.models import Surface, say_surfaces

# What is due within half a year of a visit is done on it: the way there is paid once (judgement).
TOGETHER = timedelta(days=183)


@dataclass(frozen=True)
class SurfaceDay:
    """When one surface is due."""

    surface: str
    due_on: date


@dataclass(frozen=True)
class DueSurfaces:
    """The surfaces of one deck that have a day of their own, the soonest leading."""

    days: Sequence[SurfaceDay]

    @classmethod
    def of(cls, boards_due_on: date, others: Sequence[Mapping[str, Any]]) -> "DueSurfaces":
        """`others` as `ForecastQuerySet.with_surfaces` reads them; without any nothing is said."""
        found = [SurfaceDay(Surface.BOARDS, boards_due_on)] if others else []
        found += [SurfaceDay(row["surface"], date.fromisoformat(row["due_on"])) for row in others]
        return cls.of_days(found)

    @classmethod
    def of_days(cls, days: Iterable[SurfaceDay]) -> "DueSurfaces":
        return cls(sorted(days, key=lambda each: each.due_on))

    def left_for_later(self, today: date) -> list[SurfaceDay]:
        """Those that a visit on the due day, or today where it was missed, need not take along."""
        if not self.days:
            return []
        visit = max(today, self.days[0].due_on)
        return [each for each in self.days if each.due_on > visit + TOGETHER]

    def words(self, today: date) -> str:
        """“Deck boards; railing not before May 2029”; empty where everything is due together."""
        later = self.left_for_later(today)
        if not later:
            return ""
        now = [each.surface for each in self.days if each not in later]
        parts = [
            f"{say_surfaces([each.surface]).lower()} not before {display.format_month(each.due_on)}"
            for each in later
        ]
        return "; ".join([say_surfaces(now), *parts])
