"""Which decks it is worth looking at: by the client, by us, by a crew that is near anyway."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from operator import attrgetter
from typing import Any

from django.db.models import F, FloatField
from django.db.models.functions import Abs, Cast, Cos, Radians

from clients.models import Property
from clients.places.climate import distance_km
from jobs.forecast_summary import NearbyLook
from reminders import forecast
from reminders.forecasting import bridge
from reminders.forecasting.bridge import read_newest_coats
from reminders.forecasting.price_ratio import charged_price_ratio, strip_price_ratio
from reminders.models import Forecast

# Of the price of a recoat; less is not worth five minutes of the client, nor the quarter of an
# hour of a crew that takes a day for a recoat (judgement).
MIN_CHECK_WORTH = 0.03
NEARBY_KM = 5.0
KM_A_DEGREE = 111.2  # of latitude
MAX_NEARBY = 200  # decks whose look is weighed, the nearest first
MAX_LOOKS = 3


@dataclass(frozen=True)
class LookWorth:
    """What one more look at a deck is worth, in prices of a recoat: by one of us, by the client."""

    ours: float
    clients: float

    @property
    def is_worth_it(self) -> bool:
        return max(self.ours, self.clients) >= MIN_CHECK_WORTH


def client_check_worth(deck_ids: Collection[int], *, today: date) -> dict[int, float]:
    """Deck → what the client's answer is worth, in prices of a recoat; only where it is worth
    asking."""
    coats = read_newest_coats(sorted(deck_ids), today=today) if deck_ids else None
    if coats is None:
        return {}
    (values,) = look_values_of(
        bridge.core_coats(coats, today=today),
        forecast.CLIENT_SKILL,
        today=today,
        strip_price=charged_price_ratio(today=today),
    )
    found = zip(coats.deck_id, values, strict=True)
    return {deck: value for deck, value in found if value >= MIN_CHECK_WORTH}


def look_values_of(
    core: forecast.Coats, *skills: forecast.LookSkill, today: date, strip_price: float
) -> list[list[float]]:
    """For each of the skills, row by row, in prices of a recoat."""
    belief = bridge.active_posterior()
    day = bridge.epoch_days(today)
    return [
        forecast.look_values(core, belief, day, strip_price=strip_price, skill=skill).tolist()
        for skill in skills
    ]


def look_worth(core: forecast.Coats, *, today: date, strip_price: float) -> LookWorth:
    """Of the only one of these coats."""
    skills = (forecast.CREW_SKILL, forecast.CLIENT_SKILL)
    (ours,), (clients,) = look_values_of(core, *skills, today=today, strip_price=strip_price)
    return LookWorth(ours, clients)


def looks_near(site: Property, today: date) -> list[NearbyLook]:
    """Decks within `NEARBY_KM` of a property that a crew there had better look at too, the one
    whose look is worth most first; none on which work is booked or held."""
    near = {row["deck_id"]: row for row in decks_near(site)}
    coats = read_newest_coats(sorted(near), today=today) if near else None
    if coats is None:
        return []
    (values,) = look_values_of(
        bridge.core_coats(coats, today=today),
        forecast.CREW_SKILL,
        today=today,
        strip_price=strip_price_ratio(today=today),
    )
    found = [
        NearbyLook(
            deck_id=deck,
            label=near[deck]["deck__label"],
            client=near[deck]["deck__site__client__name"],
            street=near[deck]["deck__site__street"],
            km=float(
                distance_km(
                    site.latitude,
                    site.longitude,
                    near[deck]["deck__site__latitude"],
                    near[deck]["deck__site__longitude"],
                )
            ),
            worth=value,
        )
        for deck, value in zip(coats.deck_id, values, strict=True)
        if value >= MIN_CHECK_WORTH
    ]
    within = [each for each in found if each.km <= NEARBY_KM]
    return sorted(within, key=attrgetter("worth"), reverse=True)[:MAX_LOOKS]


def decks_near(site: Property) -> list[dict[str, Any]]:
    """Of other properties, in a square about this one, the nearest first."""
    north = Abs(F("deck__site__latitude") - site.latitude)
    east = Abs(F("deck__site__longitude") - site.longitude) * Cos(Radians(site.latitude))
    rows = (
        Forecast.objects.current()
        .unbooked()
        .exclude(deck__site=site)
        .annotate(north=Cast(north, FloatField()), east=Cast(east, FloatField()))
        .filter(north__lt=NEARBY_KM / KM_A_DEGREE, east__lt=NEARBY_KM / KM_A_DEGREE)
        .order_by(F("north") + F("east"), "deck_id")
    )
    columns = ("label", "site__client__name", "site__street", "site__latitude", "site__longitude")
    return list(rows.values("deck_id", *(f"deck__{column}" for column in columns))[:MAX_NEARBY])
