"""The decks that may be reminded, with prices and what haste saves:
rows of the book → arrays of the core."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from django.db import connection
from django.db.models import Exists, F, OuterRef, Q, Value
from django.db.models.functions import Greatest

from clients.models import Deck
from jobs.models import STRIP_ABOVE_COATS, Booking, Offer, OfferScope
from jobs.offers import DuePart
from reminders import forecast
from reminders.due import DeckRow, value_columns
from reminders.forecast import Booleans, Floats
from reminders.forecasting import (
    MAX_PRICE_AGE,
    STRIP_PRICE_RATIO,
    WAS_ON_BOARDS_SQL,
    bridge,
    middle_prices,
    postgres_array,
    read_leading_coats,
)
from reminders.models import Forecast, ForecastQuerySet, Reminder, Stop
from reminders.pacing import core
from reminders.pacing.labour import NO_PARTS

MAX_OPEN_DECKS = 6_000  # read at most, those due nearest to the plan first
EVEN_SHARE = 0.5  # of films in the mix: an unknown finish is taken for the likelier kind
# a m² of recoat while none was charged; it scales worth and hours alike and so changes no order
DEFAULT_PRICE_PER_M2 = 15.0

DECK_PRICE_QUERY = f"""
SELECT DISTINCT ON (deck_id, kind) deck_id, kind, amount FROM jobs_job j
WHERE kind IN ('recoat', 'strip') AND amount > 0 AND currency = %(currency)s
    AND finished_on > %(since)s
    AND deck_id = ANY (%(decks)s::bigint[]) AND {WAS_ON_BOARDS_SQL}
ORDER BY deck_id, kind, finished_on DESC, id DESC
"""  # noqa: S608 - a constant


@dataclass
class OpenDeck(DeckRow):
    """A deck that may be reminded."""

    site_id: int
    surface: str
    median_months: float
    log_sd: float

    @property
    def earliest(self) -> date:
        """No work before; the week that suits it best may come before the window."""
        return min(self.window_opens_on, self.due_on)


def open_forecasts(*, today: date) -> ForecastQuerySet:
    """Coats about which nobody has been reminded, and that are neither booked, offered nor
    stopped."""
    living = Q(offer__state=Offer.State.OPEN) | Q(
        offer__state=Offer.State.ACCEPTED, offer__booking=None
    )
    stopped = Stop.objects.filter(Q(until=None) | Q(until__gt=today), job=OuterRef("job"))
    booked = Booking.objects.filter(decks=OuterRef("deck"), state__in=["booked", "held"])
    return Forecast.objects.current().exclude(
        Exists(Reminder.objects.filter(job=OuterRef("job")))
        | Exists(stopped)
        | Exists(booked)
        | Exists(OfferScope.objects.filter(living, deck=OuterRef("deck")))
    )


def open_decks(*, opens_before: date, near: date, today: date) -> list[OpenDeck]:
    """Those whose window opens, or that are due, before a day, by property;
    of too many those due nearest to the plan."""
    begins = Q(window_opens_on__lt=opens_before) | Q(due_on__lt=opens_before)
    rows = open_forecasts(today=today).filter(begins)
    apart = Greatest(F("due_on") - Value(near), Value(near) - F("due_on"))
    nearest = (
        rows.annotate(apart=apart)
        .order_by("apart", "deck_id")
        .values_list(*value_columns(OpenDeck))[:MAX_OPEN_DECKS]
    )
    return sorted(
        (OpenDeck(*row) for row in nearest), key=lambda deck: (deck.site_id, deck.deck_id)
    )


@dataclass(frozen=True)
class DeckPrices:
    """Of each deck, and what one m² of recoat costs in the middle."""

    recoat: Floats
    strip: Floats
    recoat_m2: float
    is_known: bool


def last_charged_prices(
    deck_ids: Sequence[int], *, today: date, currency: str
) -> dict[tuple[int, str], float]:
    """By deck and kind of job, what was charged there last, within `MAX_PRICE_AGE`."""
    wanted: dict[str, str | date] = {
        "currency": currency,
        "since": today - MAX_PRICE_AGE,
        "decks": postgres_array(deck_ids),
    }
    with connection.cursor() as cursor:
        cursor.execute(DECK_PRICE_QUERY, wanted)
        return {(deck, kind): float(amount) for deck, kind, amount in cursor.fetchall()}


def deck_prices(
    decks: Sequence[DeckRow],
    *,
    today: date,
    currency: str,
    middle: Mapping[str, float] | None = None,
    parts: Mapping[int, DuePart] = NO_PARTS,
) -> DeckPrices:
    """The last ones charged on the deck, else the middle price a m² of the others (asked for where
    it is not at hand); of those in `parts` only of what is due."""
    own = last_charged_prices([deck.deck_id for deck in decks], today=today, currency=currency)
    if middle is None:
        middle = middle_prices(today=today, currency=currency)
    recoat_m2 = middle.get("recoat", DEFAULT_PRICE_PER_M2)
    strip_m2 = middle.get("strip", STRIP_PRICE_RATIO * recoat_m2)
    area = priced_areas(decks)
    recoat = recoat_m2 * area
    strip = strip_m2 * area
    for place, deck in enumerate(decks):
        recoat[place] = own.get((deck.deck_id, "recoat"), recoat[place])
        strip[place] = own.get((deck.deck_id, "strip"), strip[place])
        if part := parts.get(deck.deck_id):
            recoat[place] *= part.share
            strip[place] *= part.share  # of a railing: what it costs more once it peels
    return DeckPrices(recoat, np.maximum(strip, recoat), recoat_m2, is_known=len(middle) == 2)


def priced_areas(decks: Sequence[DeckRow]) -> Floats:
    """Square metres of each deck; the usual size where nobody knows it."""
    known = [deck.area_m2 for deck in decks]
    usual = Deck.objects.usual_size().area_m2 if None in known else 0.0
    return np.array([max(usual if area is None else float(area), 1.0) for area in known])


@dataclass(frozen=True)
class DeckSavings:
    """Of each deck: money saved by work after a reminder in each week, and the chance that the work
    is a strip."""

    money: Floats
    strip_chance: Floats


def deck_savings(
    decks: list[OpenDeck], days: Floats, prices: DeckPrices, *, today: date
) -> DeckSavings:
    """`days` are those of the work, one a week and a last one for the plan after this one, since
    1970-01-01."""
    coats = read_leading_coats({deck.deck_id: deck.surface for deck in decks}, today=today)
    assert coats is not None  # noqa: S101 - a forecast has a coat
    order = {deck: place for place, deck in enumerate(coats.deck_id)}
    rows = np.array([order[deck.deck_id] for deck in decks])
    known = bridge.core_coats(coats, today=today).take(rows)
    seen = clock_ages(known, days)
    stored = np.array([(deck.median_months, deck.log_sd) for deck in decks])
    any_coat = LifeOnClock(seen, *stored.T)
    life = any_coat.after_grades(known)
    ratio = forecast.strip_ratios(known)[:, None]
    gone = life.chances(seen.recoatable[:, None], ratio)
    worn = life.chances(seen.ages, 1.0)
    strip = np.clip((life.chances(seen.ages, ratio) - gone) / np.maximum(1 - gone, 1e-9), 0, 1)
    thick = np.array([deck.coat_build > STRIP_ABOVE_COATS for deck in decks])
    worn[thick] = strip[thick] = 1.0
    is_film = (forecast.film_shares(known) > EVEN_SHARE)[:, None]
    costs = job_costs(prices, worn, strip, is_film)
    rate = any_coat.upkeep_rates(prices, known.coats, is_film[:, 0])
    money = core.savings_by_age(seen.ages, costs, 1 - np.where(is_film, strip, worn), rate)
    return DeckSavings(money, strip[:, len(days) // 2])


def job_costs(prices: DeckPrices, worn: Floats, strip: Floats, is_film: Booleans) -> Floats:
    """What the job at each age costs beyond a recoat in time: a strip where only that will do, and
    what a worn oil takes more."""
    gap = (prices.strip - prices.recoat)[:, None]
    extra = np.minimum(forecast.OIL_WEAR.worn_extra * prices.recoat[:, None], gap)
    return gap * strip + np.where(is_film, 0, extra * np.maximum(worn - strip, 0))


@dataclass(frozen=True)
class ClockAges:
    """Clock months from each coat to each day, and to what was found of it; NaN where nothing
    was."""

    ages: Floats
    sound: Floats
    worn: Floats
    recoatable: Floats


@dataclass(frozen=True)
class LifeOnClock:
    """What is believed of the life of each coat, with what was found of it."""

    seen: ClockAges
    median: Floats
    log_sd: Floats

    def chances(self, ages: Floats, ratio: Floats | float) -> Floats:
        """That a limit is passed by these ages."""
        return core.strip_chances_by_age(
            ages, self.median, self.log_sd, self.seen.sound, self.seen.worn, ratio
        )

    def after_grades(self, coats: forecast.Coats) -> "LifeOnClock":
        """The same where grades are read along a path of wear: they move the life, and a sound
        visit is no bound besides."""
        belief = forecast.inspected_lives(coats, bridge.active_posterior()).belief
        return LifeOnClock(
            replace(self.seen, sound=np.where(belief.is_graded, np.nan, self.seen.sound)),
            np.where(belief.is_graded, np.exp(belief.mean), self.median),
            np.where(belief.is_graded, belief.spread, self.log_sd),
        )

    def upkeep_rates(self, prices: DeckPrices, coats: Floats, is_film: Booleans) -> Floats:
        """Money a month in which the coat protects."""
        counted = np.nan_to_num(coats, nan=2.0).tolist()
        recoats = np.array([forecast.recoats_between_strips(each) for each in counted])
        return core.monthly_upkeep_rates(
            self.median, self.log_sd, prices.recoat, prices.strip, is_film, recoats
        )


def clock_ages(coats: forecast.Coats, days: Floats) -> ClockAges:
    clock = forecast.deck_clock(coats)
    start = clock.reading(coats.coated_on)
    ages = np.column_stack([clock.reading(np.full(len(coats), day)) - start for day in days])
    found = (
        clock.reading(day) - start for day in (coats.sound_on, coats.worn_on, coats.recoatable_on)
    )
    return ClockAges(ages, *found)
