"""What the work on many decks comes to before anybody plans it in full:
which work, and how often each task.

By the rules of `propose_scopes`, for thousands of decks at once: the facts come from one question
in SQL, and decks that are alike in them are worked out once. A test holds both against each other.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from django.db import connection

from clients.models import Deck
from jobs.forecast_summary import WorkAdvice, work_advice_by_deck
from jobs.models import Product, Visit
from jobs.scope.definitions import Override
from jobs.scope.finish import choose_finish
from jobs.scope.history import DeckHistory, TopFinish
from jobs.scope.needs import chemicals_for
from jobs.scope.proposal import NO_OVERRIDE, task_quantities
from jobs.scope.shelf import Shelf, shelf_of_products
from jobs.scope.work import RECOAT, STRIP, decide_work
from jobs.work import CoatBuild

UNIT_MEASURE = Decimal(1)
PLACEHOLDER_DATE = date(2000, 1, 1)  # only for words that nobody reads

FACTS_SQL = """
SELECT wanted.deck_id, top.product_id,
    CASE WHEN newest.kind = 'recoat'
        THEN coalesce(newest.coats, 0) ELSE 0 END,
    seen.grade, seen.flaking, seen.greying, build.coats
FROM unnest(%(decks)s::bigint[]) AS wanted (deck_id)
LEFT JOIN LATERAL (
    SELECT * FROM jobs_coat WHERE deck_id = wanted.deck_id
    ORDER BY laid_on DESC, job_id DESC LIMIT 1
) AS newest ON true
LEFT JOIN LATERAL (
    SELECT product_id FROM jobs_coat WHERE deck_id = wanted.deck_id AND is_recorded
    ORDER BY laid_on DESC, job_id DESC LIMIT 1
) AS top ON true
LEFT JOIN LATERAL (
    SELECT (array_agg(g.grade ORDER BY v.visited_on DESC, v.id DESC)
        FILTER (WHERE g.grade IS NOT NULL))[1] AS grade,
        (array_agg(flaking ORDER BY v.visited_on DESC, v.id DESC)
            FILTER (WHERE flaking IS NOT NULL))[1] AS flaking,
        (array_agg(greying ORDER BY v.visited_on DESC, v.id DESC)
            FILTER (WHERE greying IS NOT NULL))[1] AS greying
    FROM jobs_visit v, LATERAL (
        SELECT coalesce(overall, greatest(greying, beading, flaking, cracking, mould)) AS grade
    ) AS g
    WHERE v.deck_id = wanted.deck_id AND v.visited_on > coalesce(newest.laid_on, '-infinity')
        AND v.observer = 'crew'
) AS seen ON true
CROSS JOIN LATERAL jobs_coat_build(wanted.deck_id, 'infinity', 0) AS build
"""


class ScopeFacts(NamedTuple):
    """What the rules ask of a deck's past."""

    product_id: int | None  # of the finish on top
    recoat_coats: int
    grade: int | None
    flaking: int | None
    greying: int | None
    build: int
    advice: WorkAdvice | None = None


@dataclass(frozen=True)
class FactsOnlyHistory(DeckHistory):
    """A past of which only the facts are known, not the rows."""

    top: TopFinish | None = None
    recoat_coats: int = 0

    @property
    def last_coat(self) -> TopFinish | None:
        return self.top

    @property
    def last_recoat_coats(self) -> int:
        return self.recoat_coats


@dataclass(frozen=True)
class Outline:
    """The work that is proposed for a deck, and how often each task is done over its measure,
    recoated or stripped."""

    work: str
    looks_first: bool
    recoat: Mapping[str, Decimal]
    strip: Mapping[str, Decimal]

    @property
    def advice(self) -> WorkAdvice:
        """The same in one word."""
        return WorkAdvice.LOOK if self.looks_first else WorkAdvice(self.work)


@dataclass(frozen=True)
class OutlineFacts:
    """What the rules ask of the past of some decks, read once for as many days as are asked
    about."""

    by_deck: Mapping[int, ScopeFacts]
    products: Mapping[int, Product]
    stock: Shelf

    def build(self, deck_id: int) -> CoatBuild:
        return CoatBuild(self.by_deck[deck_id].build)

    def advice(self, forecast: Mapping[int, WorkAdvice]) -> dict[int, WorkAdvice]:
        """Of each deck what `propose_scopes` proposes, in a word, with what the forecast says of
        it."""
        asked = with_advice(self.by_deck, forecast)
        words = {facts: self.advice_from_facts(facts) for facts in set(asked.values())}
        return {deck: words[facts] for deck, facts in asked.items()}

    def advice_from_facts(self, facts: ScopeFacts) -> WorkAdvice:
        history = history_from_facts(facts, self.products)
        choice = choose_finish(history, self.stock, NO_OVERRIDE)
        work = decide_work(history, choice, NO_OVERRIDE, facts.advice)
        return WorkAdvice.LOOK if work.looks_first else WorkAdvice(work.work)


def read_outline_facts(deck_ids: Collection[int]) -> OutlineFacts:
    """In two queries, and two more where a finish on one of the decks is out of use: only then the
    others decide about the work."""
    facts = scope_facts(deck_ids)
    products = Product.objects.in_bulk({each.product_id for each in facts.values()} - {None})
    are_in_use = all(product.is_active for product in products.values())
    return OutlineFacts(facts, products, Shelf([], {}, {}) if are_in_use else shelf_of_products())


def work_advice(deck_ids: Collection[int], *, today: date) -> dict[int, WorkAdvice]:
    """Of each deck by its number what `propose_scopes` proposes, in a word."""
    if not deck_ids:
        return {}
    return read_outline_facts(deck_ids).advice(work_advice_by_deck(deck_ids, today=today))


def outlines(deck_ids: Collection[int], *, today: date) -> dict[int, Outline]:
    """Of each deck by its number, in a fixed number of queries however many decks."""
    if not deck_ids:
        return {}
    facts = with_advice(scope_facts(deck_ids), work_advice_by_deck(deck_ids, today=today))
    stock = shelf_of_products()
    products = {product.pk: product for product in Product.objects.all()}
    kinds = {
        kind: outline_from_history(history_from_facts(kind, products), stock, kind.advice)
        for kind in set(facts.values())
    }
    return {deck: kinds[kind] for deck, kind in facts.items()}


def scope_facts(deck_ids: Collection[int]) -> dict[int, ScopeFacts]:
    """Without what the forecast says of a day."""
    with connection.cursor() as cursor:
        cursor.execute(FACTS_SQL, {"decks": list(set(deck_ids))})
        return {deck: ScopeFacts._make([*found, None]) for deck, *found in cursor.fetchall()}


def with_advice(
    facts: Mapping[int, ScopeFacts], forecast: Mapping[int, WorkAdvice]
) -> dict[int, ScopeFacts]:
    return {deck: each._replace(advice=forecast.get(deck)) for deck, each in facts.items()}


def history_from_facts(facts: ScopeFacts, products: Mapping[int, Product]) -> DeckHistory:
    """A deck of one square metre, one metre of rail and one tread with this past;
    none of these rows is saved."""
    deck = Deck(area_m2=UNIT_MEASURE, rail_m=UNIT_MEASURE, stair_treads=1)
    product = products.get(facts.product_id or 0)
    top = TopFinish(product) if product else None
    seen = Visit(
        visited_on=PLACEHOLDER_DATE,
        overall=facts.grade,
        flaking=facts.flaking,
        greying=facts.greying,
    )
    return FactsOnlyHistory(
        deck, CoatBuild(facts.build), later_checks=[seen], top=top, recoat_coats=facts.recoat_coats
    )


def outline_from_history(history: DeckHistory, stock: Shelf, advice: WorkAdvice | None) -> Outline:
    choice = choose_finish(history, stock, NO_OVERRIDE)
    proposed, *either = (
        decide_work(history, choice, override, advice)
        for override in (NO_OVERRIDE, Override(work=RECOAT), Override(work=STRIP))
    )
    recoat, strip = (
        task_quantities(history.deck, work, chemicals_for(history, work, stock)) for work in either
    )
    return Outline(proposed.work, proposed.looks_first, recoat, strip)
