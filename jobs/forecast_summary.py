"""What the forecast says about a deck, for the papers and public pages of this app.

The forecast is in an app above, which may not be imported here: the settings name its function.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Protocol

from django.conf import settings
from django.db.models import QuerySet, TextChoices
from django.utils.module_loading import import_string

from clients.models import Property


@dataclass(frozen=True)
class ForecastSummary:
    """The window of the coat that is on a deck now; `picture` draws its wear curve as SVG without a
    style of its own."""

    coat_on: date
    window_opens_on: date
    due_on: date
    late_on: date
    chance_worn: float
    picture: Callable[[], str]


class ForecastProvider(Protocol):
    """By deck; a deck that has no forecast is left out."""

    def __call__(self, deck_ids: Collection[int], today: date) -> dict[int, ForecastSummary]: ...


def forecast_summary_by_deck(
    deck_ids: Collection[int], *, today: date
) -> dict[int, ForecastSummary]:
    provider: ForecastProvider = import_string(settings.FORECAST_PROVIDER)
    return provider(deck_ids, today)


class WorkAdvice(TextChoices):
    """What a coat asks for, by the chance that a recoat still does (docs/forecast.md): a recoat, a
    look at the boards that decides, or a strip."""

    RECOAT = "recoat", "clean and recoat"
    LOOK = "look", "look first"
    STRIP = "strip", "strip"


class AdviceProvider(Protocol):
    """By deck; a deck that has no forecast is left out."""

    def __call__(self, deck_ids: Collection[int], today: date) -> dict[int, WorkAdvice]: ...


def work_advice_by_deck(deck_ids: Collection[int], *, today: date) -> dict[int, WorkAdvice]:
    """By the chance alone; what is known of the deck beside it goes before it (jobs/scope)."""
    provider: AdviceProvider = import_string(settings.ADVICE_PROVIDER)
    return provider(deck_ids, today)


class SurfacesProvider(Protocol):
    """By deck; decks of which all is due together are left out."""

    def __call__(self, deck_ids: Collection[int], today: date) -> dict[int, list[str]]: ...


def surfaces_for_later_by_deck(deck_ids: Collection[int], *, today: date) -> dict[int, list[str]]:
    """The surfaces of each deck that the next visit need not take along."""
    provider: SurfacesProvider = import_string(settings.SURFACES_PROVIDER)
    return provider(deck_ids, today)


@dataclass(frozen=True)
class NearbyLook:
    """A deck that a crew near by had better look at too: where, how far [km], and what the look is
    worth, in prices of a recoat."""

    deck_id: int
    label: str
    client: str
    street: str
    km: float
    worth: float


class LooksProvider(Protocol):
    """The few worth most, the best first."""

    def __call__(self, site: Property, today: date) -> list[NearbyLook]: ...


def nearby_looks(site: Property, *, today: date) -> list[NearbyLook]:
    """What else is worth a look for whoever is at a property."""
    provider: LooksProvider = import_string(settings.LOOKS_PROVIDER)
    return provider(site, today)


class OverdueProvider(Protocol):
    """The numbers of the decks that became due before a day and have had no coat since."""

    def __call__(self, today: date) -> QuerySet[Any, Any]: ...


def overdue_decks_sql(*, today: date) -> tuple[str, Sequence[object]]:
    """A query for these numbers, and its values, as a part of another query."""
    provider: OverdueProvider = import_string(settings.OVERDUE_PROVIDER)
    sql, values = provider(today).query.sql_with_params()
    return sql, values
