"""A whole recoat and a whole strip, priced by hand from the price list of tests/jobs/offer_book.py,
and what waiting adds to the first.

Both in winter, where the boards dry for a day: work goes on another day, and is driven to again.
The list has prices of rails, none of stairs and screens: a tread costs what 0.4 m² of boards cost.
"""

from datetime import date
from decimal import Decimal

import pytest

from clients.models import Business, Deck
from jobs.models import Offer, PriceList
from jobs.scope import Override, propose_scopes
from tests.factories import CrewFactory
from tests.jobs.offer_book import TODAY, deck, drafted, price_list, reachable

D = Decimal
TWICE = Override(work="strip", coats=2, stripper_applications=2)
pytestmark = pytest.mark.django_db


@pytest.fixture
def home(business: Business) -> Deck:
    """20 m² of boards, 10 m of rail, 4 treads, 5 m² of screens, 25 km away."""
    price_list(travel_per_km=D("1.20"), travel_free_km=D(10))
    return reachable(
        deck(
            area_m2=D(20),
            rail_m=D(10),
            stair_treads=4,
            screen_m2=D(5),
            site__travel_km=D(25),
        )
    )


def offer_for(home: Deck, override: Override) -> Offer:
    scopes = propose_scopes([home], today=TODAY, overrides={home.pk: override})
    return drafted(home, scopes=list(scopes.values()))


def amounts_of(offer: Offer) -> dict[str, Decimal]:
    return {line.words: line.amount for line in offer.lines.all() if line.kind != "material"}


def test_a_whole_recoat_in_one_coat(home: Deck) -> None:
    offer = offer_for(home, Override())

    assert amounts_of(offer) == {
        "Clean": D("64.00"),  # 20 × 3.20
        "Light sand": D("56.00"),  # 20 × 2.80
        "Seal, 1 coat": D("82.00"),  # 20 × 4.10
        "Railing": D("90.00"),  # 10 × (3.00 + 6.00)
        "Stairs": D("11.68"),  # 4 × (0.4 × 3.20 + 0.4 × 4.10 = 1.28 + 1.64)
        "Screens": D("36.50"),  # 5 × (3.20 + 4.10)
        "Set up and protect surrounds": D("60.00"),
        "Travel to Lunenburg": D("36.00"),  # 2 days × 15 km × 1.20
    }  # 436.18
    # Finish at 10 m²/L, as the last time (4 L for 20 m² twice): 2 + 0.16 + 1.6 + 0.5 = 4.26 L, of
    # two packs of 4 L at 149 (37.25 a litre).
    assert offer.lines.get(kind="material").amount == D("158.69")
    assert (offer.net, offer.tax, offer.total) == (D("594.87"), D("89.23"), D("684.10"))
    # Minutes: boards 20 × (2 + 3 + 4), rails 10 × (3 + 7), treads 1.6 × 6, screens 5 × 6: 319.6,
    # which are 5.33 h; set-up 0.75 h; there and back twice, 50 km each at 60 km/h: 1.67 h.
    assert (offer.hours, offer.visits) == (D("7.75"), 2)


def test_a_whole_strip_with_two_applications_and_two_coats(home: Deck) -> None:
    offer = offer_for(home, TWICE)

    assert amounts_of(offer) == {
        "Strip, 2 full applications": D("380.00"),  # 20 × 2 × 9.50
        "Brighten": D("24.00"),  # 20 × 1.20
        "Light sand": D("56.00"),
        "Seal, 2 coats": D("164.00"),  # 20 × 2 × 4.10
        "Railing": D("420.00"),  # 10 × (2 × 14.00 + 2.00 + 2 × 6.00)
        "Stairs": D("45.44"),  # 4 × (2 × 3.80 + 0.48 + 2 × 1.64)
        "Screens": D("142.00"),  # 5 × (2 × 9.50 + 1.20 + 2 × 4.10)
        "Set up and protect surrounds": D("60.00"),
        "Travel to Lunenburg": D("54.00"),  # 3 days × 15 km × 1.20
    }  # 1,345.44
    # 4 + 0.32 + 3.2 + 1 = 8.52 L, of three packs at 37.25 a litre.
    assert offer.lines.get(kind="material").amount == D("317.37")
    assert (offer.net, offer.tax, offer.total) == (D("1662.81"), D("249.42"), D("1912.23"))
    # Boards 20 × (16 + 1 + 3 + 8), rails 10 × (24 + 2 + 14), treads 1.6 × 25, screens 5 × 25:
    # 1,125 min are 18.75 h; set-up 0.75 h; three ways of 50 km: 2.5 h.
    assert (offer.hours, offer.visits) == (D("22.00"), 3)


def test_a_crew_of_two_drives_for_two_and_comes_as_often_as_the_hours_want(home: Deck) -> None:
    CrewFactory(hours_a_day=D(16))

    # 19.5 h of work; of 16 h a day 2 × 50 km at 60 km/h are 1.67 h: two days, the waits make three.
    assert (offer_for(home, TWICE).hours, offer_for(home, TWICE).visits) == (D("24.50"), 3)


def test_what_is_to_be_paid_now_is_one_sum_and_later_has_the_same_travel_and_reduction(
    home: Deck,
) -> None:
    PriceList.objects.update(early_percent=D(5), minimum_charge=D(300))
    now = offer_for(home, Override())
    strip = offer_for(home, Override(work="strip"))

    assert D(now.waiting["now"]) == now.total
    assert D(now.waiting["if_stripped"][str(home.pk)]) == strip.total
    half_a_year = now.total + (strip.total - now.total) / 10  # the outlook gives a chance of 10 %
    assert abs(D(now.waiting["after"][0]["expected_cost"]) - half_a_year) <= D("0.005")


def test_a_day_that_dries_fast_is_one_visit(home: Deck) -> None:
    scope = propose_scopes([home], today=date(2026, 7, 1))[home.pk]
    assert (scope.season, scope.visits) == ("summer", 1)
