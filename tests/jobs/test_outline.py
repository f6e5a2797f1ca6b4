"""The work of many decks in outline, against the scope and the offers that are worked out one by
one."""

from datetime import timedelta
from decimal import Decimal
from random import Random
from typing import Any

import pytest

from clients.models import Business, Deck
from jobs.models import Job, Offer, OfferScope, Product, Rate
from jobs.models.product import FinishClass
from jobs.offers.hour_estimates import work_hours_by_deck
from jobs.scope import Override, Scope, propose_scopes
from jobs.scope.outline import Outline, outlines
from tests.factories import CoatFactory, DeckFactory, JobFactory, ProductFactory, VisitFactory
from tests.jobs.offer_book import TODAY, deck, drafted, price_list

pytestmark = pytest.mark.django_db


def products(random: Random) -> list[Product]:
    """Finishes of every class, some out of use, and what goes on before them."""
    finishes: list[Product] = [
        ProductFactory(
            name=f"Marram {n}",
            finish_class=each,
            is_active=random.random() < 0.6,
            coats_usual=random.randint(1, 3),
        )
        for n, each in enumerate(FinishClass.values)
    ]
    for kind in ("stripper", "brightener"):
        ProductFactory(name=f"Kelp {kind}", kind=kind, finish_class="", spread_m2_per_l=None)
    return finishes


def past_of(random: Random, deck: Deck, finishes: list[Product]) -> None:
    """Some jobs, some without a coat on the boards, and visits before, between and after them."""
    for _ in range(random.randint(0, 5)):
        job = JobFactory(
            deck=deck,
            kind=random.choice(Job.Kind.values),
            finished_on=TODAY - timedelta(days=random.randint(1, 2_000)),
        )
        for position in range(1, random.randint(1, 3)):
            CoatFactory(
                job=job,
                position=position,
                product=random.choice(finishes),
                coats=random.randint(1, 4),
                litres=None,
                surfaces=random.choice(
                    [["boards"], ["boards"], ["rails"], ["boards", "stairs", "rails", "screens"]]
                ),
            )
    for _ in range(random.randint(0, 3)):
        grades = {
            name: random.choice([None, *range(6)])
            for name in ("overall", "greying", "flaking", "mould")
        }
        VisitFactory(
            deck=deck, visited_on=TODAY - timedelta(days=random.randint(0, 1_500)), **grades
        )


def amounts(deck: Deck, tasks: Any) -> dict[str, Decimal]:
    """How much of each task, by the deck's measures; nothing where it has no rails or stairs."""
    measures = {"set_up": Decimal(1), "rails": deck.rail_m, "stairs": Decimal(deck.stair_treads)}
    found = {task: times * measures.get(task, deck.area_m2) for task, times in tasks.items()}
    return {task: amount for task, amount in found.items() if amount}


def test_the_outline_of_any_past_is_the_work_that_the_scope_proposes(business: Business) -> None:
    random = Random(4)
    finishes = products(random)
    for n in range(60):
        rails = random.choice([0, 7])
        treads = random.choice([0, 4])
        past_of(random, DeckFactory(rail_m=rails, stair_treads=treads, area_m2=12 + n), finishes)
    decks = list(Deck.objects.all())

    found = outlines([each.pk for each in decks], today=TODAY)

    proposed, recoats, strips = (
        propose_scopes(decks, today=TODAY, overrides={each.pk: override for each in decks})
        for override in (Override(), Override(work="recoat"), Override(work="strip"))
    )
    assert {scope.work for scope in proposed.values()} == {"recoat", "strip"}
    for each in decks:
        outline: Outline = found[each.pk]
        scopes: list[Scope] = [each_way[each.pk] for each_way in (recoats, strips)]
        assert outline.work == proposed[each.pk].work
        assert [amounts(each, outline.recoat), amounts(each, outline.strip)] == [
            scope.quantities for scope in scopes
        ]


def test_hours_are_those_that_an_offer_holds(business: Business) -> None:
    price_list()
    Rate.objects.create(
        price_list_id=Rate.objects.all()[0].price_list_id,
        task="sand",
        per="job",
        amount=5,
        minutes=20,
    )
    back = deck(rail_m=Decimal(6), stair_treads=3)
    front = deck(site=back.site)
    VisitFactory(deck=front, visited_on=TODAY, overall=5)

    hours = work_hours_by_deck([back.pk, front.pk], today=TODAY)
    offer = drafted(back, front)

    assert (hours[back.pk].is_strip, hours[front.pk].is_strip) == (False, True)
    visit = max(row.visit for row in hours.values())
    assert visit + hours[back.pk].recoat + hours[front.pk].strip == pytest.approx(
        float(offer.hours), abs=0.015
    )


def test_the_hours_of_a_draft_go_before_those_of_today(business: Business) -> None:
    price_list()
    one = deck()
    offer = drafted(one)
    OfferScope.objects.filter(offer=offer).update(hours=Decimal("9.25"))
    assert work_hours_by_deck([one.pk], today=TODAY)[one.pk].recoat == 9.25

    Offer.objects.filter(pk=offer.pk).update(state="withdrawn")
    assert work_hours_by_deck([one.pk], today=TODAY)[one.pk].recoat == pytest.approx(
        18 * 9 / 60
    )  # clean 2, sand 3, coat 4 min


def test_without_a_price_list_or_its_minutes_there_are_no_hours(business: Business) -> None:
    one = deck()
    assert work_hours_by_deck([one.pk], today=TODAY) == {}
    price_list()
    Rate.objects.update(minutes=0)
    assert work_hours_by_deck([one.pk], today=TODAY) == {}


def test_hours_of_more_decks_take_no_more_queries(
    business: Business, django_assert_num_queries: Any
) -> None:
    price_list()
    listed = [deck().pk for _ in range(4)]
    for some in (listed[:1], listed):
        with django_assert_num_queries(12):
            work_hours_by_deck(some, today=TODAY)
