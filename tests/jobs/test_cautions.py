"""Cautions: every product kind on every deck finds its own, and none is said where it does not
hold. Where they are from stands beside each in jobs/work/cautions.py."""

from decimal import Decimal
from itertools import product as pairs

import pytest

from clients.models import Deck
from jobs.models import Job, Product
from jobs.models.product import FinishClass
from jobs.work import build_care_record, closing_cautions, job_cautions
from jobs.work import cautions as said
from jobs.work.care_record import (
    BLEACH_CAUTION,
    HOME_ARSENIC_CAUTION,
    HOME_LEAD_CAUTION,
    LOOSE_BOARD_CAUTION,
)
from jobs.work.cautions import CAUTIONS, WorkFacts
from tests.factories import CoatFactory, DeckFactory, JobFactory

NEW_AND_LOW = {"built_year": 2020, "height_m": Decimal("0.3")}
ALWAYS = [said.STRUCTURE_CAUTION]


def deck(**values: object) -> Deck:
    return Deck(**{"species": "ipe", **NEW_AND_LOW, **values})


def tin(kind: str, **values: object) -> Product:
    return Product(name="Tidewood", kind=kind, **values)


def cautions_of(deck: Deck, kind: str, *products: Product) -> list[str]:
    return [each.words for each in CAUTIONS if each.holds(WorkFacts(deck, kind, products))]


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("stripper", {said.MIXING_CAUTION, said.STRIPPER_CAUTION, said.METAL_CAUTION}),
        ("brightener", {said.MIXING_CAUTION, said.CHEMICALS_CAUTION}),
        ("cleaner", {said.MIXING_CAUTION, said.CHEMICALS_CAUTION}),
    ],
)
@pytest.mark.parametrize("species", ["treated_pine", "red_cedar", "ipe", "unknown"])
@pytest.mark.parametrize("built_year", [None, 1975, 1989, 2003, 2004, 2020])
def test_each_chemical_finds_its_cautions_on_any_deck(
    kind: str, expected: set[str], species: str, built_year: int | None
) -> None:
    told = set(cautions_of(deck(species=species, built_year=built_year), "", tin(kind)))

    assert expected <= told
    assert {said.EYES_CAUTION, said.RUNOFF_CAUTION, said.ELECTRIC_CAUTION} <= told
    assert (said.PRESSURE_WASHER_CAUTION in told) == (species in {"treated_pine", "red_cedar"})
    assert (said.LEAD_CAUTION in told) == (built_year is None or built_year <= 1990)
    assert (said.ARSENIC_CAUTION in told) == (
        species in {"treated_pine", "unknown"} and (built_year is None or built_year <= 2003)
    )


def test_every_caution_can_be_met_and_every_kind_of_product_has_one() -> None:
    kinds = [kind for kind in Product.Kind.values if kind != "finish"]
    tins = [tin(kind) for kind in kinds]
    tins += [tin("finish", finish_class=name) for name in FinishClass.values]
    works = [*Job.Kind.values, ""]
    decks = [deck(), deck(species="treated_pine", built_year=1985, height_m=Decimal(2))]
    met = {
        words
        for here, work, used in pairs(decks, works, tins)
        for words in cautions_of(here, work, used)
    }

    assert met == {each.words for each in CAUTIONS}
    assert all(each.source for each in CAUTIONS)
    for used in tins:
        burns = used.finish_class in said.SELF_HEATING_CLASSES
        assert (said.OILY_RAGS_CAUTION in cautions_of(deck(), "recoat", used)) == burns


@pytest.mark.parametrize(
    ("work", "expected"),
    [
        ("repair", [*ALWAYS, said.ELECTRIC_CAUTION, said.DUST_CAUTION]),
        (
            "strip",
            [
                *ALWAYS,
                said.MIXING_CAUTION,
                said.STRIPPER_CAUTION,
                said.METAL_CAUTION,
                said.CHEMICALS_CAUTION,
                said.EYES_CAUTION,
                said.RUNOFF_CAUTION,
                said.ELECTRIC_CAUTION,
                said.DUST_CAUTION,
            ],
        ),
        (
            "clean",
            [
                *ALWAYS,
                said.MIXING_CAUTION,
                said.CHEMICALS_CAUTION,
                said.EYES_CAUTION,
                said.RUNOFF_CAUTION,
                said.ELECTRIC_CAUTION,
            ],
        ),
    ],
)
def test_the_work_brings_its_cautions_before_a_product_is_chosen(
    work: str, expected: list[str]
) -> None:
    """What to look at comes first, tools last."""
    assert cautions_of(deck(), work) == expected


@pytest.mark.parametrize(
    ("height_m", "is_told"), [(None, True), (Decimal("0.6"), False), (Decimal("0.61"), True)]
)
def test_a_deck_with_a_guard_or_of_unknown_height_warns_of_falls(
    height_m: Decimal | None, is_told: bool
) -> None:
    told = cautions_of(deck(height_m=height_m), "clean")
    assert (said.HEIGHT_CAUTION in told) == is_told


def test_labels_and_the_general_rule_come_last_and_nothing_is_said_twice() -> None:
    oil = tin("finish", finish_class="penetrating_oil", cautions="Frost.", pk=1)

    told = job_cautions(deck(), "recoat", [oil, oil])
    assert told[-3:] == [said.OILY_RAGS_CAUTION, "Tidewood: Frost.", said.GENERAL_CAUTION]
    assert len(told) == len(set(map(str, told)))
    assert closing_cautions([oil, oil]) == told[-3:]
    assert closing_cautions([]) == []


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({"species": "treated_pine", "built_year": 2001}, {HOME_ARSENIC_CAUTION}),
        (
            {"species": "treated_pine", "built_year": 1980},
            {HOME_ARSENIC_CAUTION, HOME_LEAD_CAUTION},
        ),
        ({"species": "treated_pine", "built_year": None}, set()),
        ({"species": "treated_pine", "built_year": 2005}, set()),
        ({"species": "red_cedar", "built_year": 1980}, {HOME_LEAD_CAUTION}),
    ],
)
def test_the_care_record_warns_those_who_look_after_the_deck_themselves(
    values: dict[str, object], expected: set[str]
) -> None:
    job = JobFactory(deck=DeckFactory(**values), kind="recoat")
    CoatFactory(job=job)

    told = set(build_care_record(job).cautions)
    assert {BLEACH_CAUTION, LOOSE_BOARD_CAUTION} <= told
    assert told & {HOME_ARSENIC_CAUTION, HOME_LEAD_CAUTION} == expected
