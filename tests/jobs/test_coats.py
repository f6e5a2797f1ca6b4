"""Coats: the view against the jobs it is made of, counted out in Python."""

from datetime import date, timedelta
from operator import attrgetter
from random import Random
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clients.models import Deck
from jobs.models import Coat, CoatApplied, Job
from jobs.work.coat_build import coat_build_before_and_after
from tests.factories import CoatFactory, DeckFactory, JobFactory, ProductFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(params=range(6))
def deck(request: pytest.FixtureRequest) -> Deck:
    """A deck with jobs of all kinds thrown together at random, some of them on one day, some with
    a day, a product or a number of coats that nobody knows."""
    chance = Random(request.param)
    deck = DeckFactory()
    products = [
        ProductFactory(),
        ProductFactory(finish_class="solid_film", pigment="dark", base="solvent"),
        ProductFactory(kind="stripper", finish_class=""),
        None,
    ]
    for _ in range(14):
        kind = chance.choice(["strip", "recoat", "recoat", "clean", "repair"])
        day = date(2015, 1, 1) + timedelta(days=90 * chance.randrange(12))
        since = chance.choice([None, None, day - timedelta(days=89)])
        job = JobFactory(deck=deck, kind=kind, finished_from=since, finished_on=day)
        for position in range(chance.randrange(4)):
            CoatFactory(
                job=job,
                position=position + 1,
                coats=chance.choice([1, 2, 3, None]),
                surfaces=chance.choice([["boards"], ["boards", "rails"], ["rails"], ["stairs"]]),
                product=chance.choice(products),
            )
    return deck


def is_on_boards(applied: CoatApplied) -> bool:
    return "boards" in applied.surfaces


def laid_finishes(job: Job) -> list[CoatApplied]:
    rows = job.coats_applied.select_related("product").order_by("position")
    return [row for row in rows if row.product is None or row.product.kind == "finish"]


def finishes(job: Job) -> list[CoatApplied]:
    """Those on the boards, in the order in which they went on."""
    return [row for row in laid_finishes(job) if is_on_boards(row)]


def was_on_boards(job: Job) -> bool:
    """By its finishes, else by all that was noted; if nothing was, it was."""
    told = laid_finishes(job) or list(job.coats_applied.all())
    return any(map(is_on_boards, told)) if told else True


def counted(laid: list[CoatApplied]) -> int | None:
    """How many coats there were, if somebody counted them all."""
    numbers = [row.coats for row in laid]
    return sum(filter(None, numbers)) if laid and None not in numbers else None


def build_after(jobs: list[Job]) -> int:
    """Coats on the boards since the last strip of jobs in order; its whole day counts."""
    strips = [job.finished_on for job in jobs if job.kind == "strip" and was_on_boards(job)]
    since = max(strips, default=date.min)
    return sum(row.coats or 1 for job in jobs if job.finished_on >= since for row in finishes(job))


def counted_out(deck: Deck) -> list[dict[str, Any]]:
    """The coats of a deck from its jobs, the newest first."""
    jobs = sorted(deck.jobs.all(), key=attrgetter("finished_on", "pk"))
    coats: list[dict[str, Any]] = []
    ended_on = None
    until = len(jobs)
    for place in reversed(range(len(jobs))):
        job = jobs[place]
        if not job.starts_a_coat or not was_on_boards(job):
            continue
        laid = finishes(job)
        top = laid[-1] if laid else None
        coats.append(
            {
                "job_id": job.pk,
                "deck_id": deck.pk,
                "kind": job.kind,
                "laid_from": job.finished_from,
                "laid_on": job.finished_on,
                "ended_on": ended_on,
                "product_id": top and top.product_id,
                "finish_class": top.product.finish_class if top and top.product else "",
                "pigment": top.product.pigment if top and top.product else "",
                "base": top.product.base if top and top.product else "",
                "is_recorded": bool(laid),
                "coats": counted(laid),
                "build": build_after(jobs[:until]),
            }
        )
        ended_on = job.finished_on
        until = place
    return coats


def test_the_coats_of_a_deck_are_those_its_jobs_left(deck: Deck) -> None:
    assert list(deck.coats.values()) == counted_out(deck)


def test_the_build_of_a_coat_is_the_one_before_the_job_that_ended_it(deck: Deck) -> None:
    newest, *older = deck.coats.select_related("job")

    assert newest.build == Job.objects.coat_build_by_deck([deck.pk])[deck.pk]
    for coat, following in zip(older, [newest, *older], strict=False):
        assert coat.build == coat_build_before_and_after(following.job)[0].coats


def test_the_newest_coat_of_each_deck_is_the_one_that_nothing_covered() -> None:
    decks = DeckFactory.create_batch(3)
    for deck in decks[:2]:
        for year in (2019, 2023, 2021):
            JobFactory(deck=deck, kind="recoat", finished_on=date(year, 6, 1))
        JobFactory(deck=deck, kind="clean", finished_on=date(2025, 6, 1))

    assert {(coat.deck, coat.laid_on.year) for coat in Coat.objects.newest()} == {
        (decks[0], 2023),
        (decks[1], 2023),
    }
    assert Coat.objects.counts_by_deck([deck.pk for deck in decks]) == {
        decks[0].pk: 3,
        decks[1].pk: 3,
    }


def test_a_visit_on_the_day_of_a_job_did_not_find_its_coat() -> None:
    job = JobFactory(kind="strip", finished_on=date(2024, 6, 1))

    assert not Coat.objects.laid_before(date(2024, 6, 1)).exists()
    assert Coat.objects.laid_before(date(2024, 6, 2)).get().job == job


def test_a_coat_is_called_by_its_day_and_deck() -> None:
    job = JobFactory(kind="recoat", finished_on=date(2024, 6, 1))

    assert str(job.coat) == f"Coat of 2024-06-01 on {job.deck}"


def test_a_query_that_names_no_finish_looks_for_none() -> None:
    """Counting coats costs what counting jobs costs, and a look at the few products that went on
    something else than boards."""
    job = JobFactory()
    CoatFactory(job=job)
    with CaptureQueriesContext(connection) as queries:
        Coat.objects.counts_by_deck([job.deck_id])

    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute(f"EXPLAIN (ANALYZE, COSTS OFF) {queries[0]['sql']}")
        plan = [row[0] for row in cursor.fetchall()]
    looked_at = [line for line in plan if "Scan" in line and "never executed" not in line]
    assert any("jobs_job" in line for line in looked_at)
    read = [line for line in looked_at if "jobs_job" not in line]
    assert all("elsewhere" in line for line in read), read  # its index, or the rows by it
